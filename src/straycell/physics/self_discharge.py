"""Two rest voltages, or two capacity runs, turned into a loss of charge in 30 days."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from straycell.cells import Chemistry
from straycell.physics.curves import OcvCurve, all_curves, curves_for
from straycell.quantities import COVERAGE_FACTOR, Measured

DAYS_A_MONTH = 30.0


@dataclass(frozen=True, slots=True)
class VoltagePair:
    """Two rest voltages in V, `days` apart.

    `u_common_v` is the error both share (gain and offset of one meter, and how far this cell's curve may lie
    off the published ones), `u_difference_v` that of their difference, both standard uncertainties in V.
    """

    first_v: float
    second_v: float
    days: float
    u_common_v: float
    u_difference_v: float


def loss_per_month(
    chemistry: Chemistry,
    pair: VoltagePair,
    *,
    drain_ah_per_month: float = 0.0,
    drain_limit_ah: float = 0.0,
    capacity_ah: float | None = None,
) -> Measured | None:
    """Loss of charge in per cent of capacity in 30 days, or None when no curve speaks for the chemistry.

    The spread between published sets, the shared error and the error of the difference are added in
    quadrature; a board's own drain is subtracted, with its limit of error.
    """
    curves = _family(chemistry)
    if not curves or pair.days <= 0:
        return None
    per_month = 100.0 * DAYS_A_MONTH / pair.days
    centres = [c.state_of_charge(pair.first_v) - c.state_of_charge(pair.second_v) for c in curves]
    share = sum(centres) / len(centres)
    big_common, big_difference = COVERAGE_FACTOR * pair.u_common_v, COVERAGE_FACTOR * pair.u_difference_v
    u_curves = (max(centres) - min(centres)) / 2 / math.sqrt(3.0)
    u_common = _half_range(curves, pair, big_common, 0.0) / COVERAGE_FACTOR
    u_difference = _half_range(curves, pair, 0.0, big_difference) / COVERAGE_FACTOR
    u = math.hypot(u_curves, u_common, u_difference) * per_month
    loss = share * per_month
    if drain_ah_per_month and capacity_ah:
        loss -= 100.0 * drain_ah_per_month / capacity_ah
        u = math.hypot(u, 100.0 * drain_limit_ah / capacity_ah / math.sqrt(3.0))
    return Measured(loss, u)


def _family(chemistry: Chemistry) -> tuple[OcvCurve, ...]:
    """All 4.2 V sets speak for each 4.2 V chemistry: one set alone would look surer than it is."""
    if not curves_for(chemistry) or chemistry is Chemistry.LFP:
        return curves_for(chemistry)
    return tuple(c for c in all_curves() if c.chemistry is not Chemistry.LFP)


def _half_range(
    curves: Sequence[OcvCurve], pair: VoltagePair, common_v: float, difference_v: float, points: int = 9
) -> float:
    """Largest half range of the loss over one curve when the two errors run from -U to +U together.

    The loss is the lost share of charge (0 to 1), with the errors put on the two voltages.
    """
    steps = [2 * i / (points - 1) - 1 for i in range(points)]
    firsts = [pair.first_v + common_v * step - difference_v * step / 2 for step in steps]
    seconds = [pair.second_v + common_v * step + difference_v * step / 2 for step in steps]
    widest = 0.0
    for curve in curves:
        ends = zip(curve.states_of_charge(firsts), curve.states_of_charge(seconds), strict=True)
        losses = [first - second for first, second in ends]
        widest = max(widest, (max(losses) - min(losses)) / 2)
    return widest


def loss_from_capacities(
    full: Measured, retained: Measured, days: float, *, same_meter: bool, repeat: float
) -> Measured:
    """Loss in per cent in 30 days from a capacity run soon after a full charge and one `days` after it.

    `full` and `retained` in Ah. On one meter gain and offset are common to both, so that only how well runs
    repeat (`repeat`, a limit of error as a share) counts.
    """
    ratio = retained.value / full.value
    u_ratio = ratio * repeat * math.sqrt(2.0 / 3.0)
    if not same_meter:
        u_ratio = math.hypot(u_ratio, ratio * math.hypot(full.u / full.value, retained.u / retained.value))
    per_month = 100.0 * DAYS_A_MONTH / days
    return Measured((1.0 - ratio) * per_month, u_ratio * per_month)
