"""Rules of look: the cell's own, and its siblings' of the same pack."""

from __future__ import annotations

from collections.abc import Iterator
from functools import partial

from straycell.acceptance.case import Case, Tried, once_a_case
from straycell.acceptance.checks.pairs import checks_done
from straycell.acceptance.checks.steps import check_step
from straycell.acceptance.conformance import Side
from straycell.acceptance.reasons import Outcome, Reason, Status
from straycell.acceptance.work import Work, WorkKind, together
from straycell.readings import Quantity, Reading


@once_a_case
def damage(case: Case) -> tuple[Tried, ...]:
    """Each look against the words of damage and of deformation."""
    found = []
    for limit_id in ("look-damage", "look-deformed"):
        words = case.rules.limit(limit_id).words
        for reading in case.of(Quantity.LOOK):
            seen = ", ".join(str(w) for w in reading.look if str(w) in words)
            side = Side.BEYOND if seen else Side.CLEAR
            found.append(Tried(limit_id, side, (reading,), partial(_seen, case, limit_id, reading, seen)))
    return tuple(found)


def _seen(case: Case, limit_id: str, reading: Reading, seen: str) -> Reason:
    return case.reason(
        limit_id, Status.FAILED, Outcome.DISCARD, f"seen: {seen}", observed=seen, reading=reading
    )


def look(case: Case) -> Iterator[Reason]:
    """An end that can short holds until a later look is without it."""
    looks = case.of(Quantity.LOOK)
    if not looks:
        yield case.reason(
            "look-damage",
            Status.UNMEASURED,
            Outcome.HOLD,
            "nobody has looked it over",
            rule="look",
            todo=Work(WorkKind.LOOK, "look at it and record what you see"),
            earliest=case.now,
        )
        return
    latest = looks[-1]
    ends = [str(w) for w in latest.look if str(w) in case.rules.limit("look-mend").words]
    if ends:
        yield case.reason(
            "look-mend",
            Status.FAILED,
            Outcome.HOLD,
            f"{', '.join(ends)}: an end that can short",
            observed=", ".join(ends),
            reading=latest,
            todo=Work(WorkKind.LOOK, "mend it (new sleeve, insulated tab), then look at it again"),
            earliest=case.now,
        )
    elif all(t.side is Side.CLEAR for t in damage(case)):
        seen = ", ".join(str(w) for w in latest.look)
        yield case.reason(
            "look-damage",
            Status.MET,
            Outcome.PACK,
            f"look: {seen}",
            rule="look",
            observed=seen,
            reading=latest,
        )


def siblings(case: Case) -> Iterator[Reason]:
    """A sibling that leaked, swelled or burnt asks for one more look and a second self-discharge check."""
    words = case.rules.limit("sibling-look").words
    signs = [s for s in case.evidence.sibling_signs if str(s.look) in words]
    if not signs:
        return
    latest = max(signs, key=lambda s: (s.at, s.code))
    looked = any(r.at > latest.at for r in case.of(Quantity.LOOK))
    checks = checks_done(case)
    checked = len(checks) >= 2 and checks[-1] > latest.at
    lacking = [] if looked else ["one more look"]
    lacking += [] if checked else [f"a second self-discharge check ({len(checks)} of 2 done)"]
    sign = f"{latest.code} of the same pack: {latest.look}"
    if lacking:
        kinds = [] if looked else [WorkKind.LOOK]
        kind, at = check_step(case)
        kinds += [] if checked else [kind]
        yield case.reason(
            "sibling-look",
            Status.UNMEASURED,
            Outcome.HOLD,
            f"{sign}; {' and '.join(lacking)} still to do",
            observed=str(latest.look),
            at=latest.at,
            todo=together(f"record {' and '.join(lacking)}", kinds, not_before=None if not looked else at),
            earliest=case.now,
        )
    else:
        yield case.reason(
            "sibling-look",
            Status.MET,
            Outcome.PACK,
            f"{sign}; looked at and checked again",
            observed=str(latest.look),
            at=latest.at,
        )
