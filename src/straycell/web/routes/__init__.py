"""The addresses of the page, a file a subject."""
