"""How long a charge takes: constant current, then constant voltage, by the chemistry's curves.

The current is the least of what the charger is set to, what its own heat and its pass element let through, and what its
supply gives. Compared with the full model in tests/reference/physics/charge_*.csv.
"""

import math
from dataclasses import dataclass, replace

from straycell.cells import Chemistry
from straycell.errors import BadData
from straycell.physics.charging import trickle_v
from straycell.physics.curves import OcvCurve, curves_for, interpolate
from straycell.physics.derating import REFERENCE_C, lag_h, lag_ratio, resistance_ratio, steady_over_pulse
from straycell.physics.own_pulses import counted_c
from straycell.physics.run_time.doubts import known_resistance
from straycell.physics.shipped import shipped
from straycell.quantities import Measured

# The current fades towards the end current, so time is very uneven over charge: a coarse grid would lose its tail.
_STEPS = 200
RESTART_NOTE = "a supply that collapses and restarts takes longer than any of these times"


@dataclass(frozen=True, slots=True)
class ChargeTime:
    """Hours: expected, low and high; infinite when the charge never ends. `current_a` is what really flows.

    `limited_by_supply` says that the supply, not the charger, sets the current, `limited_by_heat` that the charger's own
    heat lowers it for a while.
    """

    expected_h: float
    low_h: float
    high_h: float
    current_a: float
    limited_by_supply: bool
    notes: tuple[str, ...] = ()
    limited_by_heat: bool = False


@dataclass(frozen=True, slots=True)
class Feed:
    """What feeds a charge: A it is set to, V and A of its supply where known.

    `is_linear` None: not known whether the charger is a linear one, which turns supply less cell voltage into heat.
    `ambient_c` is where it lies, in degC.
    """

    set_a: float
    supply_v: float | None = None
    supply_limit_a: float | None = None
    load_a: float = 0.0
    is_linear: bool | None = False
    ambient_c: float = REFERENCE_C


@dataclass(frozen=True, slots=True)
class _Limits:
    """One choice of what holds the current back: `most_a`, and over the cell's voltage heat, pass element, supply."""

    most_a: float
    load_a: float
    supply_v: float
    heat_w: float = math.inf
    pass_ohm: float = 0.0
    weak_a: float = math.inf

    def into_cell_a(self, volts: float) -> float:
        head_v = max(self.supply_v - volts, 1e-3)
        given = min(self.most_a, self.heat_w / head_v)
        if self.pass_ohm:
            given = min(given, head_v / self.pass_ohm)
        if self.weak_a < math.inf:
            # A source whose current falls the faster the higher its voltage lies above the straight line from an empty
            # cell to its open voltage: a panel does, a supply behind a long lead is that line.
            given = min(given, self.weak_a * head_v / max(self.supply_v - trickle_v(), 1e-3))
        return given - self.load_a


@dataclass(frozen=True, slots=True)
class _Cell:
    """One choice of what the cell is: a published curve, Ah, the resistance over hours, and its lag."""

    curve: OcvCurve
    ah: float
    ohm: float
    lag_h: float

    def emf(self, soc: float, current_a: float) -> float:
        # The surface of the particles runs ahead of the charge that has arrived, as in a discharge.
        return self.curve.voltage(soc + current_a * self.lag_h / self.ah)


def charge_time(
    chemistry: Chemistry,
    capacity: Measured,
    resistance: Measured | None,
    feed: Feed,
    *,
    charger_v: float,
    from_soc: float = 0.0,
    end_current_a: float | None = None,
) -> ChargeTime:
    """Time from a state of charge (0 to 1) to the charger's end.

    `charger_v` is what the charger regulates to in V. Above 2.9 V of open-circuit voltage; a cell below it takes
    a trickle first. `end_current_a` defaults to a tenth of what is set. A load left on takes its share of the
    current, and keeps the charge from ending when it is more than the end current.
    """
    curves = curves_for(chemistry)
    if not curves:
        raise BadData(f"chemistry is {chemistry}: it may not be charged here", "find out the chemistry first")
    if not (
        math.isfinite(feed.set_a)
        and feed.set_a > 0
        and capacity.value > 0
        and 0 <= from_soc < 1
        and feed.load_a >= 0
    ):
        raise BadData(
            f"charge of {capacity.value:g} Ah at {feed.set_a:g} A from {from_soc:g}",
            "give a current above zero",
        )
    limited = feed.supply_limit_a is not None and feed.supply_limit_a < feed.set_a
    limits = _limits(feed)
    end_a = end_current_a or shipped("charging")["programming"]["end_share"] * feed.set_a
    into_cell_a = limits[0].most_a - feed.load_a
    if into_cell_a <= 0:
        return ChargeTime(
            *(math.inf,) * 3, 0.0, limited, ("the load takes all the current: the cell is not charged",)
        )
    notes = [RESTART_NOTE] if limited else []
    if feed.load_a >= end_a:
        notes.insert(0, "a load left on while charging keeps the charge from ending: switch it off")
    known, more = known_resistance(capacity, resistance)
    cells = _cells(chemistry, capacity, known, feed.ambient_c)
    stop_a = max(end_a - feed.load_a, 1e-3 * into_cell_a)
    times = [
        [_hours(replace(cell, curve=curve), limit, charger_v, stop_a, from_soc) for curve in curves]
        for cell, limit in zip(cells, limits, strict=True)
    ]
    expected = sum(times[0]) / len(curves)
    table = shipped("charging")["time"]
    # Which curve it is like, and what a taper by diffusion adds, the model does not know; more so at a higher rate.
    share = table["base"] + table["per_rate"] * into_cell_a / capacity.value
    low, high = (1 - share) * min(*times[1], expected), (1 + share) * max(*times[2], expected)
    if feed.load_a >= end_a:
        expected = high = math.inf
    hot = limits[0].into_cell_a(trickle_v()) < 0.999 * into_cell_a and limits[0].heat_w < math.inf
    return ChargeTime(expected, low, high, into_cell_a, limited, (*notes, *more), hot)


