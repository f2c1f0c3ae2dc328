"""What was measured and with what: readings, charges and traces, taken back or not, meters and chargers."""
