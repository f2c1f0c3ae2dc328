"""Records in words and in JSON, alike for a terminal, a page and a script."""
