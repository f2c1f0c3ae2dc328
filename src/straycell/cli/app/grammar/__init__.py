"""What is typed on a line: nouns, verbs, global options, values, and options made from the table of fields."""

from straycell.cli.app.grammar.verbs import lone_app, noun_app

__all__ = ["lone_app", "noun_app"]
