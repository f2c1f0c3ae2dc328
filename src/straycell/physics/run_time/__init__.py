"""How long one cell runs a device: the march, its doubts, and the low end that is a promise."""
