"""Rules of a cell that is warm at rest: heat without a current comes from inside, or from the sun."""

import math
from collections.abc import Iterator
from datetime import timedelta
from functools import partial

from straycell.acceptance.case import Case, Seen, Tried, once_a_case
from straycell.acceptance.checks.pairs import checked_after
from straycell.acceptance.reasons import Outcome, Reason, Side, Status, Work, WorkKind, against_max
from straycell.quantities import Measured
from straycell.readings import Charge, Quantity, Reading


def _rested(case: Case) -> list[tuple[Reading, Measured]]:
    """Temperatures of the cell after a rest, each with how far it lay above its surroundings, in K."""
    # A cell of 45 g comes to the air's temperature within 2 h (common practice); before, it may still cool
    # from a charge.
    rest_s = case.figure("warm-rest-time") * 3600.0
    return [(r, rise) for r, rise in _risen(case) if r.rested_s is not None and r.rested_s >= rest_s]


def _risen(case: Case) -> list[tuple[Reading, Measured]]:
    """Each temperature of the cell that has its surroundings beside it, with how far it lay above these, in K."""
    return [(r, _above(case, r)) for r in case.of(Quantity.TEMPERATURE) if r.surroundings_c is not None]


def _above(case: Case, reading: Reading) -> Measured:
    """Over the surroundings, by the same meter or not: both errors count."""
    own = case.measured(reading)
    # Cell and air are read at two places and times: no part of the error is known to cancel.
    air_u = (
        case.rules.defaults.temperature.u(reading.surroundings_c or 0.0) if reading.meter is None else own.u
    )
    return Measured(own.value - (reading.surroundings_c or 0.0), math.hypot(own.u, air_u))


@once_a_case
def hot_at_rest(case: Case) -> tuple[Tried, ...]:
    """Each temperature at rest against the rise that only a short inside explains."""
    # Without a current only an inner current heats: 10 K over still air takes a short that keeps draining.
    limit = case.figure("warm-rest-discard")
    return tuple(
        Tried("warm-rest-discard", against_max(rise, limit), (r,), partial(_short, case, r, rise))
        for r, rise in _rested(case)
    )


def _short(case: Case, reading: Reading, rise: Measured) -> Reason:
    return case.reason(
        "warm-rest-discard",
        Status.FAILED,
        Outcome.DISCARD,
        f"{rise.value:g} ± {rise.expanded:.1f} K warmer than its surroundings at rest: a short inside",
        Seen(rise, case.figure("warm-rest-discard"), reading),
    )


def warm(case: Case) -> Iterator[Reason]:
    """Warmer than its surroundings at rest holds; as hot as they are, it is looked at, from 60 C on checked too."""
    if any(t.side is Side.BEYOND for t in hot_at_rest(case)):
        return
    limit, rested = case.figure("warm-rest"), _rested(case)
    warmer = [(r, rise) for r, rise in rested if against_max(rise, limit) is Side.BEYOND]
    if warmer and not checked_after(case, warmer[-1][0].at):
        reading, rise = warmer[-1]
        day = timedelta(days=1)
        # A day apart: the sun or a warm place is over by then, an inner short is not.
        cooled = any(r.at >= reading.at + day and against_max(x, limit) is Side.CLEAR for r, x in rested)
        yield case.reason(
            "warm-rest",
            Status.CLOSE if cooled else Status.FAILED,  # cool again, the check's charge is allowed
            Outcome.HOLD,
            f"{rise.value:g} ± {rise.expanded:.1f} K warmer than its surroundings at rest",
            Seen(rise, limit, reading),
            todo=Work(WorkKind.CHARGE, "charge it full, attended, then the self-discharge check again")
            if cooled
            else Work(
                WorkKind.TEMPERATURE,
                "lay it apart where nothing burns and do not charge it; a day later measure it and its surroundings again",
                reading.at + day,
            ),
            earliest=case.now if cooled else max(case.now, reading.at + day),
        )
    yield from _not_rested(case, limit)
    yield from _hot_place(case)


def _not_rested(case: Case, limit: float) -> Iterator[Reason]:
    """Warmer than its surroundings after a rest that nobody stated holds until it is seen cool."""
    risen = [(r, rise, against_max(rise, limit)) for r, rise in _risen(case)]
    warmer = [(r, rise) for r, rise, side in risen if side is Side.BEYOND and r.rested_s is None]
    # A stated short rest says that it worked just before; unstated, a short may have warmed it. Cool again, it was no
    # short.
    if warmer and not any(r.at > warmer[-1][0].at and side is Side.CLEAR for r, _, side in risen):
        reading, rise = warmer[-1]
        wait = reading.at + timedelta(hours=case.figure("warm-rest-time"))
        yield case.reason(
            "warm-rest",
            Status.FAILED,
            Outcome.HOLD,
            f"{rise.value:g} ± {rise.expanded:.1f} K warmer than its surroundings, not known to have rested 2 h",
            Seen(rise, limit, reading),
            todo=Work(
                WorkKind.TEMPERATURE,
                "lay it apart where nothing burns and do not charge it; after 2 h of rest measure it and its "
                "surroundings again",
                wait,
            ),
            earliest=max(case.now, wait),
        )


def _hot_place(case: Case) -> Iterator[Reason]:
    """As warm as a hot place around it: the sun did it, but sheets end here."""
    # Cell sheets: stored at up to 45 °C for three months, at 60 °C for one; beyond, no sheet speaks for a
    # cell.
    look_at, check_at = case.figure("hot-place"), case.figure("hot-place-check")
    # Beside another reading the temperature is a condition, and the cell lay there all the same. Under load it may be as
    # warm as sheets let it be discharged at, which is the second limit.
    working = (Quantity.CAPACITY, Quantity.RESISTANCE, Quantity.LET_DOWN)
    hot: list[Reading | Charge] = [
        r for r in case.readings if _own_c(r) > (check_at if r.quantity in working else look_at)
    ]
    hot = sorted((*hot, *(c for c in case.charges if _own_c(c) > look_at)), key=lambda each: each.at)
    if not hot:
        return
    latest, peak = hot[-1], max(map(_own_c, hot))
    lacking = [] if any(r.at > latest.at for r in case.of(Quantity.LOOK)) else ["a look"]
    if peak > check_at and not checked_after(case, latest.at):
        lacking.append("a self-discharge check")
    if lacking:
        yield case.reason(
            "hot-place",
            # Failed forbids the charge: heat may have swollen it, and a look costs a minute.
            Status.FAILED if "a look" in lacking else Status.UNMEASURED,
            Outcome.HOLD,
            f"lay at {peak:g} C; still to do: {' and '.join(lacking)}",
            Seen(peak, look_at, latest),
            todo=Work(
                WorkKind.LOOK if "a look" in lacking else WorkKind.CHARGE,
                f"record {' and '.join(lacking)}, taken after that",
            ),
            earliest=case.now,
        )


def _own_c(record: Reading | Charge) -> float:
    """How warm the cell was, or the place it lay in, in C."""
    own_c = record.temperature_c
    if isinstance(record, Reading) and record.quantity is Quantity.TEMPERATURE:
        own_c = max((c for c in (record.value, record.surroundings_c) if c is not None), default=None)
    return 0.0 if own_c is None else own_c
