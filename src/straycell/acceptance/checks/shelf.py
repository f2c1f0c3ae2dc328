"""Rules of the shelf: the latest rest voltage, and rest voltages that fall too fast outside a self-discharge check.

A hold and not a discard: where the voltage curve is flat a loss is reported less well than from full. It is a finding
all the same, which only a self-discharge check begun afterwards answers.
"""

from collections.abc import Iterator, Sequence
from datetime import datetime, timedelta
from functools import partial
from typing import NamedTuple

from straycell.acceptance.case import Case, Seen, Tried, known_chemistry, once_a_case
from straycell.acceptance.checks.first_day import Missing, may_miss, missing, points_missing
from straycell.acceptance.checks.pairs import (
    Pair,
    checked_after,
    estimate,
    kelvin_between,
    make_pair,
    strange_falls,
    voltage_tells,
    windows,
)
from straycell.acceptance.checks.steps import check_work, rest_work
from straycell.acceptance.checks.voltage import volts_of
from straycell.acceptance.evidence import DISMANTLED, SHELF_LOSS, Upset
from straycell.acceptance.reasons import Outcome, Reason, Side, Status, Work, against_max, against_min
from straycell.cells import Chemistry
from straycell.keys import NEW
from straycell.quantities import Measured, volts
from straycell.readings import Charge, Quantity, Reading


def todo(case: Case) -> Work:
    """What answers a loss on the shelf."""
    return check_work(case, "charge it full, attended, then the self-discharge check again")


Use = Charge | Reading | Upset


@once_a_case
def _stretches(case: Case) -> list[tuple[Use | None, list[Reading]]]:
    """Each charge, discharge, let-down or dismantling with the rest voltages between it and the next, oldest first."""
    uses: list[Use] = [*case.charges, *case.of(Quantity.LET_DOWN), *case.of(Quantity.CAPACITY)]
    # In a build a cell works and nobody records it: before and after are two stretches, and in it there is none.
    uses += [upset for upset in case.evidence.upsets if upset.kind == DISMANTLED]
    # Of two at one moment nothing tells which was the last: the later in this list says less of where the cell was then.
    by_time = {use.at: use for use in uses}
    found: dict[datetime | None, list[Reading]] = {}
    for reading in (r for r in case.rest_voltages if not case.at_work(r)):
        found.setdefault(max((at for at in by_time if at <= reading.at), default=None), []).append(reading)
    return [(None if at is None else by_time[at], rests) for at, rests in found.items()]


def _settled(case: Case, use: Use | None, rests: Sequence[Reading]) -> tuple[Reading, ...]:
    """Those that rested as long as a self-discharge check asks for: relaxation is not a loss."""
    wait = timedelta(hours=case.figure("pair-rest"))
    return tuple(r for r in rests if use is None or r.at >= use.at + wait)


def spans(case: Case) -> list[tuple[Reading, ...]]:
    """Settled rest voltages between one charge, discharge, let-down or dismantling and the next, oldest first."""
    settled = (_settled(case, use, rests) for use, rests in _stretches(case))
    return [span for span in settled if span]


def loss_between(case: Case, first: Reading, second: Reading) -> Measured | None:
    """Loss in per cent in 30 days between two rest voltages of one span; None when they cannot be compared."""
    pair = _pair(case, first, second)
    return None if pair.fault or pair.days <= 0 else estimate(case, pair)


def _pair(case: Case, first: Reading, second: Reading) -> Pair:
    # A pair belongs to a charge; on the shelf none is known, so an empty one stands in.
    return make_pair(case, Charge(NEW, case.evidence.code, first.at, 0.0, 0.0), first, second)


@once_a_case
def sinkings(case: Case) -> tuple[Tried, ...]:
    """Each stretch on the shelf, outside a self-discharge check, against the discard limit."""
    if not known_chemistry(case):
        return ()
    limit = case.figure("self-discharge-discard")
    in_checks = {r.id for _, inside in windows(case) for r in inside}
    found = []
    for span in spans(case):
        if span[0].id in in_checks:
            # Else one leak would be judged twice, here by the weaker rule.
            continue  # the rule of self-discharge speaks for these
        # Not each two of them: a hold needs no proof of every stretch, and weekly readings make thousands of pairs.
        for first, second in segments(case, span):
            loss = loss_between(case, first, second)
            if loss is not None:
                why = partial(_sank, case, second, loss)
                found.append(Tried(SHELF_LOSS, against_max(loss, limit), (first, second), why))
    return tuple(found)


def _sank(case: Case, second: Reading, loss: Measured) -> Reason:
    seen = Seen(loss, case.figure("self-discharge-discard"), second)
    return _held(
        case,
        "self-discharge-discard",
        f"lost {loss.value:.1f} ± {loss.expanded:.1f} % a month on the shelf",
        seen,
    )


def _held(case: Case, limit_id: str, text: str, seen: Seen) -> Reason:
    return case.reason(
        limit_id,
        Status.CLOSE,  # not failed: the charge that the check starts with must stay allowed
        Outcome.HOLD,
        text,
        seen,
        rule=SHELF_LOSS,
        todo=todo(case),
        earliest=case.now,
    )


