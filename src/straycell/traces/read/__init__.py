"""From a file to a trace: layout, columns, units, times, the sign of the current."""
