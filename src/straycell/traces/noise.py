"""What the rows themselves tell of an instrument: the steps it shows and how much its readings scatter."""

from __future__ import annotations

import numpy as np

from straycell.traces.steps import Analysis
from straycell.traces.trace import Floats

_SAMPLE = 20_000
_FEWEST = 20
_GRID = 1e-6
_KEPT = 0.98
_KEPT_SIGMA = 0.934
"""Root mean square of a normal error without its largest 2 %, in standard deviations (closed form)."""
_FEW_ROWS = 5.0
"""Third differences share rows: about a quarter of them are independent, and few widen the interval (Student)."""


def shown_step(values: Floats) -> float:
    """The smallest step the values move in, in their unit; 0 when none can be told."""
    scaled = values[:_SAMPLE] / _GRID
    whole = np.round(scaled)
    if np.max(np.abs(scaled - whole), initial=0.0) > 0.01:
        return 0.0
    differences = np.abs(np.diff(np.unique(whole))).astype(np.int64)
    return float(np.gcd.reduce(differences)) * _GRID if len(differences) >= _FEWEST else 0.0


def scatter(analysis: Analysis, values: Floats) -> float:
    """Standard deviation of one row, from third differences of evenly spaced rows inside steps.

    A third difference leaves a smooth curve out and holds 20 times one row's variance; the largest two in a
    hundred are taken for events.
    """
    time = analysis.trace.time_s[:_SAMPLE]
    values = values[:_SAMPLE]
    if len(time) < _FEWEST:
        return 0.0
    inside = np.ones(len(time), dtype=bool)
    inside[[step.first for step in analysis.steps if step.first < len(time)]] = False
    gap = np.diff(time)
    even = (abs(gap[1:-1] - gap[:-2]) < 0.01 * gap[1:-1]) & (abs(gap[1:-1] - gap[2:]) < 0.01 * gap[1:-1])
    usable = even & inside[1:-2] & inside[2:-1] & inside[3:]
    third = np.sort(np.abs(values[3:] - 3 * values[2:-1] + 3 * values[1:-2] - values[:-3])[usable])
    kept = third[: int(_KEPT * len(third))]
    if len(kept) < _FEWEST:
        return 0.0
    return float(np.sqrt(np.mean(kept**2) / 20)) / _KEPT_SIGMA * (1 + _FEW_ROWS / len(kept))
