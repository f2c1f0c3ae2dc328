"""Traces in the store: the file as it was, how it was read, what came of it; never changed, never removed."""

import hashlib
import zlib
from collections.abc import Collection, Iterator, Sequence
from dataclasses import replace
from typing import Any

from sqlalchemy import Connection, Select, select

from straycell.errors import BadData
from straycell.keys import RecordKey, key_of
from straycell.readings import Mistake
from straycell.store.book.measured import meters
from straycell.store.book.measured.readings import Item, insert_items, reading, recording
from straycell.store.book.measured.supersede import supersede
from straycell.store.book.records import NewTrace, TraceEntry
from straycell.store.book.stock import cells
from straycell.store.column_values import from_json, from_us, to_json, to_us
from straycell.store.schema.tables import READING, SUPERSESSION, TRACE
from straycell.store.schema.validation import require_moment, utc
from straycell.store.session import Pen, among, insert_one

_PACKING = 1
"""zlib's fastest level: a million rows shrink to a third in a second, more effort gains little."""
_LARGEST_BYTES = 900_000_000
"""SQLite keeps at most 10^9 bytes in one field (sqlite.org/limits.html)."""
_HEAD = (
    TRACE.c.key,
    TRACE.c.code,
    TRACE.c.sha256,
    TRACE.c.name,
    TRACE.c.size_bytes,
    TRACE.c.recorded_at_us,
    TRACE.c.at_us,
    TRACE.c.meter,
    TRACE.c.cutoff_v,
    TRACE.c.columns,
    TRACE.c.setting,
    TRACE.c.result,
)


def _entries(conn: Connection, query: Select[Any]) -> Iterator[TraceEntry]:
    known = meters.by_key(conn)
    for row in conn.execute(query):
        yield TraceEntry(
            id=key_of(row.key),
            cell=row.code,
            sha256=row.sha256,
            name=row.name,
            size_bytes=row.size_bytes,
            recorded_at=from_us(row.recorded_at_us),
            at=from_us(row.at_us),
            meter=known[row.meter],
            cutoff_v=row.cutoff_v,
            columns=row.columns,
            setting=from_json(row.setting),
            result=from_json(row.result),
        )


def traces(conn: Connection, code: str | None = None) -> list[TraceEntry]:
    """All traces, or one cell's, in the order they were filed."""
    query = select(*_HEAD).order_by(*recording(TRACE))
    if code is not None:
        query = query.where(TRACE.c.code == code)
    return list(_entries(conn, query))


def trace(conn: Connection, number: RecordKey) -> TraceEntry:
    """One trace. Raises BadData when there is none of that number."""
    found = list(_entries(conn, select(*_HEAD).where(TRACE.c.key == str(number))))
    if not found:
        last = conn.execute(select(TRACE.c.key).order_by(TRACE.c.id.desc()).limit(1)).scalar()
        raise BadData(
            f"there is no trace {number}",
            f"the last one filed is {last}; see: straycell trace list"
            if last
            else "file one with: straycell trace add CODE FILE",
        )
    return found[0]


def trace_file(conn: Connection, number: RecordKey) -> bytes:
    """The file of a trace, byte for byte. Raises BadData."""
    entry = trace(conn, number)
    raw = zlib.decompress(conn.execute(select(TRACE.c.raw).where(TRACE.c.key == str(number))).scalar_one())
    # A trace is evidence: bytes that changed must not be drawn as if they were the recording.
    if hashlib.sha256(raw).hexdigest() != entry.sha256:
        raise BadData(f"the file of trace {number} is damaged", "run: straycell store check")
    return raw


def curves(conn: Connection, numbers: Collection[RecordKey]) -> dict[RecordKey, dict[str, Any]]:
    """The few points kept of each of these traces; one that has no discharge is left out."""
    wanted = among(TRACE.c.key, [str(number) for number in numbers])
    rows = conn.execute(select(TRACE.c.key, TRACE.c.curve).where(wanted, TRACE.c.curve != ""))
    return {key_of(key): from_json(curve) for key, curve in rows}


def readings_of(conn: Connection, number: RecordKey) -> tuple[list[RecordKey], list[RecordKey]]:
    """The numbers of the readings and charges that came out of a trace: (those that hold, those superseded)."""
    gone = READING.c.key.in_(select(SUPERSESSION.c.record))
    query = select(READING.c.key, gone).where(READING.c.trace == str(number)).order_by(*recording(READING))
    rows = [(key_of(key), away) for key, away in conn.execute(query)]
    return [key for key, away in rows if not away], [key for key, away in rows if away]


def _filed_before(conn: Connection, sha256: str) -> list[tuple[TraceEntry, list[RecordKey]]]:
    """(trace, its readings that hold) of each trace of the same file that still speaks for its cell, newest first."""
    query = (
        select(*_HEAD)
        .where(TRACE.c.sha256 == sha256)
        .order_by(*(column.desc() for column in recording(TRACE)))
    )
    found = []
    for entry in _entries(conn, query):
        stand, gone = readings_of(conn, entry.id)
        if stand or not gone:
            found.append((entry, stand))
    return found