# --- what is surely gone, however it was measured ---------------------------------------------------


class Gone(NamedTuple):
    """Charge (points of 100) that is surely missing at `rest` since `records`, and how much may be."""

    points: float
    may: float
    records: tuple[Charge | Reading, ...]
    rest: Reading
    since: str


@once_a_case
def losses(case: Case) -> tuple[Tried, ...]:
    """Each rest voltage against where a charge or a let-down before it ended, and against those before it.

    No charge but a full one starts a check, and no pair without its temperatures, of two places or of few days counts in
    one; yet what is gone under every doubt is gone.
    """
    if not known_chemistry(case):
        return ()
    found = []
    # A loss that can be reported in % a month is: its figure says more.
    told = {tried.records[-1].key for tried in sinkings(case) if tried.side is Side.BEYOND}
    for use, rests in _stretches(case):
        partly = isinstance(use, Charge) and not (case.is_full(use) and voltage_tells(case))
        starts = [each for each in missing(case) if each.charge is use] if partly else []
        gone = [_since_charge(case, each) for each in starts]
        if isinstance(use, Reading) and use.quantity is Quantity.LET_DOWN:
            gone += [_since(case, use, rest, "it was let down") for rest in rests]
        # After a full charge the rule of self-discharge speaks for the pairs.
        if partly or not isinstance(use, Charge):
            # After a load a cell rises, so only after a charge the first day is relaxation and no loss.
            gone += _since_another(case, _settled(case, use, rests) if isinstance(use, Charge) else rests)
        for rest in rests:
            here = [
                each for each in gone if each.rest is rest and rest.key not in told and _tells(case, rest)
            ]
            if here:
                worst = max(here, key=lambda each: each.points - each.may)
                side = Side.BEYOND if worst.points > worst.may else Side.CLEAR
                found.append(Tried(SHELF_LOSS, side, worst.records, partial(_is_gone, case, worst)))
    return tuple(found)


def _tells(case: Case, rest: Reading) -> bool:
    """False on a flat curve, where a millivolt is several per cent of charge."""
    return case.measured(rest).high < case.figure("missing-below")


def _since_charge(case: Case, each: Missing) -> Gone:
    may = may_miss(case, "first-day", each.days)
    return Gone(each.points, may, each.records, each.rest, "its charge")


def _since(case: Case, first: Reading, rest: Reading, since: str) -> Gone:
    """Between two voltages at its own terminals, with all of both U and of what any room explains."""
    # A cell moves with the room, and its own curve may lie off the published ones at this end, too.
    drift_v = case.figure("cell-drift") * kelvin_between(case, first, rest)
    first_v = case.measured(first).low - drift_v - case.figure("curve-error")
    points = points_missing(case, first_v, rest)
    days = (rest.at - first.at).total_seconds() / 86400.0
    return Gone(points, may_miss(case, "first-day", days), (first, rest), rest, since)


def _since_another(case: Case, settled: Sequence[Reading]) -> Iterator[Gone]:
    """Each rest voltage since the first of its stretch, and since those of the month before it, where these are no pair."""
    # All pairs of weekly readings would be thousands, and tell no more.
    for number, rest in enumerate(settled):
        near = rest.at - timedelta(days=30.0)
        for first in settled[:number]:
            if (first is settled[0] or first.at >= near) and not _is_pair(case, first, rest):
                yield _since(case, first, rest, f"{first.value:g} V")


def _is_pair(case: Case, first: Reading, rest: Reading) -> bool:
    """True for two that `sinkings` holds against each other, by a sharper limit."""
    far_enough = rest.at - first.at >= timedelta(days=case.figure("pair-days", "light"))
    return far_enough and not _pair(case, first, rest).fault


def _is_gone(case: Case, gone: Gone) -> Reason:
    days = (gone.rest.at - gone.records[0].at).total_seconds() / 86400.0
    return _held(
        case,
        "first-day",
        f"{volts_of(case, gone.rest)} {days:.0f} days after {gone.since}: at least {gone.points:.0f} % of its charge is "
        "missing",
        Seen(gone.points, gone.may, gone.rest),
    )


def segments(case: Case, span: tuple[Reading, ...]) -> Iterator[tuple[Reading, Reading]]:
    """Each reading with the latest one before it that lies far enough back, newest first."""
    # Under a week the meter's step scales to several per cent a month.
    least = timedelta(days=case.figure("pair-days", "light"))
    for i in range(len(span) - 1, 0, -1):
        earlier = [r for r in span[:i] if span[i].at - r.at >= least]
        if earlier:
            yield earlier[-1], span[i]


# --- the latest rest voltage ------------------------------------------------------------------------

_FIRST_REST = "measure the rest voltage after 90 min or more without current"
# Nothing rests above its charge voltage: wrong meter, wrong chemistry, or a charger that overshoots.
_CHECK_FIRST = (
    "check the meter, the chemistry and the charger's end voltage, then measure the rest voltage again"
)
# `rest-voltage` is not a safety rule: a low one forbids no charge, so that this test charge stays allowed.
_CHARGE_AND_CHECK = "give it its test charge to full, attended, then the self-discharge check again"


