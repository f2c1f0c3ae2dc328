"""Small pieces that several pages show: an outcome with its sign, a figure, a value against its limit."""
