"""Rules of the shelf: the latest rest voltage, and rest voltages that fall too fast outside a self-discharge check.

A hold and not a discard: where the voltage curve is flat a loss is reported less well than from full. It is a finding
all the same, which only a self-discharge check begun afterwards answers.
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime, timedelta
from functools import partial

from straycell.acceptance.case import MOVES_CHARGE, Case, Seen, Tried, known_chemistry, once_a_case
from straycell.acceptance.checks.pairs import checked_after, estimate, make_pair, strange_falls, windows
from straycell.acceptance.checks.steps import check_work, rest_work
from straycell.acceptance.checks.voltage import volts_of
from straycell.acceptance.evidence import DISMANTLED, SHELF_LOSS
from straycell.acceptance.reasons import Outcome, Reason, Side, Status, Work, against_max, against_min
from straycell.cells import Chemistry
from straycell.keys import NEW
from straycell.quantities import Dimension, Measured, show
from straycell.readings import Charge, Quantity, Reading


def todo(case: Case) -> Work:
    """What answers a loss on the shelf."""
    return check_work(case, "charge it full, attended, then the self-discharge check again")


def spans(case: Case) -> list[tuple[Reading, ...]]:
    """Rest voltages between one charge, discharge, let-down or dismantling and the next, oldest first.

    Only those that rested as long as a self-discharge check asks for: relaxation is not a loss.
    """
    wait = timedelta(hours=case.figure("pair-rest"))
    moments = [c.at for c in case.charges] + [r.at for r in case.of(*MOVES_CHARGE)]
    # In a build a cell works and nobody records it: before and after are two stretches.
    moments += [u.at for u in case.evidence.upsets if u.kind == DISMANTLED]
    found: dict[datetime | None, list[Reading]] = {}
    for reading in case.rest_voltages:
        start = max((at for at in moments if at <= reading.at), default=None)
        if start is None or reading.at >= start + wait:
            found.setdefault(start, []).append(reading)
    first = datetime.min.replace(tzinfo=case.now.tzinfo)
    return [tuple(found[start]) for start in sorted(found, key=lambda at: at or first)]


def loss_between(case: Case, first: Reading, second: Reading) -> Measured | None:
    """Loss in per cent in 30 days between two rest voltages of one span; None when they cannot be compared."""
    # A pair belongs to a charge; on the shelf none is known, so an empty one stands in.
    start = Charge(NEW, case.evidence.code, first.at, 0.0, 0.0)
    pair = make_pair(case, start, first, second)
    return None if pair.fault or pair.days <= 0 else estimate(case, pair)


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
    return case.reason(
        "self-discharge-discard",
        Status.CLOSE,  # not failed: the charge that the check starts with must stay allowed
        Outcome.HOLD,
        f"lost {loss.value:.1f} ± {loss.expanded:.1f} % a month on the shelf",
        Seen(loss, case.figure("self-discharge-discard"), second),
        rule=SHELF_LOSS,
        todo=todo(case),
        earliest=case.now,
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
        full = show(case.full_voltage_v, Dimension.VOLTAGE)
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
