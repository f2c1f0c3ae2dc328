"""Fewer points that look the same: what a picture or a terminal can show of a long trace."""

from __future__ import annotations

from itertools import pairwise

import numpy as np

from straycell.traces.read.trace import Floats, Ints


def thin_rows(values: Floats, most: int) -> Ints:
    """Rows that keep the first, last, lowest and highest of each of `most` / 4 equal shares; all when few."""
    rows = len(values)
    if rows <= most:
        return np.arange(rows, dtype=np.int64)
    edges = np.linspace(0, rows, max(2, most // 4) + 1).astype(np.int64)
    kept: set[int] = set()
    for first, stop in pairwise(edges):
        part = values[first:stop]
        # Extremes and ends of each share: averages would erase pulses and dips, which are what one looks for.
        kept.update((int(first), int(first + part.argmin()), int(first + part.argmax()), int(stop - 1)))
    return np.array(sorted(kept), dtype=np.int64)
