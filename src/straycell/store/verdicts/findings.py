"""Findings as recorded: read for the judge, added at the end of a write, and void once what they rest on was a mistake."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Column, ColumnElement, Connection, Select, Table, bindparam, func, select

from straycell.acceptance.evidence import Fall, Finding, fact_key
from straycell.acceptance.findings import stands
from straycell.store.book.register import BORN, said
from straycell.store.book.stock.facts import FACTS
from straycell.store.column_values import from_json, from_us, to_json, to_us
from straycell.store.quick.prepared import Prepared
from straycell.store.schema.tables import BENCH, EVENT, FINDING, FINDING_FELL, READING, SUPERSESSION, WRITE
from straycell.store.session import Pen, among, grouped, insert_many


@dataclass(frozen=True, slots=True)
class Recorded:
    """What was ever found of one cell: the findings that no mistake has voided, and the falls of the others."""

    standing: tuple[Finding, ...]
    falls: tuple[Fall, ...]


def recorded(
    conn: Connection, codes: Collection[str] | None, bench: str | None = None
) -> dict[str, Recorded]:
    """The findings of these cells (None: of all) that have any.

    `bench` is that of a write not yet filed (None: this store's; a merge is of neither bench).
    """
    rows = _rows(conn, codes, bench)
    falls = _falls(conn, rows, bench) if rows else {}
    listed: dict[str, dict[str, Finding]] = {}
    fallen: dict[str, list[Fall]] = {}
    for row in rows:
        finding = _finding(row)
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


def _rows(conn: Connection, codes: Collection[str] | None, bench: str | None = None) -> list[Any]:
    """Every finding with the bench and the time of its write, the one that was recorded first first."""
    return list(_FINDINGS.rows(conn, codes, bench=bench))


def _written(table: Table, key: Column[str]) -> Select[Any]:
    """Rows with bench and time of their write. A write is filed last: until then its first event tells when it was."""
    # The write of this very transaction has no row yet, and still its time decides falls.
    events = select(EVENT.c.at_us).where(EVENT.c.write_id == table.c.write_id).order_by(EVENT.c.id).limit(1)
    own: ColumnElement[str] = func.coalesce(bindparam("bench", ""), select(BENCH.c.letter).scalar_subquery())
    by = func.coalesce(WRITE.c.bench, own)
    at_us = func.coalesce(WRITE.c.at_us, events.scalar_subquery())
    query = select(table, by.label("bench"), at_us.label("written_us"))
    return query.join(WRITE, WRITE.c.id == table.c.write_id, isouter=True).order_by(at_us, by, key)


_FINDINGS = Prepared(lambda: _written(FINDING, FINDING.c.digest), FINDING.c.code)
_FELL = Prepared(lambda: _written(FINDING_FELL, FINDING_FELL.c.key), FINDING_FELL.c.digest)


def _finding(row: Any) -> Finding:
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
        from_us(row.written_us),
    )


# --- falling ---------------------------------------------------------------------------------------


def _falls(conn: Connection, rows: Sequence[Any], bench: str | None) -> dict[str, Fall]:
    """The fall of each void finding, by digest: the first of them where two benches saw it."""
    fell = list(_FELL.rows(conn, {row.digest for row in rows}, bench=bench))
    if not fell:
        return {}
    items = _instead(conn, {row.key for row in fell})
    first: dict[str, Any] = {}
    for row in rows:
        first.setdefault(row.digest, row)
    found: dict[str, Fall] = {}
    for row in fell:
        finding = first[row.digest]
        cell, instead = items.get(row.key, (None, frozenset()))
        fall = Fall(
            finding.rule,
            from_us(row.written_us),
            from_us(finding.written_us),
            row.bench == finding.bench,
            instead,
            cell == finding.code,
        )
        # The first fall counts: from then on the cell had to be tested again.
        found.setdefault(row.digest, fall)
    return found


def _instead(conn: Connection, keys: Collection[str]) -> dict[str, tuple[str, frozenset[str]]]:
    """Of these keys that name a reading or charge: its cell, and what was put in its place for the same moment."""
    old = select(READING.c.key, READING.c.code, READING.c.at_us).where(among(READING.c.key, keys))
    of = {row.key: row for row in conn.execute(old)}
    query = select(READING.c.supersedes, READING.c.key, READING.c.at_us)
    rows = conn.execute(query.where(among(READING.c.supersedes, of)))
    # A slip of the finger is in a value; what is said of another day was not measured again at once.
    new = grouped((row.supersedes, row.key) for row in rows if row.at_us == of[row.supersedes].at_us)
    return {key: (row.code, frozenset(new.get(key, ()))) for key, row in of.items()}


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
    open_ = {row.digest: _finding(row) for row in rows if row.digest not in known}
    gone = withdrawn(pen.conn, {key for finding in open_.values() for key in finding.basis})
    # In a fixed order: two benches that see the same falls file the same rows.
    void = sorted((f for f in open_.values() if not stands(f, gone)), key=lambda f: (f.cell, f.digest))
    for finding in void:
        # One of several withdrawn keys, chosen alike on every bench.
        key = min(finding.basis & gone)
        pen.conn.execute(FINDING_FELL.insert().values(digest=finding.digest, key=key, write_id=pen.write_id))
        because = f"it rests on {key}, which was withdrawn as a mistake: {finding.words}"
        pen.event("finding-fell", [finding.cell], subject=finding.rule, because=because)
    return {finding.cell for finding in void}


# --- what was taken back ----------------------------------------------------------------------------

_FACT = "fact "


def withdrawn(conn: Connection, keys: Collection[str] | None) -> set[str]:
    """Which of these keys (None: of all) name a record that was superseded, or a fact that was mistyped."""
    query = select(SUPERSESSION.c.record).distinct()
    if keys is None:
        return {*conn.execute(query).scalars(), *_facts(conn, None)}
    records = set(conn.execute(query.where(among(SUPERSESSION.c.record, keys))).scalars())
    subjects = {key.removeprefix(_FACT).partition(".")[0] for key in keys if key.startswith(_FACT)}
    return records | (set(_facts(conn, subjects)).intersection(keys) if subjects else set())


def _facts(conn: Connection, codes: Collection[str] | None) -> Iterator[str]:
    for code, fields in said(conn, codes, FACTS).items():
        for name, found in fields.items():
            for entry in found.withdrawn:
                yield fact_key(code, name, "" if entry == BORN else entry)


# --- adding ----------------------------------------------------------------------------------------


def record(pen: Pen, found: Iterable[Finding]) -> None:
    """Add findings that no write has recorded, in an order that does not depend on who adds them."""
    new = {finding.digest: finding for finding in found}
    seen = select(FINDING.c.digest).where(among(FINDING.c.digest, new))
    # One that fell may be seen again where benches dispute a fact: it decides, and a second row would say no more.
    known = set(pen.conn.execute(seen).scalars()) if new else set()
    rows = (
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
            "at_us": to_us(finding.at),
            "write_id": pen.write_id,
        }
        for finding in sorted(new.values(), key=lambda f: (f.cell, f.digest))
        if finding.digest not in known
    )
    insert_many(pen.conn, FINDING, rows)
