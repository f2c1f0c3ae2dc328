"""Rules of the shelf: rest voltages that fall too fast between checks, outside a self-discharge check."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime, timedelta

from straycell.acceptance.case import Case, known_chemistry
from straycell.acceptance.checks.pairs import all_pairs, estimate, least_days, make_pair, windows
from straycell.acceptance.conformance import Side, against_max
from straycell.acceptance.evidence import DISMANTLED
from straycell.acceptance.reasons import Outcome, Reason, Status
from straycell.keys import NEW
from straycell.quantities import Measured
from straycell.readings import Charge, Quantity, Reading


def spans(case: Case) -> list[tuple[Reading, ...]]:
    """Rest voltages between one charge, discharge or dismantling and the next, oldest first.

    Only those that rested as long as a self-discharge check asks for: relaxation is no loss. A let-down parts
    them where it was on record before the later one.
    """
    wait = timedelta(hours=case.figure("pair-rest"))
    moments = [c.at for c in case.charges] + [r.at for r in case.of(Quantity.CAPACITY)]
    moments += [u.at for u in case.evidence.upsets if u.kind == DISMANTLED]
    lowered = case.of(Quantity.LET_DOWN)
    found: dict[datetime | None, list[Reading]] = {}
    for reading in case.rest_voltages:
        known = [r.at for r in lowered if case.number(r) < case.number(reading)]
        start = max((at for at in (*moments, *known) if at <= reading.at), default=None)
        if start is None or reading.at >= start + wait:
            found.setdefault(start, []).append(reading)
    first = datetime.min.replace(tzinfo=case.now.tzinfo)
    return [tuple(found[start]) for start in sorted(found, key=lambda at: at or first)]


def loss_between(case: Case, first: Reading, second: Reading) -> Measured | None:
    """Loss in per cent in 30 days between two rest voltages of one span; None when they cannot be compared."""
    start = Charge(NEW, case.evidence.code, first.at, 0.0, 0.0)
    pair = make_pair(case, start, first, second)
    return None if pair.fault or pair.days <= 0 else estimate(case, pair)


def shelf_loss(case: Case) -> Iterator[Reason]:
    """A cell that sinks on the shelf beyond the discard limit by U is held until a self-discharge check clears it.

    A hold and no discard: where the voltage curve is flat a loss is told less well than from full.
    """
    if not known_chemistry(case):
        return
    limit = case.figure("self-discharge-discard")
    in_checks = {r.id for _, inside in windows(case) for r in inside}
    for span in spans(case):
        if span[0].id in in_checks:
            continue  # the rule of self-discharge speaks for these
        for first, second in segments(case, span):
            loss = loss_between(case, first, second)
            if loss is None or against_max(loss, limit) is not Side.BEYOND:
                continue
            if _checked_after(case, second.at):
                continue
            yield case.reason(
                "self-discharge-discard",
                Status.CLOSE,  # not failed: the charge that the check starts with must stay allowed
                Outcome.HOLD,
                f"lost {loss.value:.1f} ± {loss.expanded:.1f} % a month on the shelf",
                rule="shelf-loss",
                value=loss,
                limit=limit,
                reading=second,
                todo="charge it full, attended, then the self-discharge check again",
                earliest=case.now,
            )
            return


def segments(case: Case, span: tuple[Reading, ...]) -> Iterator[tuple[Reading, Reading]]:
    """Each reading with the latest one before it that lies far enough back, newest first."""
    least = timedelta(days=case.figure("pair-days", "light"))
    for i in range(len(span) - 1, 0, -1):
        earlier = [r for r in span[:i] if span[i].at - r.at >= least]
        if earlier:
            yield earlier[-1], span[i]


def _checked_after(case: Case, at: datetime) -> bool:
    """True when a self-discharge check that could decide was begun after a time."""
    return any(
        p.first.at > at
        and not p.fault
        and p.days >= least_days(case, p, Outcome.LIGHT)
        and estimate(case, p) is not None
        for p in all_pairs(case)
    )
