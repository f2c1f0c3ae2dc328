"""After a finding fell with a mistake: the cell is tested again before it is used."""

from collections.abc import Iterator
from datetime import timedelta

from straycell.acceptance.case import Case, Seen, Tried
from straycell.acceptance.checks.identity import tested_by, tested_since
from straycell.acceptance.checks.pairs import checked_after
from straycell.acceptance.evidence import BestSibling, Fall
from straycell.acceptance.findings import CONDEMNING
from straycell.acceptance.reasons import Outcome, Reason, Side, Status, together

FALL_FIRST = "finding-fell-first"
"""The rule's name while the cell is not measured again: before that it has no charge."""


def tested_again(case: Case) -> Iterator[Reason]:
    """Look, rest voltage, resistance and a self-discharge check, all taken after the latest fall."""
    falls = [fall for fall in case.evidence.falls if not _put_right_at_once(case, fall)]
    if not falls:
        return
    # What was mistaken once may be mistaken about the cell in hand (`finding-fell`): it is met as an unknown
    # one.
    fall = max(falls, key=lambda f: (f.at, f.rule))
    # Until look, voltage and resistance are there, a charge could be the one that the wrong reading warned
    # of.
    measured = tested_since(case, fall.at)
    done = {**measured, "self-discharge check": checked_after(case, fall.at)}
    lacking = [name for name, there in done.items() if not there]
    what = f"the finding '{fall.rule}' fell on {fall.at:%Y-%m-%d} with a mistake"
    yield case.reason(
        "finding-fell",
        Status.UNMEASURED if lacking else Status.MET,
        Outcome.HOLD if lacking else Outcome.PACK,
        f"{what}; still to do: {', '.join(lacking)}" if lacking else f"{what}; tested again since",
        Seen(fall.rule, at=fall.at),
        rule=None if all(measured.values()) else FALL_FIRST,
        todo=together(f"record {', '.join(lacking)} again", tested_by(case, lacking)),
        earliest=case.now if lacking else None,
    )


def _put_right_at_once(case: Case, fall: Fall) -> bool:
    """Undone by the same bench within the hour, and measured again clear of the limit by U."""
    # Within the hour the cell is still in the hand that measured it (`undone-within`).
    within = timedelta(hours=case.figure("undone-within"))
    # Another bench does not hold the cell: it cannot have measured it again.
    if not fall.same_bench or fall.at - fall.found_at > within:
        return False
    answers = [tried for test in CONDEMNING for tried in test(case) if tried.rule == fall.rule]
    if any(tried.side is not Side.CLEAR for tried in answers):
        return False
    return not fall.measurable or any(_new(tried, fall, within) for tried in answers)


def _new(tried: Tried, fall: Fall, within: timedelta) -> bool:
    """True for an answer that rests on what was put in the mistake's place, or was taken just after it."""
    return any(
        record.key in fall.instead or fall.found_at <= record.at <= fall.found_at + within
        for record in tried.records
        if not isinstance(record, BestSibling)
    )
