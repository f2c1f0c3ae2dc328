"""Many projects share one stock: who is served, and with which cells (Benders decomposition and exact models, over HiGHS)."""
