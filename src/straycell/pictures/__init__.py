"""Every picture: of the stock, of a cell's limits and runs, of a trace; each tells its classes apart without colours."""