def rest(case: Case) -> Iterator[Reason]:
    """The latest rest voltage: there, fresh, and not sinking below the shelf limit."""
    if case.facts.chemistry is Chemistry.PRIMARY:
        return
    limit = case.figure("rest-voltage")
    if not case.rest_voltages:
        text, ready = "no rest voltage yet", _rested(case)
        yield _unknown(case, text, rest_work(case, _FIRST_REST, ready), limit=limit, earliest=ready)
        return
    latest = case.rest_voltages[-1]
    days = case.figure("age-rest-voltage") + case.figure("age-rest-voltage-grace")
    until, value = latest.at + timedelta(days=days), case.measured(latest)
    if case.now >= until:
        text = f"rest voltage of {latest.at:%Y-%m-%d} is too old to count"
        again = rest_work(case, "measure the rest voltage again")
        yield _unknown(case, text, again, limit=limit, reading=latest)
    elif value.low > case.full_voltage_v:
        full = volts(case.full_voltage_v)
        text = f"contradictory: {volts_of(case, latest)} at rest, above the {full} that full means"
        check = rest_work(case, _CHECK_FIRST)
        yield _unknown(case, text, check, value=value, limit=case.full_voltage_v, reading=latest)
    elif against_min(value, limit) is not Side.CLEAR:
        yield case.reason(
            "rest-voltage",
            Status.CLOSE,  # not failed: the attended test charge that it asks for must stay allowed
            Outcome.HOLD,
            f"{volts_of(case, latest)} on the shelf: sinking",
            Seen(value, limit, latest, until=until),
            todo=check_work(case, _CHARGE_AND_CHECK),
            earliest=case.now,
        )
    elif (since := _low_since(case, latest, limit)) is not None:
        text = f"{volts_of(case, since)} since, not known to have rested: it may be sinking"
        again = rest_work(case, "let it rest 90 min or more and measure again")
        seen = case.measured(since)
        yield _unknown(case, text, again, value=seen, limit=limit, reading=since, until=until)
    else:
        yield case.reason(
            "rest-voltage",
            Status.MET,
            Outcome.PACK,
            volts_of(case, latest),
            Seen(value, limit, latest, until=until),
        )


def _unknown(
    case: Case,
    text: str,
    todo: Work,
    *,
    limit: float,
    value: Measured | None = None,
    reading: Reading | None = None,
    until: datetime | None = None,
    earliest: datetime | None = None,
) -> Reason:
    """No rest voltage that tells anything now: a hold until there is one."""
    return case.reason(
        "rest-voltage",
        Status.UNMEASURED,
        Outcome.HOLD,
        text,
        Seen(value, limit, reading, until=until),
        todo=todo,
        earliest=earliest or case.now,
    )


def _low_since(case: Case, rested: Reading, limit: float) -> Reading | None:
    """The latest voltage after the last rest voltage that was low, though nobody said how long it had rested."""
    # A low value after a load may only sag; until it has rested nobody can tell that from a leak.
    later = [
        r
        for r in case.own_voltages
        if r.quantity is Quantity.VOLTAGE
        and r not in case.rest_voltages
        and (r.at, r.id) > (rested.at, rested.id)
    ]
    low = bool(later) and against_min(case.measured(later[-1]), limit) is not Side.CLEAR
    return later[-1] if low else None


def _rested(case: Case) -> datetime:
    last = case.charges[-1].at if case.charges else None
    # Handbook: 90 min after charge or discharge before a voltage is called a rest voltage.
    wait = timedelta(hours=case.figure("rest-time"))
    return max(case.now, last + wait) if last is not None else case.now


def strange_fall(case: Case) -> Iterator[Reason]:
    """A fall too large for any temperature or place holds, though nobody can say how large it is.

    Left out, a temperature must not hide a leak that the figures show all the same.
    """
    if not known_chemistry(case):
        return
    limit = case.figure("self-discharge-discard")
    falls = (p for charge, inside in windows(case) for p in strange_falls(case, charge, inside))
    told = [(p, loss) for p in falls if (loss := estimate(case, p)) is not None]
    shown = [(p, loss) for p, loss in told if against_max(loss, limit) is Side.BEYOND]
    open_ones = [(p, loss) for p, loss in shown if not checked_after(case, p.second.at)]
    if open_ones:
        pair, loss = max(open_ones, key=lambda each: (each[0].second.at, each[1].value))
        yield case.reason(
            "self-discharge-discard",
            Status.CLOSE,
            Outcome.HOLD,
            f"fell from {pair.first.value:g} V to {pair.second.value:g} V in {pair.days:.0f} days, more than any room "
            f"explains ({pair.fault}): it may leak",
            Seen(loss, limit, pair.second),
            rule="self-discharge-fall",
            todo=rest_work(
                case, "measure the rest voltage again now, by the same meter, with its temperature"
            ),
            earliest=case.now,
        )
