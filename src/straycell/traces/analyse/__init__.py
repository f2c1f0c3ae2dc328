"""From a trace to its figures, each with its uncertainty budget."""
