"""Can a salvaged row be one of ours: what the constraints of the database cannot tell, such as JSON and words in a text."""

import hashlib
import json
import tomllib
import zlib
from collections.abc import Callable, Mapping
from datetime import date
from typing import Any

from straycell.builds import BuildState
from straycell.cells import Look, Stage, parse_code
from straycell.errors import BadData
from straycell.readings import FACTS
from straycell.readings.fields import Field
from straycell.safety.handover.listing import HandoverList
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
