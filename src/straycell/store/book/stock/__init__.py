"""Cells and where they come from and lie: codes, facts, tear-downs, boxes, and all that `due` looks at."""
