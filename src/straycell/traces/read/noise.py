"""What the rows themselves tell of an instrument: the steps it shows and how much its readings scatter."""

from collections.abc import Sequence

import numpy as np

from straycell.traces.read.trace import Floats, Ints, Mask

# A sample is enough for the instrument's steps and scatter, which do not change along a file.
_SAMPLE = 20_000
_FEWEST = 20
_GRID = 1e-6
_KEPT = 0.98
_KEPT_SIGMA = 0.934
"""Root mean square of a normal error without its largest 2 %, in standard deviations (closed form)."""
_MEDIAN_TO_SIGMA = 1.4826
"""Standard deviation of a normal error over its median size (closed form)."""
_FEW_ROWS = 5.0
"""Third differences share rows: about a quarter of them are independent, and few widen the interval (Student)."""


def shown_step(values: Floats) -> float:
    """The smallest step the values move in, in their unit; 0 when none can be found."""
    # Values off a millionth grid are computed or binary ones: they have no display step to find.
    scaled = values[:_SAMPLE] / _GRID
    whole = np.round(scaled)
    if np.max(np.abs(scaled - whole), initial=0.0) > 0.01:
        return 0.0
    differences = np.abs(np.diff(np.unique(whole))).astype(np.int64)
    # Few distinct values share a divisor by chance, and the step would come out too large.
    return float(np.gcd.reduce(differences)) * _GRID if len(differences) >= _FEWEST else 0.0


def roughness(values: Floats, counted: Mask) -> float:
    """Standard deviation of one row from the median third difference of rows that are all `counted`; 0 for too few."""
    usable = counted[:-3] & counted[1:-2] & counted[2:-1] & counted[3:]
    # A third difference leaves nothing of a parabola, so a curve's own bend does not count as noise.
    third = np.abs(values[3:] - 3 * values[2:-1] + 3 * values[1:-2] - values[:-3])[usable]
    if len(third) < _FEWEST:
        return 0.0
    # Weights 1, 3, 3, 1 have a square sum of 20: one row's variance is a twentieth of theirs.
    return float(np.median(third) * _MEDIAN_TO_SIGMA / np.sqrt(20.0))


def scatter(time_s: Floats, values: Floats, firsts: Sequence[int]) -> float:
    """Standard deviation of one row, from third differences inside steps (which begin at the rows `firsts`).

    Weighed so that a parabola through unevenly spaced rows leaves nothing, a third difference holds one row's
    variance when its weights have a square sum of 1; the largest two in a hundred are taken for events.
    """
    time = time_s[:_SAMPLE]
    values = values[:_SAMPLE]
    if len(time) < _FEWEST:
        return 0.0
    inside = np.ones(len(time), dtype=bool)
    inside[[first for first in firsts if first < len(time)]] = False
    gap = np.diff(time)
    usable = inside[1:-2] & inside[2:-1] & inside[3:]
    # Two rows of the same time make a weight infinite.
    usable &= np.minimum(np.minimum(gap[:-2], gap[1:-1]), gap[2:]) > 0
    third = np.sort(np.abs(_third(time, values, np.flatnonzero(usable))))
    # Steps of load and slips of a contact are the largest differences, and not the instrument's scatter.
    kept = third[: int(_KEPT * len(third))]
    if len(kept) < _FEWEST:
        return 0.0
    return float(np.sqrt(np.mean(kept**2))) / _KEPT_SIGMA * (1 + _FEW_ROWS / len(kept))


def _third(time: Floats, values: Floats, rows: Ints) -> Floats:
    """Third divided differences of four rows from each of `rows` on, the squares of the weights adding up to 1."""
    at = time[rows[:, None] + np.arange(4)]
    # The eye on the diagonal keeps a row's distance to itself from making the product zero.
    apart = at[:, :, None] - at[:, None, :] + np.eye(4)
    weights = 1.0 / np.prod(apart, axis=2)
    weights /= np.sqrt(np.sum(weights**2, axis=1))[:, None]
    found: Floats = np.sum(weights * values[rows[:, None] + np.arange(4)], axis=1)
    return found
