"""The chain of writes: each transaction is one write, its key the hash of its parents and of all its rows.

What follows from other rows (where a thing is now, verdicts) is not part of it, nor are row numbers, which are
a store's own.
"""

import hashlib
import json
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import chain, groupby
from typing import Any

from sqlalchemy import Connection, select

from straycell.store.schema.tables import BENCH, WRITE
from straycell.store.sqlite.guards import FOR_LIFE

CONTENT: dict[str, tuple[str, ...]] = {
    # table: the columns that are written once, in an order in which nothing points to what is not there yet
    "box": ("key", "name", "kind", "limit_wh"),
    "meter": (
        *(
            "key",
            "name",
            "like_class",
            "voltage_gain",
            "voltage_offset",
            "voltage_resolution",
            "capacity_gain",
        ),
        *(
            "capacity_offset",
            "resistance_gain",
            "resistance_offset",
            "temperature_gain",
            "temperature_offset",
        ),
        "compared_on",
    ),
    **{name: FOR_LIFE[name][:-1] for name in ("teardown", "project", "cell")},
    "blank_code": ("code",),
    "trace": (
        *("key", "code", "sha256", "name", "size_bytes", "at_us", "recorded_at_us", "meter", "cutoff_v"),
        *("columns", "setting", "result", "curve"),
    ),
    "reading": (
        *("key", "code", "quantity", "at_us", "value", "temperature_c", "meter", "rested_s", "where_taken"),
        *("discharge_current_a", "cutoff_v", "method", "pulse_s", "look", "as_group", "charge_current_a"),
        *(
            "end_current_a",
            "peak_temperature_c",
            "charger",
            "slot",
            "energy_wh",
            "soc",
            "at_least",
            "from_full",
        ),
        *(
            "u",
            "surroundings_c",
            "doubt",
            "put_in_ah",
            "took_s",
            "put_in_u",
            "trace",
            "supersedes",
            "recorded_at_us",
        ),
    ),
    "supersession": ("record", "mistake", "because", "right_cell"),
    "upset": ("key", "code", "kind", "at_us", "severe"),
    "condemnation": ("key", "code", "because", "at_us"),
    "fact": ("subject", "field", "entry", "value", "mistake", "over"),
    **{name: FOR_LIFE[name][:-1] for name in ("build", "build_cell", "handover", "handover_cell")},
    "charger": (
        *("name", "slot", "float_v", "float_u", "end_current_a", "capacity_gain", "capacity_offset"),
        "measured_at_us",
    ),
    "meter_comparison": ("meter", "compared_on", "note", "quantity", "showed", "actual"),
    "photograph": ("code", "sha256", "at_us", "size_bytes"),
    "group_voltage": ("build", "group_no", "at_us", "value", "u", "alone_u", "meter", "charged_alone"),
    "event_cell": ("code",),
    "finding": (
        *("digest", "code", "rule", "basis", "words", "observed", "expanded_uncertainty", "bound", "unit"),
        *("source", "safety", "at_us"),
    ),
    "finding_fell": ("digest", "key"),
}
# A finding follows from all events of its write together, so none of them is its cause.
BY_WRITE = frozenset({"finding", "finding_fell"})
"""Tables whose rows name their write; all others name an event of it."""
EVENT_CONTENT = ("at_us", "verb", "subject", "detail", "because")
HEAD = ("bench", "number", "parents", "at_us", "verb", "detail")


def order_of(table: str) -> str:
    """How the rows of a table came, in SQL: a table without row numbers is in the order of its key."""
    # `event_cell` has no row numbers (WITHOUT ROWID): within an event its codes order it alike on every
    # bench.
    return "event_id, code" if table == "event_cell" else "rowid"


@dataclass(frozen=True, slots=True)
class Open:
    """A write not yet closed: the row it will have, and the last row of each table before it."""

    id: int
    before: dict[str, int]


def next_id(conn: Connection) -> int:
    """The row that the next write of this file gets."""
    return int(conn.exec_driver_sql('SELECT coalesce(max(id), 0) + 1 FROM "write"').scalar_one())


def begin(conn: Connection) -> Open:
    """Take the next row of the chain for what is written from now on."""
    # Row numbers only grow (rows are never deleted), so "after the last one" is exactly what this write adds.
    before = _last_rows(conn)
    return Open(before["write"] + 1, before)


def _last_rows(conn: Connection) -> dict[str, int]:
    """The number of the last row of each table."""
    return dict(zip(_TABLES, conn.exec_driver_sql(_LAST_ROWS).one(), strict=True))


def _place(table: str) -> str:
    return "event_id" if table == "event_cell" else "rowid"


_TABLES = ("write", "event", *CONTENT)
_LAST_ROWS = "SELECT " + ", ".join(
    f'(SELECT coalesce(max({_place(name)}), 0) FROM "{name}")' for name in _TABLES
)


def close(conn: Connection, made: Open, merged: tuple[Sequence[str], int] | None = None) -> str:
    """File the write with its key; returns that. `merged`: the writes a merge brings together, and its time."""
    # Counters and heads are a store's own state and no part of the hash: they differ between two equal
    # stores.
    bench = conn.execute(select(BENCH)).one()
    events = _events(conn, made.before["event"])
    after = _last_rows(conn)
    content = (
        [table, *row]
        for table in CONTENT
        if after[table] > made.before[table]
        for row in _Stream(conn, table, made.before[table]).of(made.id, events)
    )
    first = events[0]
    head = {
        "bench": bench.letter if merged is None else "",
        # A merge belongs to no bench: with a number of its own it would differ between the two sides.
        "number": bench.last_write + 1 if merged is None else 0,
        # Sorted, so that a merge has the same key on whichever side it is made.
        "parents": " ".join(sorted(bench.heads.split() if merged is None else merged[0])),
        "at_us": first["at_us"] if merged is None else merged[1],
        "verb": first["verb"],
        "detail": "{}",
    }
    key = key_of_write(head, [event[name] for event in events for name in EVENT_CONTENT], content)
    conn.execute(WRITE.insert().values(id=made.id, key=key, **head))
    conn.execute(BENCH.update().values(heads=key, last_write=max(head["number"], bench.last_write)))
    return key


