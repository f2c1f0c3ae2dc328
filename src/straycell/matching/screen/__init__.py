"""The tests that a cell and its device must pass, one by one, each leaving its reason."""
