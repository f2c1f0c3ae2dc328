"""What a load draws from many cells at once, and the march along the curve: node after node, all cells side by side.

For one cell they are loads.py and run_time/march.py; here they are arrays (numpy).
"""

from collections.abc import Callable, Sequence

import numpy as np
from numpy.typing import NDArray

from straycell.errors import BadData
from straycell.physics.loads import (
    LED_IDEALITY,
    THERMAL_VOLTAGE_V,
    ConstantCurrent,
    ConstantPower,
    Lamps,
    Load,
    ResistiveLoad,
)
from straycell.physics.run_time.march import along, share_until, step_hours, taken_ah, terminal_v

Floats = NDArray[np.float64]
Drawn = Callable[[Floats | float, Floats], Floats]
"""From the emf (V) and the resistance (ohm) of each cell to its current in A."""


def drawn(load: Load, series: int, parallel: int, draw_share: Floats | float) -> Drawn:
    """The load's current in A through one cell of a pack: loads.drawn_from of each kind, for arrays.

    `draw_share` is the share of the resistance that a lamp or a resistor is computed with (sources.SourceModel).
    """
    # Each cell of a string carries series times its own resistance over parallel, seen from the pack's terminals.
    scale = series / parallel
    if isinstance(load, ConstantCurrent):
        fixed_a = load.current_a / parallel
        return lambda emf, ohm: np.full_like(ohm, fixed_a)
    if isinstance(load, ConstantPower):
        power_w = load.power_w / load.efficiency
        return lambda emf, ohm: _power_current(power_w, emf * series, ohm * scale) / parallel
    if isinstance(load, ResistiveLoad):
        load_ohm = load.resistance_ohm
        return lambda emf, ohm: (
            np.maximum(0.0, emf * series) / (load_ohm + ohm * scale * draw_share) / parallel
        )
    if isinstance(load, Lamps):
        lamps = load
        return lambda emf, ohm: _lamp_current(lamps, emf * series, ohm * scale * draw_share) / parallel
    # A profile ends at a moment of a round, which differs from cell to cell: the cells of an array could not step
    # together.
    raise BadData("a profile is followed cell by cell", "ask for one cell at a time", of="load")


def _power_current(power_w: float, emf_v: Floats | float, inner_ohm: Floats) -> Floats:
    square = np.asarray(emf_v, dtype=np.float64) ** 2 - 4.0 * inner_ohm * power_w
    possible = (square >= 0) & (np.asarray(emf_v) > 0)
    # Masked before the root: numpy would evaluate both branches and warn on cells that cannot give this power.
    root = np.sqrt(np.where(possible, square, 0.0))
    return np.where(possible, 2.0 * power_w / np.where(possible, emf_v + root, 1.0), np.inf)


def _lamp_current(lamps: Lamps, emf_v: Floats | float, inner_ohm: Floats) -> Floats:
    slope_v = LED_IDEALITY * THERMAL_VOLTAGE_V
    drop_v = lamps.measured_a * (lamps.across_ohm + inner_ohm)
    spare_v = np.broadcast_to(np.asarray(emf_v, dtype=np.float64) - lamps.lamp_v, drop_v.shape)
    bright = spare_v > drop_v
    y = np.where(bright, np.log(np.where(bright, spare_v / drop_v, 1.0)), np.minimum(0.0, spare_v / slope_v))
    # The slowest cell decides when the array is done, so it gets as many rounds as a single cell does.
    for _ in range(40):
        grown = drop_v * np.exp(y)
        step = (slope_v * y + grown - spare_v) / (slope_v + grown)
        y = y - step
        if np.abs(step).max() < 1e-6:
            break
    return lamps.measured_a * np.exp(y)


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
