"""The end of every write: what it showed is recorded for ever, verdicts are made again, and stages follow."""

from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from dataclasses import replace
from typing import Any

from sqlalchemy import Row

from straycell.acceptance import Evidence, Finding, Judgement, Verdict, judge
from straycell.cells import Stage
from straycell.store.book import derived
from straycell.store.book.measured import readings
from straycell.store.book.stock import cells
from straycell.store.book.use import builds
from straycell.store.column_values import from_us
from straycell.store.schema.tables import VERDICT
from straycell.store.session import Pen, parts
from straycell.store.verdicts import findings, siblings
from straycell.store.verdicts import recorded as verdicts
from straycell.store.verdicts.evidence import evidences
from straycell.store.verdicts.rejudge_parallel import WORTH_HELP, judged, why_condemned

_AT_ONCE = 1000
"""Cells judged at a time: the evidence of 25,000 at once took more than 100 MB."""


def settle(pen: Pen) -> None:
    """Record what was found of all touched cells and their siblings, and their verdicts; stages follow.

    Of siblings only verdicts that changed are recorded.
    """
    # Stages that follow may touch cells, and what was found is a sign for the pack: those are judged again.
    while pen.touched or pen.kin:
        touched, kin = sorted(pen.touched), pen.kin - pen.touched
        pen.touched.clear()
        pen.kin.clear()
        codes = [*touched, *sorted(kin)]
        # Before judging: a finding that just fell must not count, and its re-test must.
        void, fallen = findings.let_fall(pen, codes)
        found, whys = list[Finding](), dict[str, str]()
        for part in parts(codes, _AT_ONCE):
            made = _judged(pen, part, kin)
            found += (finding for each in made for finding in each.found)
            whys |= {each.verdict.code: why for each in made if (why := why_condemned(each.verdict))}
        # Once for all of them: the rows of a merge lie alike on every bench.
        findings.record(pen, found)
        derived.follow(pen.conn, cells=void)
        follow(pen, whys, fallen)
        pen.kin |= _kin_of_signs(pen, found, void)


def _judged(pen: Pen, codes: Sequence[str], kin: Collection[str]) -> list[Judgement]:
    """The judgement of each cell; verdicts are recorded, those of `kin` only where they changed."""
    evidence = evidences(pen.conn, codes, None if pen.merging is None else "")
    recorded = verdicts.newest(pen.conn, codes)
    before = _found_before(pen, evidence, recorded)
    made = []
    for code, each in evidence.items():
        earlier = before.get(code, ())
        known = replace(each, findings=each.findings + earlier) if earlier else each
        judgement = judge(known, pen.rules, pen.now, from_us(pen.event_us))
        made.append(replace(judgement, found=(*earlier, *judgement.found)) if earlier else judgement)
    # Or every reading would write a pack's worth of verdicts.
    fresh = (
        each.verdict
        for each in made
        if each.verdict.code not in kin
        or each.verdict.code not in recorded
        or not _same(recorded[each.verdict.code].body, each.verdict)
    )
    verdicts.record(pen.conn, fresh)
    return made


def _kin_of_signs(pen: Pen, found: Iterable[Finding], fallen: Collection[str] = ()) -> set[str]:
    """The siblings for whom these findings, or falls of these cells, are a sign."""
    cells_ = {f.cell for f in found if f.rule in siblings.signs()} | set(fallen)
    return siblings.siblings_of(pen.conn, cells_) if cells_ else set()


def _found_before(
    pen: Pen, evidence: Mapping[str, Evidence], recorded: Mapping[str, Row[Any]]
) -> dict[str, tuple[Finding, ...]]:
    """What was true of a cell before this write, where its last verdict was given under other rules.

    The version that judges now may see a danger that the last one did not, and this write may hide it.
    """
    changed = [c for c in evidence if c in recorded and recorded[c].rules_hash != pen.rules.hash]
    if not changed or pen.made is None or pen.merging is not None:
        return {}
    new = readings.recorded_since(pen.conn, changed, pen.made.before["event"])
    found = {}
    for code in changed:
        each = evidence[code]
        kept = replace(
            each,
            readings=tuple(r for r in each.readings if r.key not in new),
            charges=tuple(c for c in each.charges if c.key not in new),
        )
        found[code] = judge(kept, pen.rules, pen.now, from_us(pen.event_us)).found
    return found


def _same(body: str, verdict: Verdict) -> bool:
    """The same answer, but for the time it was given at and the earliest times counted from it."""
    return _timeless(verdicts.read_body(body)) == _timeless(verdict)


def _timeless(verdict: Verdict) -> tuple[object, ...]:
    reasons = tuple(replace(reason, earliest=None) for reason in verdict.reasons)
    missing = tuple(replace(each, earliest=None) for each in verdict.missing)
    return verdict.outcome, verdict.rules_hash, verdict.valid_until, verdict.last_reading, reasons, missing


def follow(pen: Pen, whys: Mapping[str, str], fallen: Collection[str]) -> None:
    """A finding or a person's discard condemns (`whys`, by code); a cell whose last finding fell is received again."""
    builds.condemn_all(pen, whys)
    # A cell whose last finding fell comes back as received: it is tested again before use.
    for code in sorted(set(fallen) - whys.keys()):
        event_id = pen.event("cleared", [code], because="what condemned it was taken back as a mistake")
        derived.say(pen, event_id, {code: {"stage": Stage.RECEIVED.value}})


def refresh(pen: Pen, progress: Callable[[int, int], None] | None = None, helpers: int = 1) -> int:
    """Record again every verdict that no longer holds; returns how many.

    `progress` hears (done, of how many); `helpers` is how many processes may judge when there are very many.
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
    # In chunks: the evidence of 100,000 cells at once would not fit a small machine.
    chunks = (list(evidences(pen.conn, part).values()) for part in parts(stale, _AT_ONCE))
    done = 0
    for rows, whys, found in judged(chunks, pen.rules, pen.now, helpers if len(stale) >= WORTH_HELP else 1):
        pen.conn.execute(VERDICT.insert(), rows)
        findings.record(pen, found)
        pen.kin |= _kin_of_signs(pen, found)
        builds.condemn_all(pen, whys)
        done += len(rows)
        if progress is not None:
            progress(done, len(stale))
    settle(pen)
    return len(stale)
