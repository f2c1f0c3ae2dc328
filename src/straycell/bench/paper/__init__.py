"""What goes on paper and what is checked against it: the labels of cells, a box by what was scanned in it."""
