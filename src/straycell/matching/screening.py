"""The tests a candidate must pass, one by one, each leaving its reason; the first failed one ends it."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from datetime import datetime

from straycell.acceptance.reasons import Outcome
from straycell.cells import Chemistry
from straycell.matching import charger
from straycell.matching.candidates import FREE, Candidate, Why
from straycell.matching.demand import Demand
from straycell.matching.limits import UseLimits
from straycell.matching.words import amps, capacity, finite, hours, ohms, volts
from straycell.physics.loads import Lamps
from straycell.physics.polarisation import shape, steady_over_pulse
from straycell.physics.protection import TripRange, trip_range
from straycell.physics.runtime import Runtime, estimate
from straycell.physics.temperature import COLDEST_KNOWN_C, HOTTEST_C, resistance_ratio
from straycell.projects import Protection
from straycell.quantities import Measured


@dataclass(frozen=True, slots=True)
class Screen:
    """What all tests of one match share."""

    demand: Demand
    limits: UseLimits
    now: datetime


@dataclass(frozen=True, slots=True)
class Screened:
    """One candidate with the reasons of its tests; `runtime` once it was computed."""

    candidate: Candidate
    reasons: tuple[Why, ...]
    runtime: Runtime | None

    @property
    def fits(self) -> bool:
        return self.reasons[-1].passed

    @property
    def last(self) -> Why:
        return self.reasons[-1]


Test = Callable[[Screen, Candidate], Why]


def screen_candidate(screen: Screen, candidate: Candidate) -> Screened:
    """Put one candidate through the tests, up to the first that it fails."""
    reasons: list[Why] = []
    runtime: Runtime | None = None
    for reason, computed in _tests(screen, candidate):
        reasons.append(reason)
        runtime = computed or runtime
        if not reason.passed:
            break
    return Screened(candidate, tuple(reasons), runtime)


def _tests(screen: Screen, candidate: Candidate) -> Iterator[tuple[Why, Runtime | None]]:
    """The cell's own tests, the cheap ones first; then those that a change of the charger would turn."""
    for test in CELL_TESTS:
        yield test(screen, candidate), None
    yield from _run_tests(screen, candidate)
    for test in DEVICE_TESTS:
        yield test(screen, candidate), None


def _stage(screen: Screen, c: Candidate) -> Why:
    free = c.stage in FREE
    return Why(c.code, "stage", free, "free" if free else f"not free: it is {c.stage}", str(c.stage))


def _valid(screen: Screen, c: Candidate) -> Why:
    until = c.verdict_valid_until
    if until is None or screen.now <= until:
        held = f"verdict holds until {until:%Y-%m-%d}" if until else "no age limits the verdict"
        return Why(c.code, "verdict", True, held, until.isoformat() if until else None)
    return Why(
        c.code,
        "verdict",
        False,
        f"its verdict ran out on {until:%Y-%m-%d}",
        until.isoformat(),
        screen.now.isoformat(),
        remedy="measure what has become stale: see its verdict",
    )


def _outcome(screen: Screen, c: Candidate) -> Why:
    allowed = c.outcome >= Outcome.LIGHT
    because = f": {c.deciding_text}" if c.deciding_text and not allowed else ""
    text = f"outcome {c.outcome.word}" + ("" if allowed else f", which no device may use{because}")
    return Why(c.code, "outcome", allowed, text, c.outcome.word, Outcome.LIGHT.word)


def _chemistry(screen: Screen, c: Candidate) -> Why:
    wanted = screen.demand.project.pack.chemistries
    fits = c.facts.chemistry in wanted and c.facts.chemistry not in (Chemistry.PRIMARY, Chemistry.UNKNOWN)
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
    chemistry, load = c.facts.chemistry, screen.demand.project.load
    full_v, need_v = screen.limits.full_v[chemistry], screen.demand.stop_v(chemistry, screen.limits)
    words = f"the device stops at {volts(need_v)}"
    if isinstance(load, Lamps) and load.lamp_v > need_v:
        need_v, words = load.lamp_v, f"the lamps were lit by {volts(load.lamp_v)}"
    fits = need_v < full_v
    text = f"{words}, one {chemistry} cell gives {volts(full_v)} when full"
    short = None if fits else need_v - full_v
    remedy = "" if fits else "the device needs cells in series, or a lower voltage"
    return Why(c.code, "voltage", fits, text, full_v, need_v, "V", short, remedy)


