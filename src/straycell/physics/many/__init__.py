"""The run time of many cells under one load at once (numpy)."""
