"""What of a damaged store can be trusted: rows that can be ours, writes that still give their key, and their cells.

What the constraints of the database cannot tell, such as JSON and words in a text, is asked of each row here.
"""

import hashlib
import json
import tomllib
import zlib
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from datetime import date
from itertools import groupby
from typing import Any

from sqlalchemy import Connection

from straycell.builds import BuildState
from straycell.cells import Look, Stage, parse_code
from straycell.errors import BadData
from straycell.readings import FACTS, Field
from straycell.safety.handover.listing import HandoverList
from straycell.store import chain
from straycell.store.book.derived import TEARDOWN_FIELDS
from straycell.store.book.measured.meters import meter_of
from straycell.store.book.stock.cells import UNSAID
from straycell.store.schema.compare import JSON_COLUMNS

_BROKEN = (ValueError, TypeError, LookupError, AttributeError, ArithmeticError, zlib.error, BadData)
"""What reading a broken value raises."""


def why_not(table: str, row: Mapping[str, Any]) -> str:
    """What is wrong with the values of a row, empty where nothing is."""
    try:
        for name in JSON_COLUMNS.get(table, ()):
            json.loads(row[name])
        if "code" in row and table != "teardown":
            parse_code(row["code"])
        check = _CHECKS.get(table)
        return "" if check is None or check(row) else "it holds what cannot be"
    except _BROKEN as fault:
        return f"it cannot be read: {str(fault).splitlines()[0] if str(fault) else type(fault).__name__}"


def _cell(row: Mapping[str, Any]) -> bool:
    return all(name in UNSAID and can_be(name, value) for name, value in json.loads(row["born"]).items())


def can_be(name: str, value: Any) -> bool:
    """Whether a field of a cell may have this value."""
    if name == "stage":
        return value in set(Stage)
    field = FACTS.get(name)
    if field is None or field.kind is str:
        return isinstance(value, str) or (value is None and UNSAID[name] is None)
    return _fits(field, value) or (value is None and UNSAID[name] is None)


def _fits(field: Field, value: Any) -> bool:
    if field.kind is bool:
        return value in (0, 1)
    if field.window is not None:
        return isinstance(value, int | float) and field.window.low <= value <= field.window.high
    return isinstance(value, str) and value in {str(word) for word in field.kind}


def _fact(row: Mapping[str, Any]) -> bool:
    name, value = row["field"], json.loads(row["value"])
    return bool(_SAID[name](value) if name in _SAID else name in UNSAID and can_be(name, value))


def _text(value: Any) -> bool:
    return isinstance(value, str)


def _day(value: Any) -> bool:
    return value is None or bool(date.fromisoformat(value))


_SAID: dict[str, Callable[[Any], bool]] = {
    **dict.fromkeys(("title", "kind", "place", "note"), _text),
    **dict.fromkeys(("found_on", "opened_on"), _day),
    "objects": lambda value: isinstance(value, int) and value >= 1,
    "state": lambda value: value in set(BuildState),
    "dropped": lambda value: isinstance(value, bool),
    "text": lambda value: _project(value),
    "closed": lambda value: bool(HandoverList.from_json(value["body"])) and isinstance(value["gone"], list),
}


def _project(text: Mapping[str, Any]) -> bool:
    priority = text["priority"]
    return "name" in tomllib.loads(text["body"]) and _day(text["due"]) and 0 <= int(priority) <= 1_000_000


def _teardown(row: Mapping[str, Any]) -> bool:
    born = json.loads(row["born"])
    return all(_SAID[name](born[name]) for name in TEARDOWN_FIELDS)


def _reading(row: Mapping[str, Any]) -> bool:
    return all(word in set(Look) for word in row["look"].split())


def _trace(row: Mapping[str, Any]) -> bool:
    return bool(hashlib.sha256(zlib.decompress(row["raw"])).hexdigest() == row["sha256"])


def _finding(row: Mapping[str, Any]) -> bool:
    basis = json.loads(row["basis"])
    return isinstance(basis, list) and all(isinstance(key, str) for key in basis)


class _Attributes:
    def __init__(self, row: Mapping[str, Any]) -> None:
        self.__dict__.update(row)


_CHECKS: dict[str, Callable[[Mapping[str, Any]], bool]] = {
    "cell": _cell,
    "fact": _fact,
    "teardown": _teardown,
    "project": lambda row: _project(json.loads(row["born"])),
    "reading": _reading,
    "trace": _trace,
    "finding": _finding,
    "meter": lambda row: bool(meter_of(_Attributes(row))),
}


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