def _measured(screen: Screen, c: Candidate) -> Why:
    if c.capacity is None or c.capacity.low <= 0:
        remedy = "measure its capacity from full"
        return Why(c.code, "capacity", False, "its capacity is not measured", unit="Ah", remedy=remedy)
    least = " at least" if c.at_least else ""
    return Why(
        c.code, "capacity", True, f"holds{least} {capacity(c.capacity.value)}", c.capacity.value, unit="Ah"
    )


def _current(screen: Screen, c: Candidate) -> Why:
    drawn_a = screen.demand.steady_a(c.facts.chemistry, screen.limits)
    return _within(c, "current", "the device draws", drawn_a, c.allowed_out_a(screen.limits))


def _peak(screen: Screen, c: Candidate) -> Why:
    peak_a = screen.demand.peak_a(c.facts.chemistry, screen.limits)
    allowed_a = screen.limits.peak_factor * c.allowed_out_a(screen.limits)
    return _within(c, "peak-current", f"its peak of up to {screen.limits.peak_s:g} s is", peak_a, allowed_a)


def _within(c: Candidate, test: str, words: str, drawn_a: float, allowed_a: float) -> Why:
    fits = drawn_a <= allowed_a
    held = f"{capacity(c.capacity.value)} {c.outcome.word} cell" if c.capacity else f"{c.outcome.word} cell"
    text = f"{words} {amps(drawn_a)}, a {held} may give {amps(allowed_a)}"
    short = None if fits else drawn_a - allowed_a
    return Why(c.code, test, fits, text, drawn_a, allowed_a, "A", short)


def _trip(screen: Screen, c: Candidate) -> Why:
    trip = protection_trip(screen.demand.project.protection)
    if trip is None:
        return Why(c.code, "protection-trip", True, "no trip current to keep below")
    peak_a = screen.demand.peak_a(c.facts.chemistry, screen.limits)
    fits = peak_a < trip.low_a
    text = f"the device's peak is {amps(peak_a)}, a warm protection may trip from {amps(trip.low_a)}"
    short = None if fits else peak_a - trip.low_a
    remedy = "" if fits else "fit a protection with a higher trip current, or lower the peak"
    return Why(c.code, "protection-trip", fits, text, peak_a, trip.low_a, "A", short, remedy)


def protection_trip(protection: Protection) -> TripRange | None:
    """The range the trip current of a fitted protection may lie in; None when it is not known."""
    if not protection.fitted or protection.trip_current_a is None:
        return None
    one_ohm_a = trip_range(1.0).typical_a
    return trip_range(one_ohm_a / protection.trip_current_a)


CELL_TESTS: tuple[Test, ...] = (
    _stage,
    _outcome,
    _valid,
    _chemistry,
    _form,
    _temperature,
    _voltage,
    _measured,
    _current,
    _peak,
)
DEVICE_TESTS: tuple[Test, ...] = (
    _trip,
    lambda screen, c: charger.judge_voltage(screen.demand.project, c, screen.limits),
    lambda screen, c: charger.judge_temperature(screen.demand.project, c, screen.limits),
    lambda screen, c: charger.judge_current(screen.demand.project, c, screen.limits),
)


def run_time(screen: Screen, c: Candidate, *, dip_v: float = 0.0, at_least: bool = True) -> Runtime:
    """Run time of one cell; `dip_v` (V) is how far a peak pulls it below its steady voltage.

    `at_least` counts from where the charger ends in the worst case, else from where it is set to.
    """
    assert c.capacity is not None
    project, chemistry = screen.demand.project, c.facts.chemistry
    protection_v = project.protection.cutoff_v
    return estimate(
        chemistry,
        c.capacity,
        c.resistance,
        project.load,
        cutoff_v=project.need.cutoff_v + dip_v,
        cell_cutoff_v=screen.limits.cell_cutoff_v[chemistry],
        protection_cutoff_v=protection_v + dip_v if protection_v is not None else None,
        temperature_c=project.need.temperature_c,
        full_voltage_v=charger.filled_to_v(project.charge, chemistry, screen.limits, at_least=at_least),
        own_trace=c.own_trace,
        capacity_current_a=c.capacity_current_a,
        capacity_cutoff_v=c.capacity_cutoff_v,
        resistance_pulse_s=c.pulse_s,
    )


