"""The sample workshop: its text, and the store that is built from it."""
