"""Many projects share one stock: who is served, and with which cells (column generation over HiGHS)."""
