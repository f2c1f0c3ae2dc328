"""Rules of the shelf: rest voltages that fall too fast between checks, outside a self-discharge check.

A hold and not a discard: where the voltage curve is flat a loss is reported less well than from full. It is a finding
all the same, which only a self-discharge check begun afterwards answers.
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime, timedelta
from functools import partial

from straycell.acceptance.case import MOVES_CHARGE, Case, Tried, known_chemistry, once_a_case
from straycell.acceptance.checks.pairs import estimate, make_pair, windows
from straycell.acceptance.checks.steps import check_work
from straycell.acceptance.conformance import against_max
from straycell.acceptance.evidence import DISMANTLED, SHELF_LOSS
from straycell.acceptance.reasons import Outcome, Reason, Status
from straycell.acceptance.work import Work
from straycell.keys import NEW
from straycell.quantities import Measured
from straycell.readings import Charge, Reading


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
        for first, second in segments(case, span):
            loss = loss_between(case, first, second)
            if loss is not None:
                board = case.reference_records if case.facts.protection_board else ()
                why = partial(_sank, case, second, loss)
                records = tuple(dict.fromkeys((first, second, *board)))
                found.append(Tried(SHELF_LOSS, against_max(loss, limit), records, why))
    return tuple(found)


def _sank(case: Case, second: Reading, loss: Measured) -> Reason:
    return case.reason(
        "self-discharge-discard",
        Status.CLOSE,  # not failed: the charge that the check starts with must stay allowed
        Outcome.HOLD,
        f"lost {loss.value:.1f} ± {loss.expanded:.1f} % a month on the shelf",
        rule=SHELF_LOSS,
        value=loss,
        limit=case.figure("self-discharge-discard"),
        reading=second,
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
