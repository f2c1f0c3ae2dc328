"""How long a charge takes: constant current, then constant voltage, by the chemistry's curves."""

from __future__ import annotations

import math
from dataclasses import dataclass

from straycell.cells import Chemistry
from straycell.errors import BadData
from straycell.physics.curves import OcvCurve, curves_for, interpolate
from straycell.physics.polarisation import steady_over_pulse
from straycell.physics.run_time.doubts import known_resistance
from straycell.physics.shipped import shipped
from straycell.quantities import Measured

# The current fades towards the end current, so time is very uneven over charge: a coarse grid would lose its tail.
_STEPS = 200


@dataclass(frozen=True, slots=True)
class ChargeTime:
    """Hours: expected, low and high; infinite when the charge never ends. `current_a` is what really flows.

    `limited_by_supply` says that the supply, not the charger, sets the current.
    """

    expected_h: float
    low_h: float
    high_h: float
    current_a: float
    limited_by_supply: bool
    notes: tuple[str, ...] = ()


def charge_time(
    chemistry: Chemistry,
    capacity: Measured,
    resistance: Measured | None,
    current_a: float,
    *,
    charger_v: float,
    from_soc: float = 0.0,
    end_current_a: float | None = None,
    supply_limit_a: float | None = None,
    load_a: float = 0.0,
    resistance_pulse_s: float = 1.0,
) -> ChargeTime:
    """Time from a state of charge (0 to 1) to the charger's end.

    `charger_v` is what the charger regulates to in V. Above 2.9 V of open-circuit voltage; a cell below it takes
    a trickle first. `end_current_a` defaults to a tenth of `current_a`. A `load_a` left on takes its share of the
    current, and keeps the charge from ending when it is more than the end current.
    """
    curves = curves_for(chemistry)
    if not curves:
        raise BadData(f"chemistry is {chemistry}: it may not be charged here", "find out the chemistry first")
    if not (
        math.isfinite(current_a)
        and current_a > 0
        and capacity.value > 0
        and 0 <= from_soc < 1
        and load_a >= 0
    ):
        raise BadData(
            f"charge of {capacity.value:g} Ah at {current_a:g} A from {from_soc:g}",
            "give a current above zero",
        )
    limited = supply_limit_a is not None and supply_limit_a < current_a
    supplied_a = supply_limit_a if supply_limit_a is not None and limited else current_a
    end_a = end_current_a or shipped("charging")["programming"]["end_share"] * current_a
    into_cell_a = supplied_a - load_a
    if into_cell_a <= 0:
        return ChargeTime(
            *(math.inf,) * 3, 0.0, limited, ("the load takes all the current: the cell is not charged",)
        )
    notes = []
    if load_a >= end_a:
        notes.append("a load left on while charging keeps the charge from ending: switch it off")
    ohm, ohm_u, more = known_resistance(capacity, resistance)
    steady = steady_over_pulse(chemistry, resistance_pulse_s)
    times = [
        _hours(curve, ah, r, into_cell_a, charger_v, max(end_a - load_a, 1e-3 * into_cell_a), from_soc)
        for ah, r in (
            (capacity.value, ohm * steady.expected),
            (max(capacity.low, 0.0), max(0.0, ohm - 2 * ohm_u) * steady.low),
            (capacity.high, (ohm + 2 * ohm_u) * steady.high),
        )
        for curve in curves
    ]
    n = len(curves)
    expected = sum(times[:n]) / n
    low, high = min(*times[n : 2 * n], expected), max(*times[2 * n :], expected)
    if load_a >= end_a:
        expected = high = math.inf
    return ChargeTime(expected, low, high, into_cell_a, limited, (*notes, *more))


def _hours(
    curve: OcvCurve, ah: float, ohm: float, current_a: float, top_v: float, end_a: float, from_soc: float
) -> float:
    """Constant current until emf + I R reaches the top, then I = (top - emf) / R down to the end current."""
    hours, soc = 0.0, from_soc
    # A charger stops on current while I R still lies on the terminals: the cell ends below the charger's voltage by
    # that drop.
    end_soc = min(1.0, interpolate(top_v - min(end_a, current_a) * ohm, curve.volts, curve.soc))
    if ohm == 0:
        return max(0.0, end_soc - soc) * ah / current_a
    before = None
    for k in range(_STEPS + 1):
        at = soc + (end_soc - soc) * k / _STEPS
        flowing = max(min(current_a, (top_v - curve.voltage(at)) / ohm), min(end_a, current_a))
        if before is not None:
            # Time is charge over current: the mean of 1/I is what a trapezoid over charge needs, not the mean of I.
            hours += max(0.0, end_soc - soc) / _STEPS * ah * 0.5 * (1 / before + 1 / flowing)
        before = flowing
    return hours
