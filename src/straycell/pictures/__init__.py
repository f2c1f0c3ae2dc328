"""Pictures of the stock for the wall and the README; each tells its classes apart without colours."""
