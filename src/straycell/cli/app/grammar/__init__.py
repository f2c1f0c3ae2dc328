"""What is typed on a line: nouns, verbs, global options, values, and options made from the table of fields."""
