"""The tests of a cell and of the device around it, apart from the run time; each leaves its reason.

In a pack every cell is asked for its even share; how unevenly a group shares is judged where the group is known.
"""

from collections.abc import Callable, Hashable
from dataclasses import dataclass

from straycell.acceptance import Outcome
from straycell.acceptance.permission import least_outcome
from straycell.cells import Chemistry, members
from straycell.matching.screen import charger
from straycell.matching.screen.candidates import Candidate, Why
from straycell.matching.screen.demand import Screen
from straycell.physics.derating import COLDEST_KNOWN_C, HOTTEST_C
from straycell.physics.loads import Lamps
from straycell.physics.protection import TripRange, shunt_trip, trip_range
from straycell.projects import Protection, finish_lacks
from straycell.quantities import Dimension, amp_hours, volts
from straycell.safe_side import beside

SHUNT_FROM_A = 10.0
"""From here on a board is likely to sense with a resistor of its own (common practice, no published source)."""
Judge = Callable[[Screen, Candidate], Why]


@dataclass(frozen=True, slots=True)
class Test:
    """One test. `key` names what alone it depends on in a cell: cells alike in it turn out alike.

    `fits` says the same as `judge` without words, where the key is a cell's own figures.
    """

    judge: Judge
    key: Callable[[Candidate], Hashable] | None = None
    fits: Callable[[Screen, Candidate], bool] | None = None

    def passes(self, screen: Screen, c: Candidate) -> bool:
        """Whether the cell passes, looked up where a cell alike was asked before."""
        if self.key is None:
            return self.fits(screen, c) if self.fits is not None else self.judge(screen, c).passed
        return screen.once((self.judge, self.key(c)), lambda: self.judge(screen, c).passed)


def _stage(screen: Screen, c: Candidate) -> Why:
    free = c.permission(screen.now).free
    return Why(c.code, "stage", free, "free" if free else f"not free: it is {c.stage}", str(c.stage))


def _valid(screen: Screen, c: Candidate) -> Why:
    until = c.verdict_valid_until
    if c.permission(screen.now).in_date:
        held = f"verdict holds until {until:%Y-%m-%d}" if until else "no age limits the verdict"
        return Why(c.code, "verdict", True, held, until.isoformat() if until else None)
    return Why(
        c.code,
        "verdict",
        False,
        f"its verdict ran out on {until:%Y-%m-%d}" if until else "",
        until.isoformat() if until else None,
        screen.now.isoformat(),
        remedy="measure what has become stale: see its verdict",
    )


def _outcome(screen: Screen, c: Candidate) -> Why:
    # Joined cells share currents and states: one weak cell endangers the others, so only pack may be joined.
    least = least_outcome(joined=screen.joined)
    allowed = c.outcome >= least
    because = f": {c.deciding_text}" if c.deciding_text and not allowed else ""
    use = "which no device may use" if c.outcome < Outcome.LIGHT else "and only pack cells may be joined"
    text = f"outcome {c.outcome.word}" + ("" if allowed else f", {use}{because}")
    return Why(c.code, "outcome", allowed, text, c.outcome.word, least.word)


def _chemistry(screen: Screen, c: Candidate) -> Why:
    wanted = screen.demand.project.pack.chemistries
    # Primary and unknown are refused even where a project names them: no limit can be chosen for them.
    kinds = {*members(c.facts.chemistry)}
    named = c.facts.chemistry in wanted or kinds <= {*wanted}
    fits = named and not kinds & {Chemistry.PRIMARY, Chemistry.UNKNOWN}
    names = " ".join(wanted)
    text = f"chemistry {c.facts.chemistry}" + ("" if fits else f", the project takes {names}")
    return Why(c.code, "chemistry", fits, text, str(c.facts.chemistry), names)


def _form(screen: Screen, c: Candidate) -> Why:
    wanted = screen.demand.project.pack.forms
    fits = c.facts.form in wanted
    names = " ".join(wanted)
    text = f"form {c.facts.form}" + ("" if fits else f", the project takes {names}")
    return Why(c.code, "form", fits, text, str(c.facts.form), names)


