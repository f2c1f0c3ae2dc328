"""Rules of look: the cell's own, and its siblings' of the same pack."""

from __future__ import annotations

from collections.abc import Iterator

from straycell.acceptance.case import Case
from straycell.acceptance.checks.pairs import checks_done
from straycell.acceptance.reasons import Outcome, Reason, Status
from straycell.readings import Quantity


def look(case: Case) -> Iterator[Reason]:
    """Damage discards at any time; an end that can short holds until a later look is without it."""
    looks = case.of(Quantity.LOOK)
    if not looks:
        yield case.reason(
            "look-damage",
            Status.UNMEASURED,
            Outcome.HOLD,
            "nobody has looked it over",
            rule="look",
            todo="look at it: reading add CODE --look clean (or what you see)",
            earliest=case.now,
        )
        return
    bad = False
    for limit_id in ("look-damage", "look-deformed"):
        words = case.rules.limit(limit_id).words
        hit = next((r for r in looks if any(str(w) in words for w in r.look)), None)
        if hit is not None:
            bad = True
            seen = ", ".join(str(w) for w in hit.look if str(w) in words)
            yield case.reason(
                limit_id, Status.FAILED, Outcome.DISCARD, f"seen: {seen}", observed=seen, reading=hit
            )
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
            todo="mend it (new sleeve, insulated tab), then record a new look",
            earliest=case.now,
        )
    elif not bad:
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
        yield case.reason(
            "sibling-look",
            Status.UNMEASURED,
            Outcome.HOLD,
            f"{sign}; {' and '.join(lacking)} still to do",
            observed=str(latest.look),
            at=latest.at,
            todo=f"record {' and '.join(lacking)}",
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
