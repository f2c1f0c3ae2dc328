"""Commands that take in and measure: tear-downs, cells, meters, charges, readings, traces."""
