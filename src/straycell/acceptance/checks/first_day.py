"""Rules of the first days after a full charge: charge that is missing before a self-discharge check even begins.

A cell charged to 4.20 V that rests at 3.80 V a day later leaks fast, and may look steady from then on. What is
missing counts from the lowest voltage the charge can have ended at, so that a healthy cell on a cheap charger passes.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import timedelta
from functools import partial

from straycell.acceptance.case import Case, Seen, Tried, known_chemistry, once_a_case
from straycell.acceptance.reasons import Outcome, Reason, Side, Status, Work, WorkKind
from straycell.physics.charging import float_tolerance
from straycell.physics.self_discharge import surely_missing
from straycell.quantities import Dimension, show
from straycell.readings import Charge, Method, Quantity, Reading


@dataclass(frozen=True, slots=True)
class FirstDay:
    """A full charge, a rest voltage in the days after it, and how much charge is surely missing (points of 100).

    `ohms` is the d.c. resistance that was reckoned with; without one the worst of the size's table is.
    """

    charge: Charge
    rest: Reading
    missing: float
    ohms: Reading | None = None

    @property
    def records(self) -> tuple[Charge | Reading, ...]:
        return (self.charge, self.rest) if self.ohms is None else (self.charge, self.rest, self.ohms)

    @property
    def words(self) -> str:
        hours = (self.rest.at - self.charge.at).total_seconds() / 3600
        rested = show(self.rest.value or 0.0, Dimension.VOLTAGE)
        return f"{rested} {hours:.0f} h after a full charge: at least {self.missing:.0f} % of its charge is missing"


def lowest_end_v(case: Case, charge: Charge, ohms: Reading | None) -> float:
    """The lowest open-circuit voltage in V that a charge can have ended at.

    Its float as measured less U, else as set less the charger's tolerance; less what the end current lifts it by.
    """
    # The meter at the terminals sees I times R on top of the cell: what is only that lift is not missing
    # charge.
    tail_a = charge.end_current_a
    if tail_a is None:
        tail_a = case.figure("full-charge-tail") * (case.stated_ah or 0.0)
    # Diffusion adds about half to the resistance of a 1 s pulse (`first-day-lift`, common practice).
    ohm = (
        case.figure("first-day-resistance")
        if ohms is None
        else case.measured(ohms).high * case.figure("first-day-lift")
    )
    # Chargers are sold with 1.5 % (data sheet): 4.137 V may be all that a sound cell ever got.
    loosely_v = charge.until_v * (1.0 - float_tolerance())
    float_v = loosely_v if charge.u is None else charge.until_v - 2.0 * charge.u
    return float_v - tail_a * ohm


@once_a_case
def first_days(case: Case) -> tuple[FirstDay, ...]:
    """Every full charge with every rest voltage within three days of it, no charge moved between."""
    if not known_chemistry(case):
        return ()
    span = timedelta(days=case.figure("first-days"))
    # A.c. resistance leaves out the slow part, which is what lifts a cell at the end of a charge.
    known = [r for r in case.of(Quantity.RESISTANCE) if r.method is Method.DC_PULSE]
    found = []
    for charge in filter(case.is_full, case.charges):
        for rest in case.rest_voltages:
            if charge.at < rest.at <= charge.at + span and not case.disturbed(charge.at, rest.at):
                # Highest rest against lowest end: only what is missing under every doubt counts.
                high_v = case.measured(rest).high + case.figure("curve-error")
                # Each resistance by itself, and none: a finding must not hang on a reading that is withdrawn
                # later.
                for ohms in (None, *known):
                    share = surely_missing(case.facts.chemistry, lowest_end_v(case, charge, ohms), high_v)
                    if share is not None:
                        found.append(FirstDay(charge, rest, 100.0 * share, ohms))
    return tuple(found)


@once_a_case
def lost_at_once(case: Case) -> tuple[Tried, ...]:
    """Far too much is missing; or enough twice, the second time after a charge whose float was measured."""
    most, again_at = case.figure("first-day-discard"), case.figure("first-day")
    found = []
    for day in first_days(case):
        side = Side.BEYOND if day.missing > most else Side.CLEAR
        found.append(Tried("first-day-discard", side, day.records, partial(_lost, case, day)))
    # A measured float rules the charger out, so the second time it is the cell.
    showing = [day for day in first_days(case) if day.missing > again_at]
    for repeat in (day for day in showing if day.charge.u is not None):
        for first in showing:
            if first.charge.at < first.rest.at < repeat.charge.at:
                records = (*first.records, *repeat.records)
                found.append(Tried("first-day-discard", Side.BEYOND, records, partial(_lost, case, repeat)))
    return tuple(found)


def _lost(case: Case, day: FirstDay) -> Reason:
    return case.reason(
        "first-day-discard",
        Status.FAILED,
        Outcome.DISCARD,
        f"{day.words}: an inner leak",
        Seen(day.missing, case.figure("first-day-discard"), day.rest),
    )


def first_day(case: Case) -> Iterator[Reason]:
    """The latest full charge with a rest voltage soon after it: what is surely missing holds until a repeat."""
    days = first_days(case)
    if not days or any(t.side is Side.BEYOND for t in lost_at_once(case)):
        return
    # The handbook's 5 % in the first 24 h is relaxation; only more than that asks for a repeat.
    latest = max(days, key=lambda day: (day.charge.at, day.charge.id)).charge
    worst = max((day for day in days if day.charge == latest), key=lambda day: day.missing)
    limit = case.figure("first-day")
    if worst.missing <= limit:
        return
    repeat = next((c for c in case.charges if c.at > latest.at and case.is_full(c)), None)
    yield case.reason(
        "first-day",
        Status.CLOSE,  # not failed: the one attended repeat must stay allowed
        Outcome.HOLD,
        worst.words,
        Seen(worst.missing, limit, worst.rest),
        todo=Work(
            WorkKind.CHARGE,
            "charge it full once more, attended, with the charger's float measured at the cell, and take its rest "
            "voltage a day later; no other charge",
        )
        if repeat is None
        else Work(WorkKind.REST, "take its rest voltage a day after the repeat charge; no other charge"),
        earliest=case.now if repeat is None else max(case.now, repeat.at + timedelta(days=1)),
    )
