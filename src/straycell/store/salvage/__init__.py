"""A damaged store taken apart: pages, the rows in them, and a fresh store with what of them can be trusted."""
