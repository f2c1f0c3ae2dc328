"""Which capacity runs count, and self-discharge from two of them where voltage does not tell."""

import math
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import timedelta
from enum import StrEnum

from straycell.acceptance.case import STEPS, Case, Seen, once_a_case
from straycell.acceptance.checks.steps import SOON, run_work
from straycell.acceptance.reasons import DUST, Outcome, Reason, Side, Status, against_max
from straycell.physics.self_discharge import loss_from_capacities
from straycell.quantities import Measured
from straycell.readings import Charge, Quantity, Reading

NO_TEMPERATURE = "its temperature was not recorded"


class Worth(StrEnum):
    """What a capacity reading is worth for grading."""

    COUNTS = "counts"
    AT_LEAST = "at least"
    NOT_COMPARABLE = "not comparable"


@dataclass(frozen=True, slots=True)
class Run:
    """A capacity reading as the rules see it: its value in Ah, what it is worth, and why not more."""

    reading: Reading
    value: Measured
    worth: Worth
    why: str = ""

    @property
    def speaks(self) -> bool:
        """True when it can contradict another: it counts, or nothing but its temperature is missing."""
        return self.worth is Worth.COUNTS or self.why == NO_TEMPERATURE


@once_a_case
def runs(case: Case) -> tuple[Run, ...]:
    """All capacity readings, oldest first, each judged by its conditions."""
    return tuple(_judge(case, r) for r in case.of(Quantity.CAPACITY))


def _judge(case: Case, reading: Reading) -> Run:
    value = case.measured(reading)
    easier, harsher = conditions(case, reading)
    if reading.temperature_c is None:
        extra = case.figure("capacity-no-temperature") * value.value / 3**0.5
        value = Measured(value.value, (value.u**2 + extra**2) ** 0.5)
        # Sheets show no more capacity at any temperature than at 20 to 25 °C: an unknown one can only have
        # lowered it.
        harsher.append(NO_TEMPERATURE)
    harsher += ["its trace did not show a full run"] if reading.at_least else _start(case, reading)
    # Under easier conditions a worn cell gives what a sound one gives at 0.2C: neither bound nor value.
    if easier:
        return Run(reading, value, Worth.NOT_COMPARABLE, "; ".join(easier))
    return Run(reading, value, Worth.AT_LEAST if harsher else Worth.COUNTS, "; ".join(harsher))


def conditions(case: Case, reading: Reading) -> tuple[list[str], list[str]]:
    """(easier than the rule allows, harsher): rate, cut-off, temperature."""
    easier: list[str] = []
    harsher: list[str] = []
    # Where nobody stated a capacity, what it gave itself: other runs must not change what this one shows.
    base = case.stated_ah or reading.value
    # Unknown conditions may have been easier ones, and then the figure is too high.
    if reading.discharge_current_a is None or reading.cutoff_v is None or not base:
        return ["its discharge current or cut-off is not known"], []
    rate = reading.discharge_current_a / base
    _range(
        rate,
        case.figure("capacity-rate-low"),
        case.figure("capacity-rate-high"),
        f"at {rate:.3g}C",
        easier,
        harsher,
    )
    cutoff = reading.cutoff_v
    _range(
        cutoff,
        case.figure("capacity-cutoff-low"),
        case.figure("capacity-cutoff-high"),
        f"to {cutoff:g} V",
        easier,
        harsher,
    )
    if reading.temperature_c is not None:
        low, high = case.figure("capacity-temperature-low"), case.figure("capacity-temperature-high")
        # At 60 °C sheets show 97 and 100 % of the capacity at room temperature: heat is not surely on the
        # harsh side.
        if reading.temperature_c > high:
            easier.append(f"at {reading.temperature_c:g} C")
        elif reading.temperature_c < low:
            harsher.append(f"at {reading.temperature_c:g} C")
    return easier, harsher


def _range(value: float, low: float, high: float, words: str, easier: list[str], harsher: list[str]) -> None:
    if value < low - DUST:
        easier.append(words)
    elif value > high + DUST:
        harsher.append(words)


def _start(case: Case, reading: Reading) -> list[str]:
    """Why the run did not start full, if so; its own trace may show that it did."""
    charge = case.charge_before(reading.at)
    if charge is None or not case.is_full(charge, reading.value):
        why = f" ({case.short_of_full(charge, reading.value)})" if charge is not None else ""
        return [] if reading.from_full else [f"no recorded full charge{why}"]
    # Whatever was taken out since the charge is missing in the run: it shows less than the cell holds.
    if any(charge.at < r.at < reading.at for r in case.of(Quantity.CAPACITY)):
        return [] if reading.from_full else ["discharged once before since the full charge"]
    if any(charge.at < r.at < reading.at for r in case.of(Quantity.LET_DOWN)):
        return [] if reading.from_full else ["let down since the full charge"]
    if reading.at - charge.at > SOON:
        return [f"{(reading.at - charge.at).days} days after the full charge"]
    return []


def start_records(case: Case, reading: Reading) -> tuple[Reading | Charge, ...]:
    """A run with what shows that it started full."""
    charge = None if reading.from_full else case.charge_before(reading.at)
    return (reading,) if charge is None else (reading, charge)


