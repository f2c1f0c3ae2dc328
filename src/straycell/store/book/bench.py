"""The bench itself: its letter, and giving a copy of a store a letter of its own."""

from __future__ import annotations

from sqlalchemy import Connection, select

from straycell.cells import make_code
from straycell.errors import BadData
from straycell.store.book.counters import given_out
from straycell.store.schema.tables import BENCH
from straycell.store.session import Pen


def letter(conn: Connection) -> str:
    """The letter that this bench's codes begin with."""
    return str(conn.execute(select(BENCH.c.letter)).scalar_one())


def take_letter(pen: Pen, letter: str) -> str:
    """From now on this store is bench `letter`; returns the former letter. What was written keeps its numbers.

    Raises BadData for a letter that is none, or under which something is here already.
    """
    make_code(letter, 0)
    former = str(pen.conn.execute(select(BENCH.c.letter)).scalar_one())
    if letter == former:
        raise BadData(f"this store is bench {letter} already", "take another letter")
    if any(given_out(pen.conn, letter).values()):
        raise BadData(
            f"bench {letter} is known here: codes or numbers that begin with {letter} stand in this store",
            "take a letter that none of your benches has",
        )
    fresh = {column.name: 0 for column in BENCH.c if column.name.startswith("last_")}
    pen.conn.execute(BENCH.update().values(letter=letter, **fresh))
    pen.event("bench-lettered", subject=letter, detail={"from": former})
    return former
