"""Rules of figures that cannot both be true: against the print, what went in, its own mass, its other resistances."""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import timedelta
from functools import partial
from itertools import combinations

from straycell.acceptance.case import Case, Seen, Tried, known_chemistry, once_a_case
from straycell.acceptance.checks.resistance import current_resistances, usable, words_of
from straycell.acceptance.checks.retention import Run, runs
from straycell.acceptance.checks.steps import SOON, run_work
from straycell.acceptance.reasons import Outcome, Reason, Side, Status, Work, WorkKind, against_max
from straycell.markings import most_capacity_ah
from straycell.physics.curves import state_of_charge_range
from straycell.physics.derating import most_rise, shape_range
from straycell.quantities import Dimension, Measured, amp_hours, show
from straycell.readings import Charge, Method, Quantity, Reading


def over_rating(case: Case) -> Iterator[Reason]:
    """The latest run gave more than any cell gives of its rating: a wrong figure, or another cell than the print's."""
    run, rated_ah = next(reversed(runs(case)), None), case.rated_ah
    if not known_chemistry(case) or run is None or not rated_ah:
        return
    # Sheets put the nominal within a few per cent of the minimum: 120 % is another cell, or a meter that
    # counts wrong.
    limit = case.figure("capacity-over-rating")
    share = Measured(run.value.value / rated_ah, run.value.u / rated_ah)
    if against_max(share, limit) is not Side.BEYOND:
        return
    shown = show(run.value.value, Dimension.CAPACITY, u=run.value.u)
    yield case.reason(
        "capacity-over-rating",
        Status.CLOSE,  # not failed: the charge before the run that settles it must stay allowed
        Outcome.HOLD,
        f"contradictory: {shown} is {share.value:.0%} of the rated {amp_hours(rated_ah)}",
        Seen(share, limit, run.reading),
        todo=run_work(case, "check the print and what the meter counts, then measure the capacity again"),
        earliest=case.now,
    )


# --- what goes in and what comes out ---------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class PutIn:
    """A charge whose amount is known: the least that went in over what can be in the cell, and the run that tells it."""

    charge: Charge
    share: float
    known_by: tuple[Reading, ...]

    @property
    def records(self) -> tuple[Charge | Reading, ...]:
        return (self.charge, *self.known_by)


@once_a_case
def amounts(case: Case) -> tuple[PutIn, ...]:
    """Every charge of which it is known how much went in: against the run after it, else what is known of the cell."""
    surely = {each[0].charge.key: each[0] for each in _surely(case)}
    largest = max(_whole(case), key=lambda run: run.value.high, default=None)
    found = []
    for charge, least_ah in _least_in_ah(case):
        shares = [surely[charge.key]] if charge.key in surely else []
        # What no cell of its size can hold says little beside what this one gave.
        if largest is not None and not case.rated_ah and not any(each.known_by for each in shares):
            shares.append(PutIn(charge, least_ah / largest.value.high, (largest.reading,)))
        found += sorted(shares, key=lambda each: each.share)[-1:]
    return tuple(found)


@once_a_case
def _surely(case: Case) -> tuple[tuple[PutIn, ...], ...]:
    """Of each such charge its share of what the run soon after it gave, if any, and of what it can hold, in this order."""
    # Any other run is a matter of what is known by then, and what one of them gave condemns no charge.
    found = []
    for charge, least_ah in _least_in_ah(case):
        after = [r for r in _whole(case) if charge.at < r.reading.at <= charge.at + SOON]
        after = [r for r in after if case.charge_before(r.reading.at) is charge]
        shares = [PutIn(charge, least_ah / run.value.high, (run.reading,)) for run in after[:1]]
        # Without a rating, the most that any cell of its size can be rated at.
        if holds_ah := case.rated_ah or most_capacity_ah(case.facts):
            shares.append(PutIn(charge, least_ah / holds_ah, ()))
        if shares:
            found.append(tuple(shares))
    return tuple(found)


def _whole(case: Case) -> list[Run]:
    """Runs that show what was in the cell: one cut short leaves charge in it."""
    return [run for run in runs(case) if not run.reading.at_least]


