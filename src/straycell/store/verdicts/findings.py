"""Findings as recorded: read for the judge, added at the end of a write, and void once what they rest on was a mistake."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import Connection, Row, select

from straycell.acceptance.evidence import Fall, Finding
from straycell.acceptance.findings import stands
from straycell.store.book.withdrawn import withdrawn
from straycell.store.column_values import from_json, from_us, to_json, to_us
from straycell.store.schema.tables import BENCH, FINDING, FINDING_FELL, READING, WRITE
from straycell.store.session import Pen, among


@dataclass(frozen=True, slots=True)
class Recorded:
    """What was ever found of one cell: the findings that no mistake has voided, and the falls of the others."""

    standing: tuple[Finding, ...]
    falls: tuple[Fall, ...]


@dataclass(frozen=True, slots=True)
class Unfiled:
    """The write that is being made: its row comes last, so what it adds is not tied to its time and bench yet."""

    at: datetime
    bench: str

    @classmethod
    def of(cls, pen: Pen) -> Unfiled:
        """A merge is the write of neither bench."""
        letter = "" if pen.merging is not None else pen.conn.execute(select(BENCH.c.letter)).scalar_one()
        return cls(from_us(pen.event_us), letter)


def recorded(
    conn: Connection, codes: Collection[str] | None, unfiled: Unfiled | None = None
) -> dict[str, Recorded]:
    """The findings of these cells (None: of all) that have any; `unfiled` while a write is being made."""
    rows = _rows(conn, codes)
    falls = _falls(conn, rows, unfiled) if rows else {}
    listed: dict[str, dict[str, Finding]] = {}
    fallen: dict[str, list[Fall]] = {}
    for row in rows:
        finding = _finding(row, unfiled)
        known = listed.setdefault(row.code, {})
        if row.digest in falls and row.digest not in known:
            fallen.setdefault(row.code, []).append(falls[row.digest])
        known.setdefault(row.digest, finding)
    return {
        code: Recorded(
            tuple(f for digest, f in known.items() if digest not in falls), tuple(fallen.get(code, ()))
        )
        for code, known in listed.items()
    }


def _rows(conn: Connection, codes: Collection[str] | None) -> Sequence[Row[Any]]:
    """Every finding with its write, the one that was recorded first first; a write not yet filed has no time."""
    query = (
        select(FINDING, WRITE.c.bench, WRITE.c.at_us.label("recorded_us"))
        .join(WRITE, WRITE.c.id == FINDING.c.write_id, isouter=True)
        .order_by(WRITE.c.at_us.is_(None), WRITE.c.at_us, WRITE.c.bench, FINDING.c.digest)
    )
    if codes is not None:
        query = query.where(among(FINDING.c.code, codes))
    return conn.execute(query).all()


def _filed(bench: str | None, at_us: int | None, unfiled: Unfiled | None) -> tuple[str, datetime]:
    """(bench, time) of the write of a row."""
    if bench is not None and at_us is not None:
        return bench, from_us(at_us)
    assert unfiled is not None
    return unfiled.bench, unfiled.at


def _finding(row: Row[Any], unfiled: Unfiled | None) -> Finding:
    return Finding(
        row.code,
        row.rule,
        row.words,
        from_json(row.observed),
        row.expanded_uncertainty,
        from_json(row.bound),
        row.unit,
        row.source,
        row.safety,
        frozenset(from_json(row.basis)),
        from_us(row.at_us),
        _filed(row.bench, row.recorded_us, unfiled)[1],
    )


# --- falling ---------------------------------------------------------------------------------------


def _falls(conn: Connection, rows: Sequence[Row[Any]], unfiled: Unfiled | None) -> dict[str, Fall]:
    """The fall of each void finding, by digest: the first of them where two benches saw it."""
    query = (
        select(FINDING_FELL, WRITE.c.bench, WRITE.c.at_us)
        .join(WRITE, WRITE.c.id == FINDING_FELL.c.write_id, isouter=True)
        .where(among(FINDING_FELL.c.digest, {row.digest for row in rows}))
        .order_by(WRITE.c.at_us.is_(None), WRITE.c.at_us, WRITE.c.bench, FINDING_FELL.c.key)
    )
    fell = conn.execute(query).all()
    if not fell:
        return {}
    items = _instead(conn, {row.key for row in fell})
    first: dict[str, Row[Any]] = {}
    for row in rows:
        first.setdefault(row.digest, row)
    found: dict[str, Fall] = {}
    for row in fell:
        finding = first[row.digest]
        own, instead = items.get(row.key, (None, frozenset()))
        (bench, at), (found_by, found_at) = (
            _filed(row.bench, row.at_us, unfiled),
            _filed(finding.bench, finding.recorded_us, unfiled),
        )
        fall = Fall(finding.rule, at, found_at, bench == found_by, instead, own == finding.code)
        found.setdefault(row.digest, fall)
    return found


def _instead(conn: Connection, keys: Collection[str]) -> dict[str, tuple[str, frozenset[str]]]:
    """Of these keys that name a reading or charge: its cell, and what was put in its place."""
    of = {
        row.key: row.code
        for row in conn.execute(select(READING.c.key, READING.c.code).where(among(READING.c.key, keys)))
    }
    new: dict[str, set[str]] = {}
    query = select(READING.c.key, READING.c.supersedes).where(among(READING.c.supersedes, of))
    for key, old in conn.execute(query):
        new.setdefault(old, set()).add(key)
    return {key: (code, frozenset(new.get(key, ()))) for key, code in of.items()}


def let_fall(pen: Pen, codes: Collection[str]) -> set[str]:
    """Record the fall of each finding of these cells of which a record was withdrawn; returns the cells."""
    rows = _rows(pen.conn, codes)
    if not rows:
        return set()
    known = set(
        pen.conn.execute(
            select(FINDING_FELL.c.digest).where(among(FINDING_FELL.c.digest, {row.digest for row in rows}))
        ).scalars()
    )
    open_ = {row.digest: _finding(row, Unfiled.of(pen)) for row in rows if row.digest not in known}
    gone = withdrawn(pen.conn, {key for finding in open_.values() for key in finding.basis})
    void = sorted((f for f in open_.values() if not stands(f, gone)), key=lambda f: (f.cell, f.digest))
    for finding in void:
        key = min(finding.basis & gone)
        pen.conn.execute(FINDING_FELL.insert().values(digest=finding.digest, key=key, write_id=pen.write_id))
        because = f"it rests on {key}, which was withdrawn as a mistake: {finding.words}"
        pen.event("finding-fell", [finding.cell], subject=finding.rule, because=because)
    return {finding.cell for finding in void}


# --- adding ----------------------------------------------------------------------------------------


def record(pen: Pen, found: Iterable[Finding]) -> None:
    """Add findings to the book, in an order that does not depend on who adds them."""
    rows = [
        {
            "digest": finding.digest,
            "code": finding.cell,
            "rule": finding.rule,
            "basis": to_json(sorted(finding.basis)),
            "words": finding.words,
            "observed": to_json(finding.value),
            "expanded_uncertainty": finding.expanded_uncertainty,
            "bound": to_json(finding.limit),
            "unit": finding.unit,
            "source": finding.source,
            "safety": finding.safety,
            "at_us": pen.event_us if finding.at is None else to_us(finding.at),
            "write_id": pen.write_id,
        }
        for finding in sorted(found, key=lambda f: (f.cell, f.digest))
    ]
    if rows:
        pen.conn.execute(FINDING.insert(), rows)
