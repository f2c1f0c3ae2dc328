"""The picture of a trace, on paper and in the terminal."""