def _least_in_ah(case: Case) -> list[tuple[Charge, float]]:
    """Charges with the least that went in: as counted less U, and the end current over the whole time."""
    if not known_chemistry(case):
        return []
    found = []
    for charge in case.charges:
        counted = 0.0
        if charge.put_in_ah is not None:
            default_u = case.rules.defaults.capacity.u(charge.put_in_ah)
            counted = charge.put_in_ah - 2.0 * (default_u if charge.put_in_u is None else charge.put_in_u)
        # A charge current only falls towards its end, so it never was below the end current.
        steady = (charge.end_current_a or 0.0) * (charge.took_s or 0.0) / 3600.0
        found.append((charge, max(counted, steady)))
    return [(charge, least_ah) for charge, least_ah in found if least_ah > 0.0]


@once_a_case
def bottomless(case: Case) -> tuple[Tried, ...]:
    """Half as much again went in as can be in it; or a fifth more, twice."""
    once, twice = case.figure("charge-in-discard"), case.figure("charge-in")
    found = [
        Tried(
            "charge-in-discard",
            Side.BEYOND if each.share > once else Side.CLEAR,
            each.records,
            partial(_swallowed, case, each),
        )
        for shares in _surely(case)
        for each in shares
    ]
    # One charge of a fifth too much may be a wrong count; twice it is the cell (common practice). What the run between
    # them gave is surer than the rating.
    for (first, *_), others in combinations(_surely(case), 2):
        for second in others if first.share > twice else ():
            if second.share > twice:
                records = (*first.records, *second.records)
                found.append(
                    Tried("charge-in-discard", Side.BEYOND, records, partial(_swallowed, case, second))
                )
    return tuple(found)


def _swallowed(case: Case, each: PutIn) -> Reason:
    return case.reason(
        "charge-in-discard",
        Status.FAILED,
        Outcome.DISCARD,
        f"took at least {each.share:.0%} of what it can hold: a soft short inside",
        Seen(each.share, case.figure("charge-in-discard"), each.charge),
    )


def charge_in(case: Case) -> Iterator[Reason]:
    """The latest charge of a known amount: more than can be in the cell holds until a repeat that is not.

    What would condemn it against a run soon after it holds against any other, until a run gives more.
    """
    known = amounts(case)
    if not known or any(t.side is Side.BEYOND for t in bottomless(case)):
        return
    once, twice = case.figure("charge-in-discard"), case.figure("charge-in")
    showing = [each for each in known if each.share > twice]
    # A soft short that showed itself is not gone with one good charge.
    lasting = [each for each in showing if each.share > once] or (showing if len(showing) > 1 else [])
    latest = lasting[-1] if lasting else known[-1]
    if latest.share <= twice:
        return
    yield case.reason(
        "charge-in",
        Status.CLOSE,  # not failed: the one attended repeat must stay allowed
        Outcome.HOLD,
        f"took at least {latest.share:.0%} of what it can hold, or never tapered off",
        Seen(latest.share, twice, latest.charge),
        todo=run_work(
            case,
            "charge it full once more, attended, and measure its capacity; if no run gives enough to explain what went "
            "in, discard it",
        )
        if lasting
        else Work(
            WorkKind.CHARGE,
            "charge it full once more, attended, and note what went in and how long it took; if it does not taper "
            "off again, discard it",
            options="--put-in ... --took ...",
        ),
        earliest=case.now,
    )


# --- its own first mass ----------------------------------------------------------------------------


def lost_mass(case: Case) -> Iterator[Reason]:
    """Lighter than it was at first, in the same sleeve and with the same tabs: something has got out of it."""
    # A new sleeve or tabs change the mass by as much as the loss that is looked for; they explain no loss before.
    dressed, masses = case.evidence.dressed_at, case.of(Quantity.MASS)
    for begin, end in zip((None, *dressed), (*dressed, None), strict=True):
        alike = [r for r in masses if (begin is None or r.at > begin) and (end is None or r.at <= end)]
        yield from _lost_mass(case, alike)