def require_new(conn: Connection, raw: bytes, code: str, *, again: bool = False) -> list[RecordKey]:
    """Raise BadData when the same file is in the store and its readings were not taken back.

    With `again` it may be there for the same cell; returns its readings that hold then, else none.
    """
    # By content and not by name: loggers call every file the same.
    before = _filed_before(conn, hashlib.sha256(raw).hexdigest())
    for entry, stand in before:
        if entry.cell != code:
            raise _of_another_cell(entry, stand, code)
    if before and not again:
        number, filed = before[0][0].id, before[0][0].recorded_at
        raise BadData(
            f"this file is in the store: trace {number} of {code}, filed {filed:%Y-%m-%d}",
            f"see it with: straycell trace show {number}; to evaluate it again: --again --because ...",
        )
    return sorted(number for _, stand in before for number in stand)


def _of_another_cell(entry: TraceEntry, stand: Sequence[RecordKey], code: str) -> BadData:
    what = (
        f"this file is in the store as trace {entry.id} of another cell, {entry.cell}: a trace is of one cell"
    )
    if not stand:
        return BadData(what, f"see it with: straycell trace show {entry.id}")
    return BadData(
        what,
        f"take back its readings ({_listed(stand)}) first: "
        f"straycell reading supersede ID --mistake wrong-cell --right-cell {code} --because ...",
    )


def _listed(numbers: Sequence[RecordKey]) -> str:
    return ", ".join(f"{number}" for number in numbers)


def add_trace(
    pen: Pen, new: NewTrace, items: Sequence[Item] = (), again: str | None = None
) -> tuple[TraceEntry, list[Item]]:
    """File a trace and record what came out of it as one write. Raises BadData; nothing is kept then.

    `again` is the reason why the same file is worked out again: what it gave before is superseded by its like.
    """
    cells.require_here(pen.conn, [new.cell])
    require_moment(f"trace of {new.cell}", utc(new.at), pen.now)
    if new.meter is not None:
        meters.meter(pen.conn, new.meter.name)
    replaced = require_new(pen.conn, new.raw, new.cell, again=again is not None)
    packed = zlib.compress(new.raw, _PACKING)
    # SQLite keeps at most 10^9 bytes in a field (sqlite.org/limits.html).
    if len(packed) > _LARGEST_BYTES:
        raise BadData(f"{new.name} is too large to be kept with the store", "cut it into shorter recordings")
    detail = {"file": new.name, "readings": len(items)}
    event_id = pen.event("trace-added", [new.cell], subject=new.name, detail=detail)
    number = pen.number("trace")
    insert_one(
        pen.conn,
        TRACE,
        key=str(number),
        code=new.cell,
        sha256=hashlib.sha256(new.raw).hexdigest(),
        name=new.name,
        size_bytes=len(new.raw),
        raw=packed,
        at_us=to_us(new.at),
        recorded_at_us=pen.now_us,
        meter=meters.keys(pen.conn)[None if new.meter is None else new.meter.name],
        cutoff_v=new.cutoff_v,
        columns=new.columns,
        setting=to_json(new.setting),
        result=to_json(new.result),
        curve=to_json(new.curve) if new.curve else "",
        event_id=event_id,
    )
    rest = [replace(item, trace=number) for item in items]
    filed = _replace(pen, replaced, rest, again) if again is not None else []
    filed += insert_items(pen, rest, event_id) if rest else []
    pen.touched.add(new.cell)
    return trace(pen.conn, number), filed


def _replace(pen: Pen, numbers: Sequence[RecordKey], items: list[Item], because: str) -> list[Item]:
    """Put the first new item of the same kind in the place of each old one; these are taken out of `items`."""
    filed: list[Item] = []
    for number in numbers:
        old = reading(pen.conn, number).item
        # Mistyped in the sense of the store: a right value of the same kind takes its place.
        like = next((item for item in items if item.quantity is old.quantity), None)
        if like is not None:
            items.remove(like)
            filed += supersede(pen, number, Mistake.MISTYPED, because, None, [like])
    return filed


def file_faults(conn: Connection) -> Iterator[str]:
    """Traces whose file is not what it was when it was filed."""
    for key, sha256 in conn.execute(select(TRACE.c.key, TRACE.c.sha256).order_by(TRACE.c.id)).all():
        try:
            raw = zlib.decompress(conn.execute(select(TRACE.c.raw).where(TRACE.c.key == key)).scalar_one())
        except zlib.error:
            raw = b""
        if hashlib.sha256(raw).hexdigest() != sha256:
            yield f"the file of trace {key} is not the one that was filed"
