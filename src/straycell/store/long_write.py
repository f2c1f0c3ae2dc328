"""Long writes, done on a copy beside the store: others go on writing, and what came of it is carried over at once.

All or nothing, as any write. When another program wrote meanwhile, what was judged may be wrong by now: it is done
again, the last time under the lock.
"""

from collections.abc import Callable, Mapping
from datetime import datetime
from pathlib import Path
from typing import TypeVar

from sqlalchemy import Connection, Row, func, select

from straycell.acceptance import RuleSet
from straycell.files.write import part_file
from straycell.store import chain
from straycell.store.book import derived
from straycell.store.merge.take_in import AT_REST
from straycell.store.schema import tables
from straycell.store.schema.tables import BENCH, EVENT, VERDICT
from straycell.store.sqlite.engine import attached, connected, same_file, store_faults, writing_engine
from straycell.store.sqlite.file import copy_store
from straycell.store.writer import Writer, open_writer

T = TypeVar("T")
LONG_BYTES = 500_000
"""Of what is worked through. Less takes a second or two, and a waiting program waits 30."""
_TRIES = 2
Lost = Mapping[str, tuple[str, bool]]


def write_long(
    path: Path,
    act: Callable[[Writer], T],
    *,
    now: datetime,
    rules: RuleSet,
    size_bytes: int,
    create: bool = False,
) -> tuple[T, Lost]:
    """Do `act` as one write; returns what it gives, and the projects that lost a cell. Raises as `open_writer`.

    `size_bytes` is how much it works through: only from `LONG_BYTES` on it is done beside the store.
    """
    for _ in range(_TRIES if size_bytes >= LONG_BYTES and path.exists() else 0):
        with part_file(path, mode=0o600) as part:
            with store_faults(path):
                copy_store(path, part.path)
            with open_writer(part.path, now=now, rules=rules, create=False) as writer:
                # It stands for the store: a merge asks whether it is to take in itself.
                writer.path = writer.pen.store = path
                base = _mark(writer.pen.conn)
                result = act(writer)
            if _carried(path, part.path, base):
                return result, writer.lost
    with open_writer(path, now=now, rules=rules, create=create) as writer:
        result = act(writer)
    return result, writer.lost


def _mark(conn: Connection) -> tuple[Row[tuple[object, ...]], ...]:
    """What is another after every write."""
    last = [conn.execute(select(func.max(table.c.id))).one() for table in (EVENT, VERDICT)]
    return (conn.execute(select(BENCH)).one(), *last)


def _carried(path: Path, copy: Path, base: object) -> bool:
    """Take the rows that are new in the copy, unless the store is not what was copied any more."""
    with (
        store_faults(path),
        same_file(path) as require_same,
        connected(writing_engine(path)) as conn,
        attached(conn, copy, "copy"),
        conn.begin(),
    ):
        require_same()
        # The judging was done without the lock: under it nothing may have come that it did not know.
        if _mark(conn) != base:
            return False
        row = conn.exec_driver_sql("SELECT * FROM copy.bench").one()
        if dict(row._mapping) == dict(conn.execute(select(BENCH)).one()._mapping):
            return True  # nothing was written, and so nothing is
        for name in ("write", "event", *chain.CONTENT, "verdict"):
            _take_new(conn, name)
        for table in derived.TABLES:
            derived.take_over(conn, table, "copy")
        conn.execute(BENCH.update().values(dict(row._mapping)))
    return True


def _take_new(conn: Connection, name: str) -> None:
    # Rows are only added, under growing numbers: what is beyond the last one is new.
    number = "event_id" if name == "event_cell" else "rowid"
    columns = [column.name for column in vars(tables)[name.upper()].columns]
    rest = {column: repr(value) for column, value in AT_REST.get(name, {}).items()}
    values = ", ".join("NULL" if rest.get(c) == "None" else rest.get(c, f'"{c}"') for c in columns)
    listed = ", ".join(f'"{c}"' for c in columns)
    conn.exec_driver_sql(
        f'INSERT INTO main."{name}" ({listed}) SELECT {values} FROM copy."{name}" '
        f'WHERE {number} > (SELECT coalesce(max({number}), 0) FROM main."{name}") ORDER BY {chain.order_of(name)}'
    )
