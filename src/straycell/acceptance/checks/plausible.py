"""Rules of figures that cannot both be true: what was measured against what is printed."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import partial
from itertools import pairwise

from straycell.acceptance.case import Case, Tried, known_chemistry, once_a_case
from straycell.acceptance.checks.retention import runs
from straycell.acceptance.checks.steps import SOON, run_work
from straycell.acceptance.conformance import Side, against_max
from straycell.acceptance.reasons import Outcome, Reason, Status
from straycell.acceptance.work import Work, WorkKind
from straycell.quantities import Dimension, Measured, show
from straycell.readings import Charge, Quantity, Reading


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
        f"contradictory: {shown} is {share.value:.0%} of the rated {show(rated_ah, Dimension.CAPACITY)}",
        value=share,
        limit=limit,
        reading=run.reading,
        todo=run_work(case, "check the print and what the meter counts, then measure the capacity again"),
        earliest=case.now,
    )


# --- what goes in and what comes out ---------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class PutIn:
    """A charge whose amount is known: the least that went in over the most that can be in the cell."""

    charge: Charge
    share: float
    known_by: tuple[Reading, ...]

    @property
    def records(self) -> tuple[Charge | Reading, ...]:
        return (self.charge, *self.known_by)


@once_a_case
def amounts(case: Case) -> tuple[PutIn, ...]:
    """Every charge of which it is known how much went in, against the run after it, else what is known of the cell."""
    if not known_chemistry(case):
        return ()
    found = []
    for charge in case.charges:
        if (least_ah := _least_in_ah(case, charge)) <= 0.0:
            continue
        most_ah, known_by = _most_inside_ah(case, charge)
        if most_ah:
            found.append(PutIn(charge, least_ah / most_ah, known_by))
    return tuple(found)


def _least_in_ah(case: Case, charge: Charge) -> float:
    """What the charger counted less its U; at least the end current over the whole time, as it never was below."""
    counted = 0.0
    if charge.put_in_ah is not None:
        default_u = case.rules.defaults.capacity.u(charge.put_in_ah)
        counted = charge.put_in_ah - 2.0 * (default_u if charge.put_in_u is None else charge.put_in_u)
    # A charge current only falls towards its end, so end current times duration went in at the least.
    steady = (charge.end_current_a or 0.0) * (charge.took_s or 0.0) / 3600.0
    return max(counted, steady)


def _most_inside_ah(case: Case, charge: Charge) -> tuple[float | None, tuple[Reading, ...]]:
    """(what can be in it in Ah, the readings that tell): the whole run soon after it, else the largest known."""
    # A run cut short leaves charge in the cell and would make a sound charge look too large.
    whole = [run for run in runs(case) if not run.reading.at_least]
    after = [r for r in whole if charge.at < r.reading.at <= charge.at + SOON]
    after = [r for r in after if case.charge_before(r.reading.at) is charge]
    if after:
        return after[0].value.high, (after[0].reading,)
    if case.rated_ah:
        return case.rated_ah, ()
    largest = max(whole, key=lambda run: run.value.high, default=None)
    return (None, ()) if largest is None else (largest.value.high, (largest.reading,))


@once_a_case
def bottomless(case: Case) -> tuple[Tried, ...]:
    """Half as much again went in as can be in it; or a fifth more, twice."""
    once, twice = case.figure("charge-in-discard"), case.figure("charge-in")
    known = amounts(case)
    found = [
        Tried(
            "charge-in-discard",
            Side.BEYOND if each.share > once else Side.CLEAR,
            each.records,
            partial(_swallowed, case, each),
        )
        for each in known
    ]
    # One charge of a fifth too much may be a wrong count; twice it is the cell (common practice).
    showing = [each for each in known if each.share > twice]
    for first, second in pairwise(showing):
        records = tuple(dict.fromkeys((*first.records, *second.records)))
        found.append(Tried("charge-in-discard", Side.BEYOND, records, partial(_swallowed, case, second)))
    return tuple(found)


def _swallowed(case: Case, each: PutIn) -> Reason:
    return case.reason(
        "charge-in-discard",
        Status.FAILED,
        Outcome.DISCARD,
        f"took at least {each.share:.0%} of what it can hold: a soft short inside",
        observed=each.share,
        limit=case.figure("charge-in-discard"),
        reading=each.charge,
    )


def charge_in(case: Case) -> Iterator[Reason]:
    """The latest charge of a known amount: more than can be in the cell holds until a repeat that is not."""
    if not amounts(case) or any(t.side is Side.BEYOND for t in bottomless(case)):
        return
    latest = amounts(case)[-1]
    if latest.share <= case.figure("charge-in"):
        return
    yield case.reason(
        "charge-in",
        Status.CLOSE,  # not failed: the one attended repeat must stay allowed
        Outcome.HOLD,
        f"took at least {latest.share:.0%} of what it can hold, or never tapered off",
        observed=latest.share,
        limit=case.figure("charge-in"),
        reading=latest.charge,
        todo=Work(
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
    expanded = 2.0 * math.hypot(first.u * (1.0 - limit), latest.u)
    if first.value * (1.0 - limit) - latest.value <= expanded:
        return
    lost = first.value - latest.value
    yield case.reason(
        "mass-lost",
        Status.FAILED,
        Outcome.HOLD,
        f"{lost:.1f} g lighter than when it was first weighed ({first.value:g} g): something got out of it",
        observed=lost / first.value,
        expanded_uncertainty=expanded / first.value,
        limit=limit,
        reading=weighed[-1],
        todo=Work(
            WorkKind.WEIGH,
            "weigh it again on the same scale; if it stays lighter, discard it: its seal is gone",
        ),
        earliest=case.now,
    )
