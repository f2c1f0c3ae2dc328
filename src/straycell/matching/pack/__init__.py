"""A pack for a project: shape, groups, order of joining, and the words of its sheet."""
