"""Curves made for the tests, and where the recorded ones lie."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path

import numpy as np

from straycell.traces import Trace, TraceResult

REFERENCE = Path(__file__).parents[1] / "reference" / "traces"
BROKEN = Path(__file__).parents[1] / "broken" / "traces"
Reduce = Callable[..., TraceResult]


def trace_of(
    parts: Sequence[tuple[float, float, float, float]], spacing_s: float = 1.0, end_row: bool = True
) -> Trace:
    """A trace of (seconds, current A, voltage at start, voltage at end) parts, each a straight line.

    Each part's rows lie `spacing_s` apart from its start, the first one spacing after it, the last at its end.
    """
    time, volts, amps, start = [0.0], [parts[0][2]], [parts[0][1]], 0.0
    for seconds, current, first_v, last_v in parts:
        own = np.arange(spacing_s, seconds - 1e-9, spacing_s)
        own = np.append(own, seconds) if end_row else own
        time += list(start + own)
        volts += list(first_v + (last_v - first_v) * own / seconds)
        amps += [current] * len(own)
        start += seconds
    return Trace(np.array(time), np.array(volts), np.array(amps))
