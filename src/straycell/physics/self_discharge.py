"""Two rest voltages, or two capacity runs, turned into a loss of charge in 30 days."""

import math
from dataclasses import dataclass

from straycell.cells import Chemistry
from straycell.physics.curves import OcvCurve, all_curves, curves_for
from straycell.quantities import COVERAGE_FACTOR, Measured

# Thirty days, as the limits in the acceptance rules count a month.
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

    Which published set is the cell's own is a fact and not chance, so the spread is not squared into u: value +- U is
    the narrowest interval that holds what every set gives with the meter's error (JCGM 100:2008, 4.3.7). Half the
    range over root 3 about the mean missed one set's truth in every second leak; this covers each set in turn in over
    95 % and is not wider. A board's own drain is subtracted, with its limit of error.
    """
    curves = _family(chemistry)
    if not curves or pair.days <= 0:
        return None
    per_month = 100.0 * DAYS_A_MONTH / pair.days
    said = [_said(curve, pair) for curve in curves]
    # Extremes of all sets, not their mean: the mean missed one set's truth in every second leak.
    lowest, highest = min(each.low for each in said), max(each.high for each in said)
    loss = (lowest + highest) / 2 * per_month
    u = (highest - lowest) / 2 / COVERAGE_FACTOR * per_month
    if drain_ah_per_month and capacity_ah:
        loss -= 100.0 * drain_ah_per_month / capacity_ah
        # The board's drain is a limit from a sheet, hence rectangular: over the root of 3 (JCGM 100, 4.3.7).
        u = math.hypot(u, 100.0 * drain_limit_ah / capacity_ah / math.sqrt(3.0))
    return Measured(loss, u)


def _family(chemistry: Chemistry) -> tuple[OcvCurve, ...]:
    """All 4.2 V sets speak for each 4.2 V chemistry: one set alone would look surer than it is."""
    # lfp's only set does not speak for 4.2 V cells, nor theirs for lfp: its plateau is almost flat.
    if not curves_for(chemistry) or chemistry is Chemistry.LFP:
        return curves_for(chemistry)
    return tuple(c for c in all_curves() if c.chemistry is not Chemistry.LFP)


def surely_missing(chemistry: Chemistry, before_v: float, after_v: float) -> float:
    """The least share of charge (0 to 1) between two open-circuit voltages that any published set tells.

    0 where the second is not lower, and without a curve.
    """
    if after_v >= before_v:
        return 0.0
    return min(
        (c.state_of_charge(before_v) - c.state_of_charge(after_v) for c in _family(chemistry)), default=0.0
    )


def voltages_after(chemistry: Chemistry, first_v: float, loss_pct: float) -> tuple[float, float] | None:
    """Lowest and highest rest voltage in V that a loss of so many per cent of capacity leaves, by all published sets."""
    left = [
        curve.voltage(max(0.0, curve.state_of_charge(first_v) - loss_pct / 100.0))
        for curve in _family(chemistry)
    ]
    return (min(left), max(left)) if left else None


def _said(curve: OcvCurve, pair: VoltagePair) -> Measured:
    """The lost share of charge (0 to 1) as one set tells it, with the errors of the two voltages."""
    first, second = curve.states_of_charge((pair.first_v, pair.second_v))
    big_common, big_difference = COVERAGE_FACTOR * pair.u_common_v, COVERAGE_FACTOR * pair.u_difference_v
    lowest, highest = _range(curve, pair, big_common)
    half_v = big_difference / 2
    # Half to each side, the middle stays as read; charge rises with voltage, so the extremes are these ends.
    from_high, to_low, from_low, to_high = curve.states_of_charge(
        (pair.first_v + half_v, pair.second_v - half_v, pair.first_v - half_v, pair.second_v + half_v)
    )
    least, most = from_low - to_high, from_high - to_low
    # The common error moves both voltages alike and matters only through the slope; the other one widens their
    # distance.
    expanded = math.hypot((highest - lowest) / 2, (most - least) / 2)
    # Off lfp's plateau the slope changes tenfold within the error: the read value lies at an end of the range.
    value = (lowest + highest) / 2 if curve.chemistry is Chemistry.LFP else first - second
    return Measured(value, expanded / COVERAGE_FACTOR)


# Nine points, because the curve bends: the largest loss need not lie at an end of the error's range.
_STEPS = tuple(i / 4 - 1 for i in range(9))


def _range(curve: OcvCurve, pair: VoltagePair, common_v: float) -> tuple[float, float]:
    """Least and most of the lost share of charge when an error on both voltages alike runs from -U to +U."""
    volts = [pair.first_v + common_v * step for step in _STEPS]
    volts += [pair.second_v + common_v * step for step in _STEPS]
    states = curve.states_of_charge(volts)
    losses = [first - second for first, second in zip(states[:9], states[9:], strict=True)]
    return min(losses), max(losses)


def loss_from_capacities(
    full: Measured, retained: Measured, days: float, *, same_meter: bool, repeat: float
) -> Measured:
    """Loss in per cent in 30 days from a capacity run soon after a full charge and one `days` after it.

    `full` and `retained` in Ah. On one meter gain and offset are common to both, so that only how well runs
    repeat (`repeat`, a limit of error as a share) counts.
    """
    ratio = retained.value / full.value
    # Two runs repeat independently, each a rectangular limit: root of 2 over root of 3.
    u_ratio = ratio * repeat * math.sqrt(2.0 / 3.0)
    # On one meter the gain cancels in the ratio; on two it does not, so each capacity's own u comes in.
    if not same_meter:
        u_ratio = math.hypot(u_ratio, ratio * math.hypot(full.u / full.value, retained.u / retained.value))
    per_month = 100.0 * DAYS_A_MONTH / days
    return Measured((1.0 - ratio) * per_month, u_ratio * per_month)
