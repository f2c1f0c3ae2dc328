"""What one write carries with it: the connection, the time, its events, and the cells it touched."""

import hashlib
from collections.abc import Collection, Iterable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import datetime
from itertools import islice
from pathlib import Path
from typing import Any, Literal, TypeVar

from sqlalchemy import Column, ColumnElement, Connection, Select, Table, func, literal, select
from sqlalchemy.ext.compiler import compiles
from sqlalchemy.sql.visitors import InternalTraversal

from straycell.acceptance import RuleSet
from straycell.keys import RecordKey
from straycell.store import chain
from straycell.store.column_values import to_json, to_us
from straycell.store.schema.tables import BENCH, EVENT, EVENT_CELL

_K = TypeVar("_K")
_T = TypeVar("_T")


def among(column: Column[Any], values: Collection[str] | Collection[int]) -> ColumnElement[bool]:
    """`column` is one of the values, however many: they go in as one JSON text, not as bound variables."""
    import json

    # SQLite bounds the variables of a statement (32,766 by default, sqlite.org/limits.html); a store has more
    # cells.
    return column.op("IN", is_comparison=True)(_Listed(literal(json.dumps(list(values)))))


class _Listed(ColumnElement[Any]):
    """`(SELECT value FROM json_each(?))`: put together of SQLAlchemy's own parts it takes three times as long."""

    inherit_cache = True
    _traverse_internals = [("text", InternalTraversal.dp_clauseelement)]  # noqa: RUF012

    def __init__(self, text: ColumnElement[str]) -> None:
        self.text = text


@compiles(_Listed)
def _listed(element: _Listed, compiler: Any, **more: Any) -> str:
    return f"(SELECT value FROM json_each({compiler.process(element.text, **more)}))"


def rows_of(conn: Connection, query: Select[Any]) -> Iterator[Any]:
    """The rows of a query, fetched many at a time: one by one they take twice as long."""
    for part in conn.execute(query).partitions(A_PART):
        yield from part


def grouped(pairs: Iterable[tuple[_K, _T]]) -> dict[_K, list[_T]]:
    """What goes with each key, in the order it comes."""
    found: dict[_K, list[_T]] = {}
    for key, value in pairs:
        found.setdefault(key, []).append(value)
    return found


A_PART = 5000


def parts(listed: Iterable[_T], size: int = A_PART) -> Iterator[list[_T]]:
    """The same in lists of up to `size`, one after the other: 25,000 rows at once take 100 MB."""
    left = iter(listed)
    while part := list(islice(left, size)):
        yield part


def insert_many(conn: Connection, table: Table, rows: Iterable[Mapping[str, Any]]) -> None:
    """Insert rows of the same columns; none is no error."""
    for part in parts(rows):
        conn.execute(table.insert(), part)


def insert_one(conn: Connection, table: Table, **values: object) -> int:
    """Insert one row and return its number."""
    # SQLAlchemy returns it from the INSERT itself, so no other writer's row can be meant.
    key = conn.execute(table.insert(), values).inserted_primary_key
    assert key is not None
    return int(key[0])


Run = Literal["reading", "trace", "handover", "record"]
"""Readings and charges, traces and hand-overs are numbered by themselves: people type these."""