def _limits(feed: Feed) -> tuple[_Limits, _Limits, _Limits]:
    """What holds the current back: expected, at best, at worst."""
    rule = shipped("charging")["throttle"]
    weak_a = feed.supply_limit_a if feed.supply_limit_a is not None else math.inf
    most_a = min(feed.set_a, weak_a)
    supply_v = feed.supply_v if feed.supply_v is not None else rule["usual_supply_v"]
    best = _Limits(most_a, feed.load_a, supply_v)
    expected, worst = best, replace(best, weak_a=weak_a if weak_a < feed.set_a else math.inf)
    above_k = max(0.0, rule["regulates_c"] - feed.ambient_c)
    # Where it is not known whether the charger is a linear one, only the worst case is that it is.
    if feed.supply_v is not None and feed.is_linear is not False:
        worst = replace(worst, heat_w=above_k / rule["most_k_per_w"], pass_ohm=rule["most_pass_ohm"])
    if feed.supply_v is not None and feed.is_linear:
        best = replace(best, heat_w=above_k / rule["least_k_per_w"])
        expected = replace(expected, heat_w=above_k / rule["k_per_w"], pass_ohm=rule["pass_ohm"])
    return expected, best, worst


def _cells(chemistry: Chemistry, capacity: Measured, resistance: Measured, at_c: float) -> list[_Cell]:
    """What the cell may be, its curve still to be chosen: expected, soonest full, latest full."""
    curve, steady, lag = curves_for(chemistry)[0], steady_over_pulse(chemistry, 1.0), lag_h(chemistry)
    # A cool room counts as 25 degC, as for a pulse.
    stiff, slow = resistance_ratio(counted_c(at_c)), lag_ratio(counted_c(at_c))
    figures = (
        (capacity.value, resistance.value),
        (max(capacity.low, 1e-3 * capacity.value), max(0.0, resistance.low)),
        (capacity.high, resistance.high),
    )
    return [
        _Cell(curve, ah, ohm * grown * colder, late * slower)
        for (ah, ohm), grown, colder, late, slower in zip(figures, steady, stiff, lag, slow, strict=True)
    ]


def _hours(cell: _Cell, limits: _Limits, top_v: float, end_a: float, from_soc: float) -> float:
    """Constant current, as far as the limits let it, until the terminals reach the top; then down to the end current."""
    hours, soc = 0.0, from_soc
    least_a = min(end_a, limits.most_a - limits.load_a)
    # A charger stops on current while I R still lies on the terminals: the cell ends below the charger's voltage by
    # that drop.
    full = interpolate(top_v - least_a * cell.ohm, cell.curve.volts, cell.curve.soc)
    end_soc = min(1.0, full) - least_a * cell.lag_h / cell.ah
    before = None
    for k in range(_STEPS + 1):
        at = soc + max(0.0, end_soc - soc) * k / _STEPS
        flowing = max(_flowing_a(cell, limits, top_v, at), least_a, 1e-6)
        if before is not None:
            # Time is charge over current: the mean of 1/I is what a trapezoid over charge needs, not the mean of I.
            hours += max(0.0, end_soc - soc) / _STEPS * cell.ah * 0.5 * (1 / before + 1 / flowing)
        before = flowing
    return hours


def _flowing_a(cell: _Cell, limits: _Limits, top_v: float, soc: float) -> float:
    """The current into the cell in A at a state of charge: what the limits let through, no more than the top allows."""
    low_a, high_a = 0.0, max(0.0, limits.most_a - limits.load_a)
    # More current means a higher voltage: halving finds the most that keeps below the top and within the limits.
    for _ in range(24):
        middle = 0.5 * (low_a + high_a)
        volts = cell.emf(soc, middle) + middle * cell.ohm
        if volts <= top_v and middle <= limits.into_cell_a(volts):
            low_a = middle
        else:
            high_a = middle
    return low_a
