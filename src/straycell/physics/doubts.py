"""What is not known exactly about a cell: one expected choice, and one for each doubt to either side."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from straycell.cells import Chemistry
from straycell.physics.polarisation import Spread, assumed_resistance, lag_h, steady_over_pulse
from straycell.physics.temperature import capacity_ratio, resistance_ratio
from straycell.quantities import Measured

DOUBTS = ("capacity", "resistance", "lag", "cold")


@dataclass(frozen=True, slots=True)
class Assumed:
    """One choice of everything that is not known exactly; ratios are those of the temperature."""

    capacity_ah: float
    steady_ohm: float
    lag_h: float
    capacity_ratio: float
    resistance_ratio: float


def known_resistance(capacity: Measured, resistance: Measured | None) -> tuple[float, float, list[str]]:
    if resistance is not None:
        return resistance.value, resistance.u, []
    ohm, u = assumed_resistance(capacity.value)
    return ohm, u, ["resistance not measured: a usual one for this capacity is assumed"]


def cases_of(
    chemistry: Chemistry, capacity: Measured, ohm: float, ohm_u: float, pulse_s: float, temperature_c: float
) -> dict[str, Assumed]:
    """Expected, and one case for each thing that is not known exactly, to either side."""
    steady, lag = steady_over_pulse(chemistry, pulse_s), lag_h(chemistry)
    cold_q, cold_r = capacity_ratio(temperature_c), resistance_ratio(temperature_c)
    expected = Assumed(capacity.value, ohm * steady.expected, lag.expected, cold_q.expected, cold_r.expected)
    least = max(capacity.low, 1e-3 * capacity.value)
    return {
        "expected": expected,
        "capacity-": replace(expected, capacity_ah=least),
        "capacity+": replace(expected, capacity_ah=capacity.high),
        "resistance-": replace(expected, steady_ohm=_steady_ohm(ohm, ohm_u, steady, worse=True)),
        "resistance+": replace(expected, steady_ohm=_steady_ohm(ohm, ohm_u, steady, worse=False)),
        "lag-": replace(expected, lag_h=lag.high),
        "lag+": replace(expected, lag_h=lag.low),
        "cold-": replace(expected, capacity_ratio=cold_q.low, resistance_ratio=cold_r.high),
        "cold+": replace(expected, capacity_ratio=cold_q.high, resistance_ratio=cold_r.low),
    }


def _steady_ohm(ohm: float, ohm_u: float, steady: Spread, *, worse: bool) -> float:
    """Resistance over hours at one end: the reading's U and the spread between sets, root of squares."""
    edge = steady.high if worse else steady.low
    reach = math.hypot(2.0 * ohm_u * steady.expected, ohm * (edge - steady.expected))
    return max(0.0, ohm * steady.expected + (reach if worse else -reach))