@dataclass(slots=True)
class Pen:
    """One writing session inside one transaction. `now` is UTC; `store` is the file, for what lies beside it.

    `touched` cells get a new verdict at the end, `kin` (their pack's siblings) only if theirs changed;
    `lost` says of each project that a cell was condemned under its hands, and whether the cell is built in.
    `merging`: the writes that a merge brings together, and the time it bears on either side. `entry` names what a
    person sent, so that the same sent twice is known again: the first event bears it.
    """

    conn: Connection
    now: datetime
    rules: RuleSet
    store: Path
    # Collected and judged once at the end: a write of a thousand readings asks for one verdict a cell.
    touched: set[str] = field(default_factory=set)
    kin: set[str] = field(default_factory=set)
    lost: dict[str, tuple[str, bool]] = field(default_factory=dict)
    made: chain.Open | None = None
    merging: tuple[tuple[str, ...], int] | None = None
    entry: str = ""

    @contextmanager
    def whole(self) -> Iterator[None]:
        """All that is done within is written, or none of it: who catches a refusal may go on with this session."""
        before = (set(self.touched), set(self.kin), dict(self.lost), self.made, self.merging)
        try:
            with self.conn.begin_nested():
                yield
        except BaseException:
            self.touched, self.kin, self.lost, self.made, self.merging = before
            raise

    @property
    def write_id(self) -> int:
        """The write that all of this session's rows belong to; begun when it is first asked for."""
        if self.made is None:
            self.made = chain.begin(self.conn)
        return self.made.id

    def close(self) -> None:
        """File the write, if anything was written."""
        if self.made is None:
            return
        if not self.conn.execute(select(EVENT.c.id).where(EVENT.c.write_id == self.made.id).limit(1)).first():
            # The hash of a write begins with its first event, so a write without one could not be filed.
            self.event("judged")
        chain.close(self.conn, self.made, self.merging)
        self.made = self.merging = None

    def numbers(self, run: Run, count: int = 1) -> list[RecordKey]:
        """The bench's next numbers of a run, given out for good."""
        # Numbers given out never come back, even if the row is gone: people write them on paper.
        column = BENCH.c[f"last_{run}"]
        letter, last = self.conn.execute(select(BENCH.c.letter, column)).one()
        self.conn.execute(BENCH.update().values({column: last + count}))
        return [RecordKey(letter, last + 1 + i) for i in range(count)]

    def keyed(self, rows: Iterable[Mapping[str, Any]]) -> list[dict[str, Any]]:
        """These records, each with the bench's next number as its key."""
        listed = list(rows)
        return [
            {"key": str(n), **row} for n, row in zip(self.numbers("record", len(listed)), listed, strict=True)
        ]

    def number(self, run: Run) -> RecordKey:
        """The bench's next number of a run, given out for good."""
        return self.numbers(run)[0]

    def entries(self, count: int) -> list[str]:
        """Names for that many entries of facts; those of a merge are the same on either side."""
        if self.merging is None:
            return [str(number) for number in self.numbers("record", count)]
        # Both sides of a merge must name them alike without asking each other: so out of the heads they
        # joined.
        return [f"+{hashlib.sha256(' '.join(self.merging[0]).encode()).hexdigest()[:16]}"] * count

    @property
    def event_us(self) -> int:
        """The time that this session's events bear."""
        # A merge bears the later time of its parents on either side, else its key would depend on who made
        # it.
        return self.now_us if self.merging is None else self.merging[1]

    @property
    def last_event(self) -> int:
        """The event recorded last."""
        return int(self.conn.execute(select(func.coalesce(func.max(EVENT.c.id), 0))).scalar_one())

    @property
    def now_us(self) -> int:
        return to_us(self.now)

    def event(
        self,
        verb: str,
        codes: Iterable[str] = (),
        *,
        subject: str = "",
        detail: Mapping[str, Any] | None = None,
        because: str = "",
    ) -> int:
        """Record what is being done, and to which (existing) cells; returns the event's number."""
        if self.entry:
            detail, self.entry = {**(detail or {}), "entry": self.entry}, ""
        event_id = insert_one(
            self.conn,
            EVENT,
            write_id=self.write_id,
            at_us=self.event_us,
            verb=verb,
            subject=subject,
            detail=to_json(detail or {}),
            because=because,
        )
        self.link(event_id, codes)
        return event_id

    def events(self, verb: str, whys: Mapping[str, str]) -> None:
        """The same thing done to many cells, an event each; why by code."""
        first = self.last_event + 1
        common = {"at_us": self.event_us, "verb": verb, "subject": "", "detail": "{}"}
        rows = (
            {"id": number, "write_id": self.write_id, **common, "because": why}
            for number, why in enumerate(whys.values(), first)
        )
        insert_many(self.conn, EVENT, rows)
        links = ({"event_id": number, "code": code} for number, code in enumerate(whys, first))
        insert_many(self.conn, EVENT_CELL, links)

    def link(self, event_id: int, codes: Iterable[str]) -> None:
        """Tie an event to cells that exist by now."""
        rows = ({"event_id": event_id, "code": code} for code in dict.fromkeys(codes))
        insert_many(self.conn, EVENT_CELL, rows)
