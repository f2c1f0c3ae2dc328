"""Rules of charge that is missing after a recorded charge, before a self-discharge check even begins.

A cell charged to 4.20 V that rests at 3.80 V a day later leaks fast, and may look steady from then on. What is
missing counts from the lowest voltage the charge can have ended at, so that a healthy cell on a cheap charger passes.
The first days have limits of their own; later on what a cell may lose by itself comes on top.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import timedelta
from functools import partial

from straycell.acceptance.case import MOVES_CHARGE, Case, Seen, Tried, known_chemistry, once_a_case
from straycell.acceptance.checks.pairs import voltage_tells
from straycell.acceptance.reasons import DUST, Outcome, Reason, Side, Status, Work, WorkKind
from straycell.physics.charging import float_tolerance
from straycell.physics.derating import REFERENCE_C, most_rise, steady_over_pulse
from straycell.physics.self_discharge import surely_missing
from straycell.quantities import volts
from straycell.readings import Charge, Method, Quantity, Reading


@dataclass(frozen=True, slots=True)
class Missing:
    """A charge, a rest voltage after it, and how much charge is surely missing by then (points of 100).

    `ohms` is the d.c. resistance that was reckoned with; without one the worst of the size's table is.
    """

    charge: Charge
    rest: Reading
    points: float
    ohms: Reading | None = None

    @property
    def records(self) -> tuple[Charge | Reading, ...]:
        return (self.charge, self.rest) if self.ohms is None else (self.charge, self.rest, self.ohms)

    @property
    def days(self) -> float:
        return (self.rest.at - self.charge.at).total_seconds() / 86400.0

    @property
    def words(self) -> str:
        after = f"{self.days * 24:.0f} h" if self.days <= 3 else f"{self.days:.0f} days"
        rested = volts(self.rest.value or 0.0)
        return f"{rested} {after} after a full charge: at least {self.points:.0f} % of its charge is missing"


def may_miss(case: Case, limit_id: str, days: float) -> float:
    """Points that may be missing so many days after: after the first days also what the cell may lose by itself."""
    # No cell is asked to keep more than a self-discharge check asks of it, and a board's own drain is none of its.
    later = max(0.0, days - case.figure("first-days"))
    drain_ah = case.figure("board-drain") * 24.0 * days if case.facts.protection_board else 0.0
    drained = 200.0 * drain_ah / case.stated_ah if case.stated_ah else 0.0
    return case.figure(limit_id) + case.figure("self-discharge-discard") * later / 30.0 + drained


def lowest_end_v(case: Case, charge: Charge, ohms: Reading | None) -> float:
    """The lowest open-circuit voltage in V that a charge can have ended at.

    Its float as measured less U, else as set less the charger's tolerance; less what the end current lifts it by.
    """
    # The meter at the terminals sees I times R on top of the cell: what is only that lift is not missing
    # charge.
    tail_a, lift = charge.end_current_a, case.figure("first-day-lift")
    if tail_a is None:
        # A charge that was ended before it was full may have had all its current to the end.
        known_ah = case.stated_ah if case.is_full(charge) else None
        tail_a = charge.current_a if known_ah is None else case.figure("full-charge-tail") * known_ah
        if known_ah is None and ohms is not None:
            lift = max(lift, _most_lift(case, charge, ohms))
    # Diffusion adds about half to the resistance of a 1 s pulse (`first-day-lift`, common practice).
    ohm = case.figure("first-day-resistance") if ohms is None else case.measured(ohms).high * lift
    # Chargers are sold with 1.5 % (data sheet): 4.137 V may be all that a sound cell ever got.
    loosely_v = charge.until_v * (1.0 - float_tolerance())
    float_v = loosely_v if charge.u is None else charge.until_v - 2.0 * charge.u
    return float_v - tail_a * ohm


def _most_lift(case: Case, charge: Charge, ohms: Reading) -> float:
    """How many times its resistance may lift a cell under its whole charge current: after hours of it, and in the cold."""
    # At a tail this is a few millivolts; at 1 A in a cold garage a tenth of a volt, a third of the charge where flat.
    slow = steady_over_pulse(case.facts.chemistry, 1.0 if ohms.pulse_s is None else ohms.pulse_s).high
    warm_c = REFERENCE_C if ohms.temperature_c is None else ohms.temperature_c
    unknown_c = warm_c - case.figure("pair-temperature-unknown")
    cold_c = unknown_c if charge.temperature_c is None else charge.temperature_c
    return slow * most_rise(min(cold_c, warm_c), warm_c)


def points_missing(case: Case, before_v: float, rest: Reading) -> float:
    """Points of charge that are gone under every doubt at a rest voltage, since an open-circuit voltage in V."""
    # Highest rest against lowest start, with how far this cell's curve may lie off the published ones.
    after_v = case.measured(rest).high + case.figure("curve-error")
    return 100.0 * surely_missing(case.facts.chemistry, before_v, after_v)


@once_a_case
def missing(case: Case) -> tuple[Missing, ...]:
    """Every charge, full or not, with every rest voltage after it, no charge moved between."""
    if not known_chemistry(case):
        return ()
    # A.c. resistance leaves out the slow part, which is what lifts a cell at the end of a charge.
    known = [r for r in case.of(Quantity.RESISTANCE) if r.method is Method.DC_PULSE]
    found = []
    # A notebook of dates alone has a run at the very moment of the charge: it may have come after it.
    moved = {r.at for r in case.of(*MOVES_CHARGE)}
    for charge in (c for c in case.charges if c.at not in moved):
        after = [r for r in case.rest_voltages if charge.at < r.at and not case.disturbed(charge.at, r.at)]
        # Each resistance by itself, and none: a finding must not hang on a reading that is withdrawn later.
        for ohms in (None, *known) if after else ():
            ended_v = lowest_end_v(case, charge, ohms)
            found += [Missing(charge, rest, points_missing(case, ended_v, rest), ohms) for rest in after]
    return tuple(found)


@once_a_case
def _after_full(case: Case) -> tuple[Missing, ...]:
    """What is missing after full charges; a flat curve condemns nothing (the shelf's rule holds such a cell)."""
    if not voltage_tells(case):
        return ()
    return tuple(each for each in missing(case) if case.is_full(each.charge))


def _soon(case: Case, each: Missing) -> bool:
    return each.days <= case.figure("first-days") + DUST


@once_a_case
def lost_at_once(case: Case) -> tuple[Tried, ...]:
    """Far too much is missing at once; or enough twice, the second time after a charge whose float was measured."""
    far_more = [each for each in _after_full(case) if _far_more(case, each)]
    found = [_tried(case, each, Side.BEYOND, each.records) for each in _fewest(far_more)]
    found += [
        _tried(case, each, Side.CLEAR, each.records)
        for each in _after_full(case)
        if not _far_more(case, each)
    ]
    # What condemns by itself, or with fewer records, needs no pair: of many charges there would be thousands.
    showing = [each for each in _after_full(case) if _more(case, each, "first-day")]
    once = [each for each in showing if not _far_more(case, each)]
    fewest = {id(each) for each in _fewest(showing)}
    # A measured float rules the charger out, so the second time it is the cell.
    for repeat in (each for each in once if each.charge.u is not None):
        for first in once:
            # The lower of two resistances shows both as well.
            alike = first.ohms is repeat.ohms and (id(first) in fewest or id(repeat) in fewest)
            if alike and first.charge.at < first.rest.at < repeat.charge.at:
                found.append(_tried(case, repeat, Side.BEYOND, (*first.records, *repeat.records)))
    return tuple(found)


def _fewest(found: Sequence[Missing]) -> list[Missing]:
    """Without those that show with a resistance what shows without: what rests on fewer records is as sure."""
    bare = {(each.charge.key, each.rest.key) for each in found if each.ohms is None}
    return [each for each in found if each.ohms is None or (each.charge.key, each.rest.key) not in bare]


def _more(case: Case, each: Missing, limit_id: str) -> bool:
    return each.points > may_miss(case, limit_id, each.days)


def _far_more(case: Case, each: Missing) -> bool:
    # A week later it may have been in a torch that nobody wrote down: that holds, and a repeat decides.
    return _soon(case, each) and _more(case, each, "first-day-discard")


def _tried(case: Case, each: Missing, side: Side, records: tuple[Charge | Reading, ...]) -> Tried:
    return Tried("first-day-discard", side, records, partial(_lost, case, each))


def _lost(case: Case, each: Missing) -> Reason:
    limit_id = "first-day-discard" if _far_more(case, each) else "first-day"
    return case.reason(
        "first-day-discard",
        Status.FAILED,
        Outcome.DISCARD,
        f"{each.words}: an inner leak",
        Seen(each.points, may_miss(case, limit_id, each.days), each.rest),
    )


def first_day(case: Case) -> Iterator[Reason]:
    """The latest full charge after which charge was surely missing holds until a repeat after which it is not."""
    showing = [each for each in _after_full(case) if _more(case, each, "first-day")]
    if not showing or any(t.side is Side.BEYOND for t in lost_at_once(case)):
        return
    # The handbook's 5 % in the first 24 h is relaxation; only more than that asks for a repeat.
    latest = max(showing, key=lambda each: (each.charge.at, each.charge.id)).charge
    worst = max((each for each in showing if each.charge == latest), key=lambda each: each.points)
    # An hour after the repeat nothing is missing yet of the cell that leaks.
    wait = timedelta(hours=case.figure("pair-rest"))
    if any(
        _is_repeat(each.charge, latest) and each.rest.at >= each.charge.at + wait
        for each in _after_full(case)
    ):
        return
    repeat = next((c for c in case.charges if _is_repeat(c, latest) and case.is_full(c)), None)
    yield case.reason(
        "first-day",
        Status.CLOSE,  # not failed: the one attended repeat must stay allowed
        Outcome.HOLD,
        worst.words,
        Seen(worst.points, may_miss(case, "first-day", worst.days), worst.rest),
        rule=None if _soon(case, worst) else "first-day-later",
        todo=Work(
            WorkKind.CHARGE,
            "charge it full once more, attended, with the charger's float measured at the cell, and take its rest "
            "voltage a day later; no other charge",
        )
        if repeat is None
        else Work(WorkKind.REST, "take its rest voltage a day after the repeat charge; no other charge"),
        earliest=case.now if repeat is None else max(case.now, repeat.at + timedelta(days=1)),
    )


def _is_repeat(charge: Charge, shown: Charge) -> bool:
    # What a charger's tolerance may explain after the repeat was too much after a float that was measured.
    return charge.at > shown.at and (charge.u is not None or shown.u is None)
