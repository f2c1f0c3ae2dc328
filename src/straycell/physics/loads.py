"""What a device draws: constant current or power, a resistance, lamps behind a resistor, a profile.

Each load answers `current_at`: the current in A at a terminal voltage in V. A steady one also answers `drawn_from`: the
current in A when the source is an electromotive force behind a resistance, in closed form where one exists.
Currents, voltages and resistances are those at the pack's terminals.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

from straycell.errors import BadData
from straycell.physics.resistors import SMALLEST_OHM, rounded_up
from straycell.physics.shipped import shipped
from straycell.quantities import Dimension, show
from straycell.safe_side import beside

# Room temperature suffices: kT/q changes by 0.3 % a kelvin, far less than the assumed ideality is off.
THERMAL_VOLTAGE_V = 0.02569
"""kT/q at 25 degC (CODATA constants)."""
LED_IDEALITY = 2.0
"""Assumed slope of a lamp's diode, between 1 and 2 for an ideal one; common practice, no published source."""


def _positive(what: str, value: float) -> None:
    if not (math.isfinite(value) and value > 0):
        raise BadData(
            f"{what} is {value:g}, and must be above zero", f"give the {what} as the device has it", of="load"
        )


@dataclass(frozen=True, slots=True)
class ConstantCurrent:
    """The same current in A at every voltage."""

    current_a: float

    def __post_init__(self) -> None:
        _positive("current", self.current_a)

    def current_at(self, voltage_v: float) -> float:
        """Terminal current in A."""
        return self.current_a

    def drawn_from(self, emf_v: float, inner_ohm: float) -> float:
        """Current in A from a source of `emf_v` behind `inner_ohm`."""
        return self.current_a


@dataclass(frozen=True, slots=True)
class ConstantPower:
    """The same power in W at the device, behind a converter of this efficiency (0 to 1)."""

    power_w: float
    efficiency: float = 1.0

    def __post_init__(self) -> None:
        _positive("power", self.power_w)
        if not 0.0 < self.efficiency <= 1.0:
            raise BadData(
                f"efficiency is {self.efficiency:g}, and must lie between 0 and 1",
                "write 85 % as efficiency = 0.85",
                of="load",
            )

    def current_at(self, voltage_v: float) -> float:
        """Terminal current in A; infinite at zero volt."""
        # A converter draws ever more as its input sinks; at zero volt it would need infinite current.
        if voltage_v <= 0:
            return math.inf
        return self.power_w / self.efficiency / voltage_v

    def drawn_from(self, emf_v: float, inner_ohm: float) -> float:
        """Current in A; infinite when the source cannot give this power (maximum power transfer)."""
        return power_current(self.power_w / self.efficiency, emf_v, inner_ohm)


def power_current(power_w: float, emf_v: float, inner_ohm: float) -> float:
    """The smaller root of P = (emf - I R) I in A; infinite when there is none."""
    if emf_v <= 0:
        return math.inf
    # No real root: the source is below the point of maximum power transfer and its voltage collapses.
    square = emf_v * emf_v - 4.0 * inner_ohm * power_w
    if square < 0:
        return math.inf
    # This form of the smaller root does not subtract two nearly equal numbers when the resistance is small.
    return 2.0 * power_w / (emf_v + math.sqrt(square))


@dataclass(frozen=True, slots=True)
class ResistiveLoad:
    """A plain resistance in ohm."""

    resistance_ohm: float

    def __post_init__(self) -> None:
        _positive("resistance", self.resistance_ohm)

    def current_at(self, voltage_v: float) -> float:
        """Terminal current in A."""
        # A node below zero volt (the cliff beyond empty) must not feed current back into the cell.
        return max(0.0, voltage_v) / self.resistance_ohm

    def drawn_from(self, emf_v: float, inner_ohm: float) -> float:
        """Current in A from a source of `emf_v` behind `inner_ohm`."""
        return max(0.0, emf_v) / (self.resistance_ohm + inner_ohm)


