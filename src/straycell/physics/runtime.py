"""How long a cell or a pack of equal cells runs a device: expected, with a low end that is a promise."""

from __future__ import annotations

import math
from dataclasses import dataclass

from straycell.cells import Chemistry
from straycell.errors import BadData
from straycell.physics.curves import OcvCurve, curves_for
from straycell.physics.loads import Load
from straycell.physics.march import SourceModel, march
from straycell.quantities import Measured

TEST_RATE = 0.2
"""A capacity is taken at 0.2C where nothing else is said (IEC 61960, from memory; sheets agree)."""


@dataclass(frozen=True, slots=True)
class OwnTrace:
    """A cell's own discharge from full at one current: voltage in V against charge out in Ah (rising)."""

    ah_out: tuple[float, ...]
    voltage_v: tuple[float, ...]
    current_a: float
    temperature_c: float = 25.0


@dataclass(frozen=True, slots=True)
class Runtime:
    """Hours: `expected`, and `low` to `high`; `low` holds nineteen times out of twenty.

    `basis` says what it was computed from, `stop` which cut-off ends the run.
    """

    expected_h: float
    low_h: float
    high_h: float
    basis: str
    stop: str
    notes: tuple[str, ...] = ()


def estimate(
    chemistry: Chemistry,
    capacity: Measured,
    resistance: Measured | None,
    load: Load,
    *,
    cutoff_v: float,
    cell_cutoff_v: float | None = None,
    protection_cutoff_v: float | None = None,
    temperature_c: float = 25.0,
    full_voltage_v: float | None = None,
    series: int = 1,
    parallel: int = 1,
    own_trace: OwnTrace | None = None,
    capacity_current_a: float | None = None,
    capacity_cutoff_v: float | None = None,
    resistance_pulse_s: float = 1.0,
) -> Runtime:
    """Run time of a pack of equal cells. Capacity (Ah) and resistance (ohm) are those of one cell.

    `load` is what the device draws at the pack's terminals; `cutoff_v` is the device's, for the whole string;
    the cell's and the protection's cut-offs are per cell.
    """
    if not (math.isfinite(capacity.value) and capacity.value > 0):
        raise BadData(
            f"capacity is {capacity.value:g} Ah, and must be above zero", "measure the capacity first"
        )
    curves = curves_for(chemistry)
    if not curves:
        raise BadData(f"no voltage curve for chemistry {chemistry}", "find out the chemistry first")
    stops = {"device": cutoff_v / series, "cell": cell_cutoff_v, "protection": protection_cutoff_v}
    stop, stop_v = max(((n, v) for n, v in stops.items() if v is not None), key=lambda item: item[1])
    ohm = resistance.value if resistance else 0.1 / capacity.value
    ohm_u = resistance.u if resistance else 0.5 * ohm
    runs = [
        march(_model(c, q, r), load, stop_v, series=series, parallel=parallel).hours
        for c in curves
        for q, r in (
            (capacity.value, ohm),
            (max(0.0, capacity.low), ohm + 2 * ohm_u),
            (capacity.high, max(0.0, ohm - 2 * ohm_u)),
        )
    ]
    expected = sum(runs[::3]) / len(curves)
    return Runtime(
        expected, min(runs[1::3]) * 0.93, max(*runs[2::3], expected), "chemistry curve", f"{stop} cut-off"
    )


def _model(curve: OcvCurve, capacity_ah: float, ohm: float) -> SourceModel:
    q = tuple(capacity_ah * (1.0 - s) for s in reversed(curve.soc))
    return SourceModel(q, tuple(reversed(curve.volts)), (1.5 * ohm,) * len(q))
