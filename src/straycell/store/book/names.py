"""What goes by a name: boxes, meters and projects. Rows refer to their keys; two benches may each have one of a name."""

from __future__ import annotations

from collections import Counter
from functools import cache

from sqlalchemy import Connection, Table, select

from straycell.store.quick.prepared import Prepared
from straycell.store.schema.tables import BENCH


@cache
def _names(table: Table) -> Prepared:
    return Prepared(lambda: select(table.c.key, table.c.name).order_by(table.c.key))


def shown(conn: Connection, table: Table) -> dict[str, str]:
    """Name by key, each once: another bench's gets its letter behind it where this bench has one of that name."""
    rows = list(_names(table).rows(conn))
    times = Counter(name for _, name in rows)
    if len(times) == len(rows):
        return {row.key: row.name for row in rows}
    letter = conn.execute(select(BENCH.c.letter)).scalar_one()
    own = {name for key, name in rows if key[0] == letter}
    # The letter only where it is needed: on one's own bench a box has its own name.
    apart = {key: f"{name} (bench {key[0]})" for key, name in rows}
    return {
        key: name if key[0] == letter or (times[name] == 1 and name not in own) else apart[key]
        for key, name in rows
    }


def key_named(conn: Connection, table: Table, name: str) -> str | None:
    """The key of what is shown under exactly this name."""
    return next((key for key, known in shown(conn, table).items() if known == name), None)