@dataclass(frozen=True, slots=True)
class Kept:
    """What a cell kept of its charge: `early` soon after a full charge, `late` 28 days or more after `charge`.

    `loss` is in per cent in 30 days.
    """

    charge: Charge
    early: Run
    late: Run
    days: float
    loss: Measured

    @property
    def points_gone(self) -> float:
        """Points of 100 of its charge that are surely missing in the late run."""
        return self.loss.low * self.days / 30.0

    @property
    def words(self) -> str:
        """`kept 97.1 % of its charge over 28 days (3.1 ± 0.8 % a month)`."""
        monthly = f"{self.loss.value:.1f} ± {self.loss.expanded:.1f} % a month"
        # The loss is stated for 30 days, the unit of the limits; people know retention as a share kept.
        share = 100 - self.loss.value * self.days / 30
        return f"kept {share:.1f} % of its charge over {self.days:.0f} days ({monthly})"


@once_a_case
def retained(case: Case) -> tuple[Kept, ...]:
    """Every pair of runs that tells what was kept, the latest first."""
    # A national standard keeps a full cell 28 days before the second run (rules, retention-days).
    return _kept(case, case.figure("retention-days"), math.inf)


@once_a_case
def kept_shortly(case: Case) -> tuple[Kept, ...]:
    """The same of runs that came too early to tell what a cell loses, and too late to tell what it holds."""
    return _kept(case, SOON.total_seconds() / 86400.0, case.figure("retention-days"))


def _kept(case: Case, least: float, below: float) -> tuple[Kept, ...]:
    """Pairs of runs at the same current and cut-off, within 5 K and 3 months, nothing taken out of the cell in between."""
    span = timedelta(days=case.figure("contradiction-days"))
    judged = runs(case)
    found = []
    for late in reversed(judged):
        charge = case.charge_before(late.reading.at)
        if charge is None or late.reading.temperature_c is None:
            continue
        days = (late.reading.at - charge.at).total_seconds() / 86400.0
        if not least <= days < below or late.reading.at_least:
            continue
        # Charge that was taken out in between would count as lost.
        if case.disturbed(charge.at, late.reading.at - timedelta.resolution):
            continue
        found += [
            Kept(charge, early, late, days, _loss(case, early, late, days))
            for early in reversed(judged)
            if early.worth is Worth.COUNTS
            and early is not late
            and case.is_full(charge, early.reading.value)
            and abs(early.reading.at - charge.at) <= span
            and comparable(case, early.reading, late.reading)
        ]
    return tuple(found)


def _loss(case: Case, early: Run, late: Run, days: float) -> Measured:
    # The gain error of one meter is common to both runs and cancels in the ratio; repeatability does not.
    same = early.reading.meter is not None and early.reading.meter == late.reading.meter
    repeat = case.figure("capacity-repeat")
    return loss_from_capacities(early.value, late.value, days, same_meter=same, repeat=repeat)


def comparable(case: Case, a: Reading, b: Reading) -> bool:
    """True for two capacities of nearly the same current, the same cut-off, and within 5 K."""
    # Sheets: a cell gives some 15 % less at 0 than at 20 °C, so 5 K already move a run by per cents.
    near = (
        a.temperature_c is None
        or b.temperature_c is None
        or (abs(a.temperature_c - b.temperature_c) <= case.figure("contradiction-temperature"))
    )
    return near and _same_cutoff(a, b) and _same_current(case, a, b)


def _same_cutoff(a: Reading, b: Reading) -> bool:
    """2.8V and 2800mV are the same, to the last bit or not."""
    if a.cutoff_v is None or b.cutoff_v is None:
        return a.cutoff_v is b.cutoff_v
    return math.isclose(a.cutoff_v, b.cutoff_v, abs_tol=1e-6)


def _same_current(case: Case, a: Reading, b: Reading) -> bool:
    one, other = a.discharge_current_a, b.discharge_current_a
    if one is None or other is None:
        return one is other
    # On sheets 0.2C and 0.5C differ by some 2 %: within 5 % of one current that is nothing.
    return abs(one - other) <= case.figure("contradiction-current") * max(one, other)


def grade_retention(case: Case, kept: Kept) -> Iterator[Reason]:
    """The self-discharge that two capacity runs show, against the limit of each use."""
    words, loss = kept.words, kept.loss
    for outcome in STEPS:
        limit = case.figure("self-discharge", outcome.word)
        side = against_max(loss, limit)
        clear = side is Side.CLEAR
        yield case.reason(
            "self-discharge",
            Status.MET if clear else Status.CLOSE if side is Side.CLOSE else Status.FAILED,
            outcome if clear else Outcome(outcome - 1),
            f"{words}: {outcome.word}" if clear else f"{words}: not enough for {outcome.word}",
            Seen(loss, limit, kept.late.reading, figure=words),
            rule="self-discharge" if clear else f"self-discharge-{outcome.word}",
            # The test itself destroys the charge it measures: repeating it means another full charge and 28
            # days.
            todo=None if clear else run_work(case, "repeat the 28 days and the capacity run"),
            earliest=None if clear else case.now + timedelta(days=case.figure("retention-days")),
        )
        if clear:
            return