def _temperature(screen: Screen, c: Candidate) -> Why:
    # Beyond the cold end no cited curve says what a cell gives; sheets end discharge at 60 °C.
    at_c = screen.demand.project.need.temperature_c
    fits = COLDEST_KNOWN_C <= at_c <= HOTTEST_C
    limit_c = COLDEST_KNOWN_C if at_c < COLDEST_KNOWN_C else HOTTEST_C
    window = f"{COLDEST_KNOWN_C:g} to {HOTTEST_C:g} C"
    text = f"works at {at_c:g} C" + ("" if fits else f", where no cell of this kind may work ({window})")
    short = None if fits else abs(at_c - limit_c)
    return Why(
        c.code, "temperature", fits, text, at_c, limit_c, "C", short, "" if fits else "move the device"
    )


def _voltage(screen: Screen, c: Candidate) -> Why:
    chemistry, load, in_line = c.facts.chemistry, screen.demand.project.load, screen.demand.series
    full_v = screen.limits.full_v[chemistry] * in_line
    need_v = screen.demand.stop_v(chemistry, screen.limits) * in_line
    words = f"the device stops at {volts(need_v)}"
    # A string of lamps has no cut-off, but below its forward voltage it stays dark from the start.
    if isinstance(load, Lamps) and load.lamp_v > need_v:
        need_v, words = load.lamp_v, f"the lamps were lit by {volts(load.lamp_v)}"
    fits = need_v < full_v
    of = f"one {chemistry} cell gives" if in_line == 1 else f"{in_line} {chemistry} cells in series give"
    text = f"{words}, {of} {volts(full_v)} when full"
    short = None if fits else need_v - full_v
    more = "cells" if in_line == 1 else "more cells"
    remedy = "" if fits else f"the device needs {more} in series, or a lower voltage"
    return Why(c.code, "voltage", fits, text, full_v, need_v, "V", short, remedy)


def _measured(screen: Screen, c: Candidate) -> Why:
    # U as large as the value: the cell may hold nothing at all.
    if c.capacity is None or c.capacity.low <= 0:
        remedy = "measure its capacity from full"
        return Why(c.code, "capacity", False, "its capacity is not measured", unit="Ah", remedy=remedy)
    least = " at least" if c.at_least else ""
    return Why(
        c.code, "capacity", True, f"holds{least} {amp_hours(c.capacity.value)}", c.capacity.value, unit="Ah"
    )


def _current(screen: Screen, c: Candidate) -> Why:
    words = "its even share of the current is" if screen.demand.parallel > 1 else "the device draws"
    return _within(c, "current", words, screen.steady_a(c.facts.chemistry), c.allowed_out_a(screen.limits))


def _peak(screen: Screen, c: Candidate) -> Why:
    # A peak of two seconds heats little; its voltage dip is judged with the run time.
    allowed_a = screen.limits.peak_factor * c.allowed_out_a(screen.limits)
    share = "its even share of a" if screen.demand.parallel > 1 else "its"
    words = f"{share} peak of up to {screen.limits.peak_s:g} s is"
    return _within(c, "peak-current", words, screen.peak_a(c.facts.chemistry), allowed_a)


def _within(c: Candidate, test: str, words: str, drawn_a: float, allowed_a: float) -> Why:
    fits = drawn_a <= allowed_a
    drawn, may = beside(drawn_a, allowed_a, Dimension.CURRENT)
    held = f"{amp_hours(c.capacity.value)} {c.outcome.word} cell" if c.capacity else f"{c.outcome.word} cell"
    text = f"{words} {drawn}, a {held} may give {may}"
    short = None if fits else drawn_a - allowed_a
    remedy = "" if fits else c.more_from_maker("discharge")
    return Why(c.code, test, fits, text, drawn_a, allowed_a, "A", short, remedy)


def _trip(screen: Screen, c: Candidate) -> Why:
    trip = protection_trip(screen.demand.project.protection)
    if trip is None:
        return Why(c.code, "protection-trip", True, "no trip current to keep below")
    # Trip voltages spread by ± 20 % (120 to 180 mV), and hot transistors trip earlier: the low end must hold.
    peak_a = screen.peak_a(c.facts.chemistry) * screen.demand.parallel
    fits = peak_a < trip.low_a
    peak, trips = beside(peak_a, trip.low_a, Dimension.CURRENT)
    text = f"the device's peak is {peak}, a warm protection may trip from {trips}"
    short = None if fits else peak_a - trip.low_a
    ask = ask_sensing(screen.demand.project.protection)
    remedy = "" if fits else ask or "fit a protection with a higher trip current, or lower the peak"
    return Why(c.code, "protection-trip", fits, text, peak_a, trip.low_a, "A", short, remedy)


