"""march.march for an array of cells: one node of the curve after the other, all cells beside each other (numpy)."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from straycell.physics.many.draw import Drawn, Floats
from straycell.physics.run_time.march import along, share_until, step_hours, taken_ah, terminal_v


def march_many(
    nodes: Sequence[tuple[float, float, float]],
    full_ah: Floats,
    steady_ohm: Floats,
    lag_h: Floats | float,
    draw: Drawn,
    cutoff_v: Floats,
) -> tuple[Floats, Floats]:
    """(hours, Ah) of each cell down to its `cutoff_v` (V): march.march for an array of cells.

    `nodes` hold, from full to empty, the share of `full_ah` taken out, the emf in V and the resistance over
    `steady_ohm`; `draw` gives the currents in A. Infinite current is a voltage of minus infinity.
    """
    n = len(full_ah)
    hours, charge = np.zeros(n), np.zeros(n)
    q0, i0, v0 = np.zeros(n), np.zeros(n), np.zeros(n)
    alive, started = np.ones(n, dtype=bool), np.zeros(n, dtype=bool)
    all_started = False
    for share_out, emf, grown in nodes:
        ohm = steady_ohm * grown
        i1 = draw(emf, ohm)
        v1 = terminal_v(emf, i1, ohm)
        # The load collapses the cell here; its last finite current stands in so that no infinity enters the integral.
        beyond = ~np.isfinite(i1)
        if beyond.any():
            v1[beyond], i1 = -np.inf, np.where(beyond, i0, i1)
        q1 = np.where(v1 > -np.inf, taken_ah(full_ah * share_out, lag_h, i1), q0)
        ends = alive & (v1 <= cutoff_v)
        if not all_started:
            # While q is negative the load has not been switched on: the surface is ahead before any charge has left.
            before = ~started & (q1 < 0)
            nothing = ends & (before | (i0 == 0))
            alive &= ~nothing
            ends &= ~nothing & ~before
            if ends.any():
                q1, i1, v1 = _clipped(ends, cutoff_v, q0, i0, v0, q1, i1, v1)
                nothing = ends & ~started & (q1 <= 0)
                alive &= ~nothing
                ends &= ~nothing
            cross = alive & ~started & ~before & (q0 < 0) & (q1 >= 0)
            part = np.where(cross, -q0 / (q1 - q0), 0.0)
            i0, v0 = np.where(cross, along(part, i0, i1), i0), np.where(cross, along(part, v0, v1), v0)
            q0 = np.where(cross, 0.0, q0)
            counts = alive & ~before
            started |= counts
            all_started = bool(started[alive].all())
        else:
            if ends.any():
                q1, i1, v1 = _clipped(ends, cutoff_v, q0, i0, v0, q1, i1, v1)
            counts = alive
        dq = np.where(counts & (i0 > 0), np.maximum(q1 - q0, 0.0), 0.0)
        hours += np.where(dq > 0, step_hours(dq, i0, i1), 0.0)
        charge = np.where(dq > 0, q1, charge)
        alive &= ~ends
        if not alive.any():
            break
        q0, i0, v0 = np.where(started, np.maximum(q0, q1), q1), i1, v1
    return hours, charge


def _clipped(
    ends: NDArray[np.bool_],
    cutoff_v: Floats,
    q0: Floats,
    i0: Floats,
    v0: Floats,
    q1: Floats,
    i1: Floats,
    v1: Floats,
) -> tuple[Floats, Floats, Floats]:
    """Where a cell ends in this step: the charge, current and voltage at the cut-off."""
    share = np.where(v1 > -np.inf, share_until(v0, v1, cutoff_v), 0.0)
    q, i = np.where(ends, along(share, q0, q1), q1), np.where(ends, along(share, i0, i1), i1)
    return q, i, np.where(ends, cutoff_v, v1)