def key_of_write(head: dict[str, Any], events: Iterable[Any], content: Iterable[Sequence[Any]]) -> str:
    """The hash of a write, row by row: an import of a hundred thousand readings is one."""
    digest = hashlib.sha256()
    for row in chain([sorted(head.items()), list(events)], content):
        # A lone surrogate in an old row must change no key and stop no check: it is hashed as it is.
        digest.update(_encode(row).encode("utf-8", "surrogatepass"))
        digest.update(b"\n")
    return digest.hexdigest()


def _bytes(value: object) -> str:
    return value.hex() if isinstance(value, bytes) else repr(value)


_encode = json.JSONEncoder(ensure_ascii=False, default=_bytes).encode


def _events(conn: Connection, after: int) -> list[dict[str, Any]]:
    names = ("id", *EVENT_CONTENT)
    rows = conn.exec_driver_sql(f"SELECT {', '.join(names)} FROM event WHERE id > ? ORDER BY id", (after,))
    return [dict(zip(names, row, strict=True)) for row in rows]


# --- checking --------------------------------------------------------------------------------------


def faults(conn: Connection) -> Iterator[str]:
    """The first write that does not fit what is in the file; none when all of them do."""
    known: set[str] = set()
    # The last writes have no child that would miss them: only the bench's own counter shows that they are
    # gone.
    last: dict[str, int] = {}
    for write, found in contents(conn):
        named = name_of(write)
        # A chain whose parents are there and whose keys fit cannot have lost a write in its middle.
        missing = [parent for parent in write["parents"].split() if parent not in known]
        if missing:
            yield f"{named} follows a write that is missing: rows were removed by hand"
            return
        if found is None or found != write["key"]:
            yield f"{named} does not fit its rows: they were changed, added or removed by hand"
            return
        known.add(write["key"])
        if write["bench"]:
            last[write["bench"]] = max(write["number"], last.get(write["bench"], 0))
    bench = conn.execute(select(BENCH)).one()
    if last.get(bench.letter, 0) < bench.last_write or set(bench.heads.split()) - known:
        yield f"the last writes are missing: write {bench.letter}-{bench.last_write} was given out, and is not here"


def names_by_key(conn: Connection) -> dict[str, str]:
    """Every write by its key, in order, as a person finds it: an older copy tells what a store has lost by them."""
    rows = conn.exec_driver_sql('SELECT key, bench, number, verb, at_us FROM "write" ORDER BY id').mappings()
    return {row["key"]: name_of(row) for row in rows}


def name_of(write: Mapping[Any, Any]) -> str:
    """A write as a person finds it."""
    from straycell.store.column_values import from_us

    number = f"{write['bench']}-{write['number']}" if write["bench"] else "of a merge"
    return f"write {number} ({write['verb']}, {from_us(write['at_us']):%Y-%m-%d %H:%M})"


def contents(conn: Connection) -> Iterator[tuple[dict[str, Any], str]]:
    """Each write in the order they came, with the key its rows give."""
    names = ("id", "bench", "number", "key", "parents", "at_us", "verb", "detail")
    writes = conn.exec_driver_sql(f'SELECT {", ".join(names)} FROM "write" ORDER BY id').all()
    events = {
        write_id: [dict(zip(("id", *EVENT_CONTENT), row[1:], strict=True)) for row in rows]
        for write_id, rows in groupby(
            conn.exec_driver_sql(
                f"SELECT write_id, id, {', '.join(EVENT_CONTENT)} FROM event ORDER BY write_id, id"
            ),
            key=lambda row: row[0],
        )
    }
    # One pass over each table for the whole chain, instead of a query for each table and write.
    streams = {table: _Stream(conn, table) for table in CONTENT}
    for row in writes:
        write = dict(zip(names, row, strict=True))
        made = events.get(write["id"], [])
        content = ([t, *row] for t, s in streams.items() for row in s.of(write["id"], made))
        head = {name: write[name] for name in HEAD}
        yield write, key_of_write(head, [event[name] for event in made for name in EVENT_CONTENT], content)


class _Stream:
    """The rows of a table write by write, read once from the first (or behind the one with number `after`) to the last."""

    def __init__(self, conn: Connection, table: str, after: int | None = None) -> None:
        self._by_write = table in BY_WRITE
        link = "write_id" if self._by_write else "event_id"
        columns = ", ".join(f'"{name}"' for name in (link, *CONTENT[table]))
        only = "" if after is None else f"WHERE {_place(table)} > {after}"
        self._rows = iter(
            conn.exec_driver_sql(f"SELECT {columns} FROM {table} {only} ORDER BY {order_of(table)}")
        )
        self._next = next(self._rows, None)

    def of(self, write_id: int, events: list[dict[str, Any]]) -> Iterator[list[Any]]:
        # Event numbers are local to a file, so rows name their event by its place within the write.
        ordinal = {event["id"]: number for number, event in enumerate(events)}
        # Rows lie in the order of their writes, because numbers only grow: one row of look-ahead is enough.
        while self._next is not None:
            of, *values = self._next
            if (self._by_write and of != write_id) or (not self._by_write and of not in ordinal):
                return
            yield [0 if self._by_write else ordinal[of], *values]
            self._next = next(self._rows, None)
