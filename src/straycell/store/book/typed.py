"""A record's number as a person types it: with its bench's letter, or alone while only one bench has it."""

from __future__ import annotations

from string import ascii_uppercase

from sqlalchemy import Connection, Table, select

from straycell.errors import BadData
from straycell.keys import RecordKey, key_of, typed_key
from straycell.store.schema.tables import BENCH, HANDOVER, READING, TRACE


def find_key(conn: Connection, table: Table, text: str, what: str) -> RecordKey:
    """The key meant by `text`, whether there is such a record or not. Raises BadData when two benches have it."""
    letter, number = typed_key(text, what)
    if letter is not None:
        return RecordKey(letter, number)
    possible = [str(RecordKey(bench, number)) for bench in ascii_uppercase]
    found = (
        conn.execute(select(table.c.key).where(table.c.key.in_(possible)).order_by(table.c.key))
        .scalars()
        .all()
    )
    if len(found) > 1:
        raise BadData(f"{what} {number} may be {' or '.join(found)}", "write it with its bench's letter")
    return (
        key_of(found[0])
        if found
        else RecordKey(str(conn.execute(select(BENCH.c.letter)).scalar_one()), number)
    )


def reading_number(conn: Connection, text: str) -> RecordKey:
    """The number of a reading or charge as a person types it. Raises BadData."""
    return find_key(conn, READING, text, "reading")


def trace_number(conn: Connection, text: str) -> RecordKey:
    """The number of a trace as a person types it. Raises BadData."""
    return find_key(conn, TRACE, text, "trace")


def handover_number(conn: Connection, text: str) -> RecordKey:
    """The number of a hand-over as a person types it. Raises BadData."""
    return find_key(conn, HANDOVER, text, "hand-over")
