"""What a charger may do to a cell, and whether a given one keeps to it."""
