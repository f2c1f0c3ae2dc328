"""The commands, a file a noun, in the four groups of `straycell --help`."""
