"""Cells dealt into groups of equal capacity, and the bound that no deal can beat."""
