"""The end of every write: touched cells get their verdict anew, and their stage follows it where it must."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from straycell.acceptance.reasons import Outcome, Verdict
from straycell.cells import Stage
from straycell.store.book import builds, cells, readings
from straycell.store.book.derived import say
from straycell.store.schema.tables import VERDICT
from straycell.store.session import Pen
from straycell.store.verdicts import recorded as verdicts
from straycell.store.verdicts.evidence import evidences
from straycell.store.verdicts.rejudge_parallel import WORTH_HELP, judged, why_discarded


def settle(pen: Pen) -> dict[str, Verdict]:
    """Record the verdicts of all touched cells, of siblings only where theirs changed; move stages."""
    touched, kin = sorted(pen.touched), pen.kin - pen.touched
    clearing = set(pen.clearing)
    pen.touched.clear()
    pen.kin.clear()
    pen.clearing.clear()
    found = evidences(pen.conn, [*touched, *kin]) if touched or kin else {}
    made = {code: verdicts.judge(evidence, pen.rules, pen.now) for code, evidence in found.items()}
    recorded = verdicts.newest(pen.conn, sorted(kin)) if kin else {}
    fresh = {
        code: verdict
        for code, verdict in made.items()
        if code not in kin or code not in recorded or not _same(recorded[code].body, verdict)
    }
    verdicts.record(pen.conn, fresh.values())
    follow(pen, fresh, clearing)
    return fresh


def _same(body: str, verdict: Verdict) -> bool:
    """The same answer, but for the time it was given at and the earliest times counted from it."""
    return _timeless(verdicts.read_body(body)) == _timeless(verdict)


def _timeless(verdict: Verdict) -> tuple[object, ...]:
    reasons = tuple(replace(reason, earliest=None) for reason in verdict.reasons)
    missing = tuple(replace(each, earliest=None) for each in verdict.missing)
    return verdict.outcome, verdict.rules_hash, verdict.valid_until, verdict.last_reading, reasons, missing


def follow(pen: Pen, made: dict[str, Verdict], clearing: set[str]) -> None:
    """An outcome `discard` condemns; a condemned cell comes back only when what condemned it was taken back."""
    builds.condemn_all(pen, {code: why for code, verdict in made.items() if (why := why_discarded(verdict))})
    fit = [code for code in sorted(clearing & made.keys()) if made[code].outcome is not Outcome.DISCARD]
    elsewhere = verdicts.condemned_by_other_rules(pen.conn, fit, pen.rules.name)
    for code, stage in cells.stages(pen.conn, fit).items():
        if stage is Stage.CONDEMNED and code not in elsewhere:
            event_id = pen.event("cleared", [code], because="what condemned it was taken back as a mistake")
            say(pen, event_id, {code: {"stage": Stage.RECEIVED.value}})


_AT_ONCE = 1000


def refresh(pen: Pen, told: Callable[[int, int], None] | None = None, helpers: int = 1) -> int:
    """Record anew every verdict that no longer holds; returns how many.

    `told` hears (done, of how many); `helpers` is how many processes may judge when there are very many.
    """
    settle(pen)
    recorded = verdicts.newest(pen.conn, None, bodies=False)
    last = readings.last_numbers(pen.conn, None)
    stale = [
        code
        for code in cells.codes(pen.conn)
        if code not in recorded
        or not verdicts.holds(recorded[code], pen.rules, pen.now_us, last.get(code, ""))
    ]
    if not stale:
        return 0
    pen.event("verdicts-refreshed", subject=pen.rules.name, detail={"count": len(stale)})
    starts = range(0, len(stale), _AT_ONCE)
    chunks = (list(evidences(pen.conn, stale[at : at + _AT_ONCE]).values()) for at in starts)
    done = 0
    for rows, whys in judged(chunks, pen.rules, pen.now, helpers if len(stale) >= WORTH_HELP else 1):
        pen.conn.execute(VERDICT.insert(), rows)
        builds.condemn_all(pen, whys)
        done += len(rows)
        if told is not None:
            told(done, len(stale))
    return len(stale)
