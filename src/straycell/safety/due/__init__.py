"""What must be looked at, worst first."""
