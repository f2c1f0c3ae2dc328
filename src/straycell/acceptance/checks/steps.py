"""What comes next of a self-discharge check or a capacity run: they take several steps on several days."""

from datetime import datetime, timedelta

from straycell.acceptance.case import Case
from straycell.acceptance.reasons import Work, WorkKind
from straycell.cells import Chemistry
from straycell.readings import Charge

SOON = timedelta(days=3)
"""A run later than this after its charge has lost a share to self-discharge: a lower bound."""


def open_charge(case: Case) -> Charge | None:
    """The latest full charge that nothing has disturbed since."""
    return next(
        (c for c in reversed(case.charges) if case.is_full(c) and not case.disturbed(c.at, case.now)), None
    )


def check_step(case: Case, later: datetime | None = None) -> tuple[WorkKind, datetime | None]:
    """(what the next step of a self-discharge check is, when it can begin; `later` where readings are there).

    A full charge, a first rest voltage a day later, a second one days after it; on lfp's flat curve a capacity run.
    """
    charge = open_charge(case)
    if charge is None:
        return WorkKind.CHARGE, None
    rested = charge.at + timedelta(hours=case.figure("pair-rest"))
    inside = [r for r in case.rest_voltages if r.at >= rested]
    if not inside:
        return WorkKind.REST, rested
    # lfp's plateau is flat within millivolts, so a second rest voltage there decides nothing: the run does
    # (IEC 61960).
    flat = case.facts.chemistry is Chemistry.LFP and len(inside) > 1
    return WorkKind.CAPACITY if flat else WorkKind.REST, later


def check_work(case: Case, words: str, later: datetime | None = None) -> Work:
    """The next step of a self-discharge check as work."""
    kind, at = check_step(case, later)
    return Work(kind, words, at)


def run_work(case: Case, words: str, options: str = "") -> Work:
    """A capacity run from full: the charge first where none has just ended."""
    charge = open_charge(case)
    # Within three days a full cell has lost too little to matter: no second charge, which would cost a cycle.
    if charge is not None and case.now - charge.at <= SOON:
        return Work(WorkKind.CAPACITY, words, options=options)
    return Work(WorkKind.CHARGE, words, also=(WorkKind.CAPACITY,))


def rest_work(case: Case, words: str, not_before: datetime | None = None) -> Work:
    """A rest voltage. Right after a full charge it waits for the hour at which it can begin a check."""
    kind, at = check_step(case)
    at = at if kind is WorkKind.REST and at is not None else not_before
    return Work(WorkKind.REST, words, at if at is not None and at > case.now else None)
