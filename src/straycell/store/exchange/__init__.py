"""The store as plain text files and back: export of every table, import of cells and readings."""