@dataclass(frozen=True, slots=True)
class Lamps:
    """LEDs in parallel behind one series resistor, known from one measurement of the running device.

    `drop_v` was measured over the resistor `across_ohm` while the supply was at `supply_v`. The lamps are
    taken as one diode through the measured point: V = V0 + n kT/q ln(I / I0) with n = LED_IDEALITY (assumed;
    their own series resistance is neglected, so a higher supply gives at most a little less than computed).
    `lit_a` is the current in A at which they were seen to light, when it is not that of this resistor.
    """

    count: int
    drop_v: float
    across_ohm: float
    supply_v: float
    lit_a: float | None = None

    def __post_init__(self) -> None:
        if self.count < 1:
            raise BadData(f"{self.count} lamps", "count the lamps: one or more", of="load")
        _positive("drop", self.drop_v)
        _positive("series resistor", self.across_ohm)
        _positive("supply", self.supply_v)
        if self.drop_v >= self.supply_v:
            raise BadData(
                f"a drop of {self.drop_v:g} V leaves nothing of {self.supply_v:g} V for the lamps",
                "measure the drop over the series resistor, and the supply, with the lamps lit",
                of="load",
            )

    @property
    def measured_a(self) -> float:
        """The current in A when it was measured."""
        return self.drop_v / self.across_ohm

    @property
    def lamp_v(self) -> float:
        """Forward voltage in V of the lamps when they were measured."""
        return self.supply_v - self.drop_v

    @property
    def least_a(self) -> float:
        """The current in A below which the lamps count as dark: a share of what they were seen to light at."""
        return float(shipped("lamps")["dark"]["least_share"]) * self.lit_with_a

    @property
    def dark_v(self) -> float:
        """The terminal voltage in V below which the lamps count as dark."""
        least_a = self.least_a
        diode_v = self.lamp_v + LED_IDEALITY * THERMAL_VOLTAGE_V * math.log(least_a / self.measured_a)
        return max(0.0, diode_v + least_a * self.across_ohm)

    def gentle_ohm(self, full_v: float) -> float:
        """The series resistor in ohm at which a source of `full_v` gives them what they were lit with; 0: any does."""
        diode_v = self.lamp_v + LED_IDEALITY * THERMAL_VOLTAGE_V * math.log(self.lit_with_a / self.measured_a)
        return max(0.0, (full_v - diode_v) / self.lit_with_a)

    @property
    def lit_with_a(self) -> float:
        """The current in A at which they were seen to light in their old device."""
        return self.lit_a or self.measured_a

    def brighter(self, full_v: float) -> str:
        """What a source of `full_v` gives each lamp beyond what it had in its old device; empty where it is no more."""
        most_a = self.current_at(full_v)
        # One per cent of slack: the same supply and resistor must not warn because of rounding.
        if most_a <= self.lit_with_a * 1.01:
            return ""
        each = "each lamp" if self.count > 1 else "the lamps"
        most, had = beside(most_a / self.count, self.lit_with_a / self.count, Dimension.CURRENT)
        ohm = show(rounded_up(max(self.gentle_ohm(full_v), SMALLEST_OHM)), Dimension.RESISTANCE)
        return (
            f"{each} gets {most} from a full pack, more than the {had} of its old device: it may burn out; "
            f"a series resistor of {ohm} (E24) or more keeps it to that"
        )

    def with_resistor(self, across_ohm: float) -> Lamps:
        """The same lamps behind another resistor: the drop that the measured supply gives over it."""
        _positive("series resistor", across_ohm)
        drop_v = self._solve(self.supply_v, across_ohm) * across_ohm
        # The lit current is carried along, else each change of resistor would redefine what counts as dark.
        return Lamps(self.count, drop_v, across_ohm, self.supply_v, self.lit_with_a)

    def current_at(self, voltage_v: float) -> float:
        """Terminal current in A."""
        return self._solve(voltage_v, self.across_ohm)

    def drawn_from(self, emf_v: float, inner_ohm: float) -> float:
        """Current in A from a source of `emf_v` behind `inner_ohm`."""
        return self._solve(emf_v, self.across_ohm + inner_ohm)

    def _solve(self, emf_v: float, ohm: float) -> float:
        # Newton on y = ln(I/I0): emf = V0 + s y + I0 R e^y is convex and rising, so it converges from above.
        slope_v = LED_IDEALITY * THERMAL_VOLTAGE_V
        drop_v = self.measured_a * ohm
        spare_v = emf_v - self.lamp_v
        # Above the knee the resistor sets the current, below it the diode does: each start lies close to the root.
        y = math.log(spare_v / drop_v) if spare_v > drop_v else min(0.0, spare_v / slope_v)
        for _ in range(40):
            grown = drop_v * math.exp(y)
            step = (slope_v * y + grown - spare_v) / (slope_v + grown)
            y -= step
            if abs(step) < 1e-6:  # converges quadratically: the next one would be below 1e-12
                break
        return self.measured_a * math.exp(y)


