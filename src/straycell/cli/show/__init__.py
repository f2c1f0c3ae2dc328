"""Documents turned into pages for a person."""