def _lost_mass(case: Case, weighed: Sequence[Reading]) -> Iterator[Reason]:
    if len(weighed) < 2:
        return
    first, latest = case.measured(weighed[0]), case.measured(weighed[-1])
    limit = case.figure("mass-lost")
    # The first reading enters scaled by the limit, so its error does, too.
    u = math.hypot(first.u * (1.0 - limit), latest.u)
    if first.value * (1.0 - limit) - latest.value <= 2.0 * u:
        return
    lost = first.value - latest.value
    yield case.reason(
        "mass-lost",
        Status.FAILED,
        Outcome.HOLD,
        f"{lost:.1f} g lighter than when it was first weighed ({first.value:g} g): something got out of it",
        Seen(Measured(lost / first.value, u / first.value), limit, weighed[-1]),
        todo=Work(
            WorkKind.WEIGH,
            "weigh it again on the same scale; if it stays lighter, discard it: its seal is gone",
        ),
        earliest=case.now,
    )


# --- next to no resistance ---------------------------------------------------------------------------


def next_to_none(case: Case) -> Iterator[Reason]:
    """A resistance that is surely lower than any cell's: of shorted leads, or of another unit."""
    limit = case.figure("resistance-least")
    for reading in current_resistances(case) if case.stated_ah else ():
        value = case.measured(reading)
        if case.stated_ah is None or value.high * case.stated_ah >= limit:
            continue
        yield case.reason(
            "resistance-least",
            Status.CLOSE,
            Outcome.HOLD,
            f"contradictory: {words_of(case, reading)} is less than any cell of {amp_hours(case.stated_ah)} has",
            Seen(value.value * case.stated_ah, limit, reading),
            todo=Work(
                WorkKind.RESISTANCE,
                "measure it again, each lead on its own end of the cell, in the unit it shows",
            ),
            earliest=case.now,
        )


# --- two resistances ---------------------------------------------------------------------------------

_SAME_PULSE = 0.1
"""Pulses within a tenth of each other are of one length: an instrument's clock steps."""
_USUAL_PULSE_S = 1.0
"""IEC 61960; the shortest the sets know, so an unknown length is granted the least difference."""


def _same_kind(a: Reading, b: Reading) -> bool:
    """Same method, pulse and place."""
    return a.method is b.method and _same_pulse(a.pulse_s, b.pulse_s) and a.where is b.where


def _same_pulse(a_s: float | None, b_s: float | None) -> bool:
    # A pulse of unknown length may be any: it compares only with another unknown one.
    if a_s is None or b_s is None:
        return a_s is b_s
    return math.isclose(a_s, b_s, rel_tol=_SAME_PULSE)


def _within(a: float | None, b: float | None, span: float) -> bool:
    return a is None or b is None or abs(a - b) <= span


def _charged(case: Case, reading: Reading) -> tuple[float, float] | None:
    """Least and most state of charge (0 to 1) that a pulse may have been taken at; None where nothing tells."""
    # The published sets are of d.c. pulses: nothing says how far charge moves a value of another method.
    if reading.method is not Method.DC_PULSE:
        return None
    if reading.soc is not None:
        return reading.soc, reading.soc
    span = timedelta(days=case.figure("resistance-charge-days"))
    for rest in reversed(case.rest_voltages):
        first, last = sorted((rest.at, reading.at))
        if last - first <= span and not case.disturbed(first, last) and rest.value is not None:
            return state_of_charge_range(case.facts.chemistry, rest.value, case.measured(rest).u)
    for charge in reversed(case.charges):
        since = reading.at - charge.at
        if (
            timedelta(0) <= since <= span
            and not case.disturbed(charge.at, reading.at)
            and case.is_full(charge)
        ):
            return 1.0, 1.0
    return None


def _same_charge(case: Case, a: Reading, b: Reading) -> bool:
    """True also where the charge of one is unknown: what is not known excuses no difference."""
    one, other = _charged(case, a), _charged(case, b)
    span = case.figure("contradiction-charge")
    return one is None or other is None or max(one[0] - other[1], other[0] - one[1]) <= span


def _same_state(case: Case, a: Reading, b: Reading) -> bool:
    """Within 5 K and the same charge, as far as both are known."""
    span = case.figure("contradiction-temperature")
    return _within(a.temperature_c, b.temperature_c, span) and _same_charge(case, a, b)


