"""Findings as recorded: read for the judge, added at the end of a write, and void once what they rest on was a mistake."""

from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Column, ColumnElement, Connection, Select, Table, bindparam, func, select

from straycell.acceptance.evidence import Fall, Finding, fact_key
from straycell.acceptance.findings import stands
from straycell.store.book.events import RESTORED, SALVAGED
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
    listed: dict[str, dict[str, list[Any]]] = {}
    for row in _rows(conn, codes, bench):
        listed.setdefault(row.code, {}).setdefault(row.digest, []).append(row)
    fell = _fell(conn, [digest for known in listed.values() for digest in known], bench)
    falls = _falls(
        conn, {d: rows for known in listed.values() for d, rows in known.items() if d in fell}, fell, bench
    )
    return {
        code: Recorded(
            tuple(_finding(rows[0]) for digest, rows in known.items() if digest not in fell),
            tuple(falls[digest] for digest in known if digest in falls),
        )
        for code, known in listed.items()
    }


def _rows(conn: Connection, codes: Collection[str] | None, bench: str | None = None) -> list[Any]:
    """Every finding with the bench and the time of its write, the one that was recorded first first."""
    return list(_FINDINGS.rows(conn, codes, bench=bench))


def _by() -> ColumnElement[str]:
    """The bench of a write; of one not yet filed, the one that is given, or else this store's."""
    own: ColumnElement[str] = func.coalesce(bindparam("bench", ""), select(BENCH.c.letter).scalar_subquery())
    return func.coalesce(WRITE.c.bench, own)


def _written(table: Table, key: Column[str]) -> Select[Any]:
    """Rows with bench, time and verb of their write, the one that was recorded first first."""
    by, at_us = _by(), _of_write(table, WRITE.c.at_us, EVENT.c.at_us)
    verb = _of_write(table, WRITE.c.verb, EVENT.c.verb)
    query = select(table, by.label("bench"), at_us.label("written_us"), verb.label("verb"))
    return query.join(WRITE, WRITE.c.id == table.c.write_id, isouter=True).order_by(at_us, by, key)


def _of_write(table: Table, filed: Column[Any], begun: Column[Any]) -> ColumnElement[Any]:
    """What a write bears; of this very transaction, which is filed last, what its first event bears."""
    first = select(begun).where(EVENT.c.write_id == table.c.write_id).order_by(EVENT.c.id).limit(1)
    return func.coalesce(filed, first.scalar_subquery())


def _taken_back() -> Select[Any]:
    """The records that were superseded, with time and bench, the first time first."""
    query = select(SUPERSESSION.c.record, EVENT.c.at_us, _by().label("bench"))
    query = query.join(EVENT, EVENT.c.id == SUPERSESSION.c.event_id)
    return query.join(WRITE, WRITE.c.id == EVENT.c.write_id, isouter=True).order_by(EVENT.c.at_us, _by())


_FINDINGS = Prepared(lambda: _written(FINDING, FINDING.c.digest), FINDING.c.code)
_FELL = Prepared(lambda: _written(FINDING_FELL, FINDING_FELL.c.key), FINDING_FELL.c.digest)
_SUPERSEDED = Prepared(_taken_back, SUPERSESSION.c.record)


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


def _fell(conn: Connection, digests: Collection[str], bench: str | None) -> dict[str, list[Any]]:
    """The rows that say of these findings that they are void, by digest, the first one first."""
    return grouped((row.digest, row) for row in _FELL.rows(conn, digests, bench=bench)) if digests else {}


def _falls(
    conn: Connection,
    listed: Mapping[str, Sequence[Any]],
    fell: Mapping[str, Sequence[Any]],
    bench: str | None,
) -> dict[str, Fall]:
    """The falls that ask for new tests, by digest, from the rows of each void finding.

    Its time is that of the first mistake, not of the merge that first saw both: that differs with the order of merges.
    """
    if not listed:
        return {}
    bases = {digest: frozenset(from_json(rows[0].basis)) for digest, rows in listed.items()}
    gone = withdrawn(conn, frozenset[str]().union(*bases.values()), bench)
    items = _instead(conn, gone)
    found: dict[str, Fall] = {}
    for digest, rows in listed.items():
        own = [row for row in rows if row.bench]
        # Found by a merge and void by another: had the mistake been merged first, nothing would have been found.
        if not own and not any(row.bench for row in fell[digest]):
            continue
        # After a restore the record itself may be missing: then the fall says when.
        known = [(gone[key], key) for key in bases[digest] & gone.keys()]
        back, key = min(known or [(Back(r.written_us, r.bench), r.key) for r in fell[digest]])
        found_us = own[0].written_us if own else back.at_us
        cell, instead = items.get(key, (None, frozenset()))
        found[digest] = Fall(
            rows[0].rule,
            from_us(max(back.at_us, found_us)),
            from_us(found_us),
            # A restored store knows what was found, and not how long before it was undone.
            bool(own) and back.bench == own[0].bench and own[0].verb not in (RESTORED, SALVAGED),
            instead,
            cell == rows[0].code,
        )
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


def let_fall(pen: Pen, codes: Collection[str]) -> tuple[set[str], set[str]]:
    """Record the fall of each finding of these cells of which a record was withdrawn.

    Returns their cells, and those among them that are to be tested again.
    """
    bench = None if pen.merging is None else ""
    rows = _rows(pen.conn, codes, bench)
    if not rows:
        return set(), set()
    known = _fell(pen.conn, {row.digest for row in rows}, bench)
    open_ = {row.digest: _finding(row) for row in rows if row.digest not in known}
    gone = withdrawn(pen.conn, {key for finding in open_.values() for key in finding.basis}).keys()
    # In a fixed order: two benches that see the same falls file the same rows.
    void = sorted((f for f in open_.values() if not stands(f, gone)), key=lambda f: (f.cell, f.digest))
    for finding in void:
        # One of several withdrawn keys, chosen alike on every bench.
        key = min(finding.basis & gone)
        pen.conn.execute(FINDING_FELL.insert().values(digest=finding.digest, key=key, write_id=pen.write_id))
        because = f"it rests on {key}, which was withdrawn as a mistake: {finding.words}"
        pen.event("finding-fell", [finding.cell], subject=finding.rule, because=because)
    # As `_falls`: what only merges saw is no reason to test again.
    own = {row.digest for row in rows if row.bench or pen.merging is None}
    return {finding.cell for finding in void}, {f.cell for f in void if f.digest in own}


# --- what was taken back ----------------------------------------------------------------------------

_FACT = "fact "


@dataclass(frozen=True, slots=True, order=True)
class Back:
    """When a record was first taken back, and by which bench ("": by a merge)."""

    at_us: int
    bench: str


def withdrawn(conn: Connection, keys: Collection[str], bench: str | None = None) -> dict[str, Back]:
    """Which of these keys name a record that was superseded, or a fact that was mistyped, and since when."""
    found: dict[str, Back] = {}
    for row in _SUPERSEDED.rows(conn, keys, bench=bench):
        found.setdefault(row.record, Back(row.at_us, row.bench))
    subjects = {key.removeprefix(_FACT).partition(".")[0] for key in keys if key.startswith(_FACT)}
    facts = _mistyped(conn, subjects) if subjects else ()
    return found | {key: back for key, back in facts if key in keys}


def _mistyped(conn: Connection, codes: Collection[str]) -> Iterator[tuple[str, Back]]:
    for code, fields in said(conn, codes, FACTS).items():
        for name, found in fields.items():
            for entry, by in found.withdrawn.items():
                yield fact_key(code, name, "" if entry == BORN else entry), Back(by.at_us, by.bench)


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