def ask_sensing(protection: Protection) -> str:
    """Which kind of board it is, where its trip current does not tell and the answer changes with it; else empty."""
    if protection.trip_current_a is None or protection.sensing or protection.transistor_ohm is not None:
        return ""
    return (
        'ask how the board feels its current and write sensing = "transistors" or "shunt" under [protection]: two '
        "transistors in a row (counted here) trip earlier when warm; one with a resistor of its own (shunt), as boards of "
        f"{SHUNT_FROM_A:g} A and more have, does not"
    )


def protection_trip(protection: Protection) -> TripRange | None:
    """The range the trip current of a fitted protection may lie in; None when it is not known."""
    if not protection.fitted:
        return None
    if protection.transistor_ohm is not None:
        return trip_range(protection.transistor_ohm)
    if protection.trip_current_a is None:
        return None
    if protection.sensing == "shunt":
        return shunt_trip(protection.trip_current_a)
    # Transistors in the path: their resistance grows with heat, which a shunt's does not.
    one_ohm_a = trip_range(1.0).typical_a
    return trip_range(one_ohm_a / protection.trip_current_a)


def _strung(screen: Screen, c: Candidate) -> Why:
    """Cells in series want protection and balancing cell by cell, and never a charger for one cell."""
    in_line = screen.demand.series
    if in_line == 1:
        return Why(c.code, "protection", True, "no string to balance")
    # The charger first: a single-cell one on a string never fills it, whatever protects the cells.
    lone = charger.for_one_cell(screen.demand, c, screen.limits)
    if lone is not None:
        return lone
    lacks = finish_lacks(screen.demand.project, series=in_line)
    if not lacks:
        return Why(c.code, "protection", True, f"{in_line} in series: protected and balanced cell by cell")
    return Why(c.code, "protection", False, lacks[0].what, remedy=lacks[0].remedy)


# Cheap tests first: of 100,000 cells most fall at a stage or chemistry, before anything is computed.
CELL_TESTS: tuple[Test, ...] = (
    Test(_stage, lambda c: c.stage),
    Test(_outcome, lambda c: c.outcome),
    Test(_valid, fits=lambda screen, c: c.verdict_valid_until is None or screen.now <= c.verdict_valid_until),
    Test(_chemistry, lambda c: c.facts.chemistry),
    Test(_form, lambda c: c.facts.form),
    Test(_temperature, lambda c: None),
    Test(_voltage, lambda c: c.facts.chemistry),
    Test(_strung, lambda c: c.facts.chemistry),
    Test(_measured, fits=lambda screen, c: c.capacity is not None and c.capacity.low > 0),
    Test(
        _current, fits=lambda screen, c: screen.steady_a(c.facts.chemistry) <= c.allowed_out_a(screen.limits)
    ),
    Test(
        _peak,
        fits=lambda screen, c: (
            screen.peak_a(c.facts.chemistry) <= screen.limits.peak_factor * c.allowed_out_a(screen.limits)
        ),
    ),
)
DEVICE_TESTS: tuple[Test, ...] = (
    Test(_trip, lambda c: c.facts.chemistry),
    Test(
        lambda screen, c: charger.judge_voltage(screen.demand, c, screen.limits),
        lambda c: (c.facts.chemistry, c.facts.full_voltage_v),
    ),
    Test(
        lambda screen, c: charger.judge_supply(screen.demand, c, screen.limits), lambda c: c.facts.chemistry
    ),
    Test(
        lambda screen, c: charger.judge_temperature(screen.demand.project, c, screen.limits), lambda c: None
    ),
    Test(
        lambda screen, c: charger.judge_current(screen.demand, c, screen.limits),
        fits=lambda screen, c: charger.current_fits(screen.demand, c, screen.limits),
    ),
)