@dataclass(frozen=True, slots=True)
class Profile:
    """A recorded or duty-cycled load, repeated: steps that hold from one time to the next.

    `time_s` rises from 0 and ends with the length of one round; the other tuple has one value fewer or as
    many (then the last only marks the end and is ignored). Exactly one of `current_a` and `power_w` is given.
    """

    time_s: tuple[float, ...]
    current_a: tuple[float, ...] | None = None
    power_w: tuple[float, ...] | None = None
    durations_s: tuple[float, ...] = field(init=False, repr=False)

    def __post_init__(self) -> None:
        if (self.current_a is None) == (self.power_w is None):
            raise BadData(
                "a profile needs current_a or power_w, one of them",
                "give one column beside time_s",
                of="load",
            )
        if len(self.time_s) < 2 or len(self.values) not in (len(self.time_s), len(self.time_s) - 1):
            raise BadData(
                "a profile needs two times or more, and a value for each step between them",
                "end the profile with a line for the time at which it repeats",
                of="load",
            )
        durations = tuple(b - a for a, b in zip(self.time_s, self.time_s[1:], strict=False))
        if self.time_s[0] != 0 or any(not (math.isfinite(d) and d > 0) for d in durations):
            raise BadData(
                "the times of a profile must rise, starting at 0", "sort the lines by time_s", of="load"
            )
        steps = self.values[: len(durations)]
        # A profile of nothing but zeros never empties a cell, and the mean current it is divided by would be
        if any(not (math.isfinite(v) and v >= 0) for v in steps) or not any(steps):
            raise BadData(
                "a profile holds values of zero or more, not all zero",
                # zero.
                "discharge counts as positive here",
                of="load",
            )
        object.__setattr__(self, "durations_s", durations)

    @property
    def values(self) -> tuple[float, ...]:
        """The currents in A or powers in W."""
        return self.current_a if self.current_a is not None else self.power_w or ()

    @property
    def period_s(self) -> float:
        """Length of one round in s."""
        return self.time_s[-1]

    @property
    def gathered(self) -> float:
        """Mean value over the charge, over the mean over the time: 1 for a steady load, more where it comes in bursts."""
        steps = list(zip(self.durations_s, self.values, strict=False))
        once, twice = (sum(d * v**n for d, v in steps) for n in (1, 2))
        return twice * self.period_s / once**2

    def current_at(self, voltage_v: float) -> float:
        """The largest terminal current in A of a round."""
        # A value for the closing time, where a file has one, belongs to the next round.
        most = max(self.values[: len(self.durations_s)])
        if self.current_a is not None:
            return most
        return math.inf if voltage_v <= 0 else most / voltage_v


SteadyLoad = ConstantCurrent | ConstantPower | ResistiveLoad | Lamps
Load = SteadyLoad | Profile


@dataclass(frozen=True, slots=True)
class Draw:
    """What a drop over a resistor says: the current in A, and each lamp's share of it in A."""

    current_a: float
    per_lamp_a: float | None


def current_from_drop(drop_v: float, across_ohm: float, lamps: int | None = None) -> Draw:
    """Ohm's law on one measured drop; lamps in parallel share the current evenly (an assumption)."""
    _positive("drop", drop_v)
    _positive("series resistor", across_ohm)
    if lamps is not None and lamps < 1:
        raise BadData(f"{lamps} lamps", "count the lamps: one or more", of="load")
    current_a = drop_v / across_ohm
    # The drop alone tells the total; lamps of one string are of one make, so an even share is a fair guess.
    return Draw(current_a, current_a / lamps if lamps else None)
