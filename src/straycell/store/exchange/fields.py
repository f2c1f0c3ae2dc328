"""What may be in one field: quantities with a unit in the field or in the column's name, words, times, flags."""

import math
import re
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any, TypeVar

from straycell.cells import Look
from straycell.errors import BadData
from straycell.quantities import Dimension, parse_quantity
from straycell.readings import Field
from straycell.store.exchange.table import Fault, Line, Progress, Table
from straycell.typed import Word, parse_time, parse_word

T = TypeVar("T")
TEXT_LIMIT = 500
_YES, _NO = ("yes", "true", "1", "y", "x"), ("no", "false", "0", "n", "")


@dataclass(frozen=True, slots=True)
class Column:
    """A column that holds a quantity: what it is called, what it measures, the unit of bare numbers in it."""

    stem: str
    dimension: Dimension
    unit: str | None


def quantity_columns(fields: Iterable[Field]) -> dict[str, Column]:
    """By column name: `rated_capacity` (each figure with its unit), `rated_capacity_mah`, `rated_capacity_ah`..."""
    found: dict[str, Column] = {}
    for stem, dimension in ((field.column, field.dimension) for field in fields):
        if dimension is None:
            continue
        found[stem] = Column(stem, dimension, None)
        for unit in dimension.value.units:
            # Column names are typed by hand: signs that no keyboard has are left out.
            if unit.isascii() and unit != "%" and "Ohm" not in unit and unit not in ("Mohm", "degC"):
                found[f"{stem}_{unit.casefold()}"] = Column(stem, dimension, unit)
    return found


class Fields:
    """One line being read: what was asked for so far, and the faults found on the way."""

    def __init__(self, line: Line, quantities: Mapping[str, Column]) -> None:
        self.line, self._quantities = line, quantities
        self.faults: list[Fault] = []
        self._figures: dict[str, float | None] = {}
        # Once a line: a list has a dozen columns, and each of two dozen quantities would look through them.
        self._filled: dict[str, list[str]] = {}
        for name, value in line.fields.items():
            if value:
                column = quantities.get(name)
                self._filled.setdefault(name if column is None else column.stem, []).append(name)

    def text(self, column: str) -> str:
        """What is there; empty when nothing does."""
        value = self.line.fields.get(column, "")
        if len(value) > TEXT_LIMIT:
            self.refuse(column, f"{len(value)} characters", f"at most {TEXT_LIMIT}")
            return ""
        return value

    def has(self, column: str) -> bool:
        """True when something is there."""
        return bool(self.line.fields.get(column))

    def refuse(self, column: str, text: str, remedy: str) -> None:
        """Note a fault of this line."""
        self.faults.append(Fault(self.line.number, text, remedy, column))

    def try_(self, column: str, read: Callable[[str], T]) -> T | None:
        """What `read` makes of the field; None when it is empty or was refused, which is noted."""
        value = self.text(column)
        if not value:
            return None
        try:
            return read(value)
        except BadData as fault:
            self.faults.append(self.line.fault(column, fault))
            return None

    def quantity(self, stem: str) -> float | None:
        """The figure of whichever column of this stem is filled, in the base unit."""
        if stem in self._filled and stem not in self._figures:
            self._figures[stem] = self._quantity(stem)
        return self._figures.get(stem)

    def _quantity(self, stem: str) -> float | None:
        filled = self._filled[stem]
        if len(filled) > 1:
            self.refuse(filled[1], f"{stem} is in two columns, {filled[0]} too", "fill one of them")
        column = self._quantities[filled[0]]
        return self.try_(filled[0], lambda value: _quantity(self.pointed(value), column, filled[0]))

    def word(self, column: str, kind: type[Word]) -> Word | None:
        """A word of a list."""
        return self.try_(column, lambda value: parse_word(value, kind))

    def pointed(self, value: str) -> str:
        """A number with a point, of a list whose decimal mark is a comma. Raises BadData for both marks in one list."""
        if self.line.decimal == "." or not any(mark in value for mark in ",."):
            return value
        # One list with both marks has thousands separators somewhere, and 1.234 means two things.
        if "." in value or value.count(",") > 1:
            raise BadData(
                f"'{value[:60]}' has a point, other numbers of the list a decimal comma",
                "write all of them alike",
            )
        return value.replace(",", ".")

    def flag(self, column: str) -> bool:
        """Yes or no; nothing is no."""
        value = self.text(column).casefold()
        if value not in (*_YES, *_NO):
            self.refuse(column, f"'{value[:60]}' is neither yes nor no", "write yes or no")
        return value in _YES

    def all_said(self, known: Mapping[str, Field]) -> dict[str, Any]:
        """What is under the fields of the line that are known (by column): by the name of the field."""
        listed = ((field.name, self.said(field)) for column in self._filled if (field := known.get(column)))
        return {name: value for name, value in listed if value is not None}

    def said(self, field: Field) -> Any:
        """What is under a field of the table of what can be recorded; None where nothing does."""
        if field.column not in self._filled:
            return None
        if field.dimension is not None:
            return self.quantity(field.column)
        if field.kind in (bool, str):
            return (self.flag if field.kind is bool else self.text)(field.column) or None
        if field.kind is Look:
            return self.try_(field.column, _looks)
        if field.kind in (int, float):
            whole = field.kind is int
            return self.try_(
                field.column, lambda value: _whole(value, field) if whole else number(self.pointed(value))
            )
        return self.word(field.column, field.kind)

    def time(self, column: str, now: datetime) -> datetime | None:
        """An ISO 8601 time in UTC; without a zone it is local."""
        return self.try_(column, lambda value: parse_time(value, now))


def taken(
    table: Table,
    quantities: Mapping[str, Column],
    read: Callable[[Fields], T | None],
    *,
    partial: bool,
    progress: Progress | None,
) -> list[T]:
    """What `read` makes of each line without a fault (None: left out); the faults are noted in the table.

    With a fault in the file nothing more is kept, unless lines without one are taken all the same (`partial`).
    """
    found = list[T]()
    for done, line in enumerate(table.lines(patient=partial), 1):
        if progress is not None:
            progress(done, 0)
        fields = Fields(line, quantities)
        made = read(fields)
        table.faults.note(fields.faults)
        if made is not None and not fields.faults and (partial or not table.faults):
            found.append(made)
    return found


def _quantity(value: str, column: Column, name: str) -> float:
    return parse_quantity(value, column.dimension, bare=column.unit, name=name, prompted=False)


def number(value: str) -> float:
    """A plain number. Raises BadData."""
    # float() would take underscores and words like "nan".
    if re.fullmatch(r"[+-]?\d+,\d+", value):
        raise BadData(f"'{value}' has a decimal comma", f"write a point: {value.replace(',', '.')}")
    if not re.fullmatch(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d{1,3})?", value):
        raise BadData(f"'{value[:60]}' is not a number", "write it like 3.7, without a unit")
    if not math.isfinite(float(value)):
        raise BadData(f"'{value[:60]}' is too large to be meant", "write it like 3.7, without a unit")
    return float(value)


def _whole(value: str, field: Field) -> int:
    # isdigit alone takes digits of other scripts.
    if not (value.isascii() and value.isdigit() and len(value) < 5):
        raise BadData(f"'{value[:60]}' is not a {field.noun}", "write its number, like 2")
    return int(value)


def _looks(value: str) -> tuple[Look, ...]:
    return tuple(parse_word(word, Look) for word in value.replace(",", " ").replace(";", " ").split())