def final_runtime(screen: Screen, screened: Screened) -> Runtime:
    """The run time to print: expected from where the charger is set to, low from the worst it may end at."""
    runtime = screened.runtime
    assert runtime is not None
    chemistry, charge = screened.candidate.facts.chemistry, screen.demand.project.charge
    least_v = charger.filled_to_v(charge, chemistry, screen.limits, at_least=True)
    if least_v is None:
        return runtime
    note = f"the low end counts from {volts(least_v)}, which the charger reaches at least"
    nominal = run_time(screen, screened.candidate, at_least=False)
    return replace(nominal, low_h=runtime.low_h, notes=(*nominal.notes, note))


def _run_tests(screen: Screen, c: Candidate) -> Iterator[tuple[Why, Runtime | None]]:
    """The run time, then whether the device's peaks still leave it that long."""
    assert c.capacity is not None
    runtime = run_time(screen, c)
    end_v = charger.filled_to_v(screen.demand.project.charge, c.facts.chemistry, screen.limits, at_least=True)
    charged = f" charged to {volts(end_v)}" if end_v is not None else ""
    words = f"{capacity(c.capacity.value)}{charged}: runs"
    yield _long_enough(screen, c, "runtime", words, runtime), runtime
    yield _drop(screen, c), None


def _drop(screen: Screen, c: Candidate) -> Why:
    """The peak comes on top of the steady current: what it pulls down must not stop the device too early."""
    demand, limits, chemistry = screen.demand, screen.limits, c.facts.chemistry
    peak_a, steady_a = demand.peak_a(chemistry, limits), demand.steady_a(chemistry, limits)
    if peak_a <= steady_a:
        return Why(c.code, "voltage-drop", True, "no peak above the steady current")
    if c.resistance is None:
        text = "its resistance is not measured: the drop at the peak is not known"
        remedy = "measure its resistance with a d.c. pulse"
        return Why(c.code, "voltage-drop", False, text, unit="ohm", remedy=remedy)
    worst_ohm = peak_resistance_ohm(screen, c, c.resistance)
    dip_v = (peak_a - steady_a) * worst_ohm
    spare_v = limits.full_v[chemistry] - demand.stop_v(chemistry, limits)
    if dip_v >= spare_v:
        text = (
            f"a peak of {amps(peak_a)} over up to {ohms(worst_ohm)} pulls even a full cell below the cut-off"
        )
        return Why(c.code, "voltage-drop", False, text, dip_v, spare_v, "V", dip_v - spare_v)
    words = f"peaks of {amps(peak_a)} over up to {ohms(worst_ohm)} pull it down by {volts(dip_v)}: runs"
    return _long_enough(screen, c, "voltage-drop", words, run_time(screen, c, dip_v=dip_v))


def peak_resistance_ohm(screen: Screen, c: Candidate, resistance: Measured) -> float:
    """Resistance in ohm to reckon with at a peak: R + U, grown to the peak's length, nearly empty and cold."""
    chemistry, at_c = c.facts.chemistry, screen.demand.project.need.temperature_c
    longer = (
        steady_over_pulse(chemistry, c.pulse_s).high / steady_over_pulse(chemistry, screen.limits.peak_s).high
    )
    return resistance.high * longer * shape(0.0) * resistance_ratio(at_c).high


def _long_enough(screen: Screen, c: Candidate, test: str, words: str, runtime: Runtime) -> Why:
    need_h = screen.demand.project.need.runtime_h
    fits = runtime.low_h >= need_h
    ran, needed = hours(runtime.low_h, need_h)
    text = f"{words} {ran} at the low end, {needed} needed"
    short = None if fits else need_h - runtime.low_h
    return Why(c.code, test, fits, text, finite(runtime.low_h), need_h, "h", short)