def _explained(case: Case, a: Reading, b: Reading) -> tuple[float, float]:
    """Least and most that `b` may be over `a` by their temperatures and charges, as far as published sets differ."""
    least, most = 1.0, 1.0
    if not _within(a.temperature_c, b.temperature_c, case.figure("contradiction-temperature")):
        assert a.temperature_c is not None and b.temperature_c is not None
        cold, warm = sorted((a.temperature_c, b.temperature_c))
        rise = most_rise(cold, warm)
        least, most = (1.0, rise) if b.temperature_c == cold else (1.0 / rise, 1.0)
    if not _same_charge(case, a, b):
        charges = (_charged(case, a) or (0.0, 1.0), _charged(case, b) or (0.0, 1.0))
        one, other = (shape_range(case.facts.chemistry, a.pulse_s or _USUAL_PULSE_S, c) for c in charges)
        # Near empty no set says how far it rises: nothing to compare.
        if one is None or other is None:
            return 0.0, math.inf
        least, most = least * other[0] / one[1], most * other[1] / one[0]
    return least, most


def _agree(case: Case, a: Reading, b: Reading, least: float = 1.0, most: float = 1.0) -> bool:
    """`b` is `least` to `most` times `a`, within the root of the summed squares of both U.

    Readings out of traces also have what they repeat to.
    """
    one, other = case.measured(a), case.measured(b)
    # Some 3 % a kelvin: even within 5 K two good readings of one cell lie a few per cent apart.
    repeat = case.repeat_u("resistance-repeat", a, b)
    low, high = (
        math.hypot(ratio * one.expanded, other.expanded, 2.0 * repeat) if ratio < math.inf else 0.0
        for ratio in (least, most)
    )
    return least * one.value - low <= other.value <= most * one.value + high


def resistances(case: Case) -> Iterator[Reason]:
    """Each resistance that grades against the others of its kind: a third that agrees in the same state settles it."""
    if known_chemistry(case):
        for latest in current_resistances(case):
            yield from _contradiction(case, latest)


def _contradiction(case: Case, latest: Reading) -> Iterator[Reason]:
    alike = [r for r in usable(case) if r is not latest and _same_kind(r, latest)]
    span = timedelta(days=case.figure("contradiction-days"))
    others = [r for r in alike if abs(r.at - latest.at) <= span]
    agree = [r for r in others if _agree(case, r, latest)]
    against = [
        r for r in others if r not in agree and not _agree(case, r, latest, *_explained(case, r, latest))
    ]
    # One that agrees only by what another state explains settles nothing: that margin is wide.
    if against and not any(_same_state(case, r, latest) for r in agree):
        yield _disputed(case, latest, against[-1], "contradiction-days", "but")
    elif not against:
        yield from _fall(case, latest, [r for r in alike if r.at <= latest.at])


def _fall(case: Case, latest: Reading, before: Sequence[Reading]) -> Iterator[Reason]:
    """Resistance only grows with age: one that fell by half since last time, however long ago, is contradictory."""
    if not before or any(_agree(case, r, latest) for r in before):
        return
    # Contact resistance of two-wire clips can do this, and either value may be the wrong one: so it holds.
    least, _ = _explained(case, before[-1], latest)
    if (
        case.measured(latest).value
        <= case.figure("resistance-fall") * least * case.measured(before[-1]).value
    ):
        yield _disputed(case, latest, before[-1], "resistance-fall", "after")


def _disputed(case: Case, latest: Reading, other: Reading, limit_id: str, link: str) -> Reason:
    return case.reason(
        limit_id,
        # Close, not failed: one of the two is an error of measuring, and nothing is known against the cell.
        Status.CLOSE,
        Outcome.HOLD,
        f"contradictory: {words_of(case, latest)} on {latest.at:%Y-%m-%d} {link} {words_of(case, other)} on {other.at:%Y-%m-%d}",
        Seen(case.measured(latest), case.measured(other).value, latest, unit="ohm"),
        rule="resistance-contradictory",
        todo=Work(
            WorkKind.RESISTANCE,
            "measure the resistance a third time, same method; one that agrees settles it",
        ),
        earliest=case.now,
    )
