"""The tables, their checks and guards, and bringing a file from one version to the next."""
