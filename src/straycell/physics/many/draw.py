"""What a load draws from many cells at once, as loads.py gives it for one cell (numpy)."""

from collections.abc import Callable

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
