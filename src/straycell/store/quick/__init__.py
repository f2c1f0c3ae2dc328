"""What makes a look quick: queries that are compiled once a process, readers that stay open between looks."""
