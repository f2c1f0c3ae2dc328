"""Verdicts as recorded: evidence gathered, cells judged at the end of a write."""
