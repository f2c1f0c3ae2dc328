"""What of a damaged store can be trusted: the writes whose rows still give their key, and the cells of the others."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from itertools import groupby
from typing import Any

from sqlalchemy import Connection

from straycell.store import chain


@dataclass(frozen=True, slots=True)
class Trust:
    """The writes that are broken, in words; the cells they were about, None (which is all) where that is lost too."""

    broken: list[str]
    doubtful: set[str] | None


def rows_of_table(staging: Connection, name: str) -> Iterator[dict[str, Any]]:
    """The rows of a table in the order they came."""
    result = staging.exec_driver_sql(f'SELECT * FROM "{name}" ORDER BY {chain.order_of(name)}')
    names = list(result.keys())
    for row in result:
        yield dict(zip(names, row, strict=True))


def trust(staging: Connection) -> Trust:
    """Hold every write against its rows."""
    numbers, keys, bad, broken = list[int](), set[str](), set[int](), list[str]()
    for write, key in _writes(staging):
        numbers.append(write["id"])
        keys.add(write["key"])
        if key != write["key"]:
            bad.add(write["id"])
            broken.append(f"{_name_of(write)} does not fit its rows")
    events = {row.id: row.write_id for row in staging.exec_driver_sql("SELECT id, write_id FROM event")}
    # A write that is gone altogether names nobody, nor does one at the end that no later write misses.
    heads = staging.exec_driver_sql("SELECT heads FROM bench WHERE typeof(heads) = 'text'").scalar()
    sound = heads is not None and set(heads.split()) <= keys and numbers == list(range(1, len(numbers) + 1))
    linked = {events.get(event) for (event,) in staging.exec_driver_sql("SELECT event_id FROM event_cell")}
    if not sound or set(events.values()) - set(numbers) or bad - linked:
        return Trust(broken, None)
    codes = set[str]()
    for name in ("event_cell", "reading", "upset", "condemnation", "build_cell", "handover_cell"):
        rows = staging.exec_driver_sql(f"SELECT event_id, code FROM {name}")
        codes |= {code for event, code in rows if event not in events or events[event] in bad}
    return Trust(broken, codes)


def _name_of(write: dict[str, Any]) -> str:
    try:
        return chain.name_of(write)
    except (ValueError, TypeError, OverflowError):
        return f"write {write['bench']}-{write['number']}"


def _writes(staging: Connection) -> Iterator[tuple[dict[str, Any], str]]:
    """Each write with the key that its rows give; rows may lie in any order, and some nowhere."""
    names = ("event", *chain.CONTENT)
    streams = {name: _by_write(staging, name) for name in names}
    next_up = {name: next(stream, None) for name, stream in streams.items()}
    for write in rows_of_table(staging, "write"):
        rows: dict[str, list[dict[str, Any]]] = {}
        for name in names:
            while (head := next_up[name]) is not None and head[0] < write["id"]:
                next_up[name] = next(streams[name], None)
            rows[name] = head[1] if head is not None and head[0] == write["id"] else []
        yield write, _key(write, rows)


def _by_write(staging: Connection, name: str) -> Iterator[tuple[int, list[dict[str, Any]]]]:
    of, join = ("t.write_id", "") if name == "event" or name in chain.BY_WRITE else ("e.write_id", _JOIN)
    order = ", ".join(f"t.{column}" for column in chain.order_of(name).split(", "))
    query = f"SELECT {of} AS of_write, t.* FROM {name} t {join} WHERE typeof({of}) = 'integer' ORDER BY {of}, {order}"
    result = staging.exec_driver_sql(query)
    names = list(result.keys())
    for write_id, rows in groupby(result, key=lambda row: row[0]):
        yield write_id, [dict(zip(names, row, strict=True)) for row in rows]


_JOIN = "JOIN event e ON e.id = t.event_id"


def _key(write: Mapping[str, Any], rows: Mapping[str, list[dict[str, Any]]]) -> str:
    events = rows["event"]
    place = {event["id"]: number for number, event in enumerate(events)}
    head = {name: write[name] for name in chain.HEAD}
    content = (
        [name, 0 if name in chain.BY_WRITE else place[row["event_id"]], *(row[c] for c in columns)]
        for name, columns in chain.CONTENT.items()
        for row in rows[name]
    )
    return chain.key_of_write(
        head, [event[name] for event in events for name in chain.EVENT_CONTENT], content
    )
