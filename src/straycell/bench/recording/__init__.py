"""What is recorded of a cell, taken back or put right, and what follows from it."""
