"""A CSV file as lines with named fields, and every fault of it with its place.

Python's csv module and not pandas: only it tells on which line a row began.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from difflib import get_close_matches
from pathlib import Path

from straycell.errors import BadData

MOST_BYTES = 500_000_000
_SHOWN = 60
_FORMULA = re.compile(r"'*\s*[=+@-]")
_PLAIN_NUMBER = re.compile(r"[+-]?\d+(\.\d+)?")


def shielded(value: object) -> object:
    """A text that a spreadsheet would take for a formula, behind a single quote; all else as it is."""
    if isinstance(value, str) and _FORMULA.match(value) and not _PLAIN_NUMBER.fullmatch(value):
        return f"'{value}"
    return value


def unshielded(value: str) -> str:
    """The text as it was before `shielded`."""
    return value[1:] if value.startswith("'") and _FORMULA.match(value) else value


def rows_beside(file: Path) -> Iterator[dict[str, str]]:
    """The lines of a file of an export, by column; none when it is not there."""
    if not file.is_file():
        return
    with file.open(newline="", encoding="utf-8-sig") as text:
        for row in csv.DictReader(text, restval=""):
            yield {name: unshielded(value) for name, value in row.items() if isinstance(value, str)}


@dataclass(frozen=True, slots=True)
class Fault:
    """Why a line cannot be taken: where, what stands there, what was expected, and what to do."""

    line: int
    text: str
    remedy: str
    column: str = ""

    @property
    def said(self) -> str:
        """With its column, as a person reads it."""
        named = not self.column or self.text.startswith(self.column)
        return self.text if named else f"{self.column}: {self.text}"


@dataclass(frozen=True, slots=True)
class Imported:
    """What became of a file: lines taken, those refused with the reason, those left out by their nature."""

    taken: int
    refused: tuple[Fault, ...] = ()
    left_out: int = 0


@dataclass(frozen=True, slots=True)
class Line:
    """One row: the line it began on, and what stands in each named column, blanks at the ends cut off."""

    number: int
    fields: Mapping[str, str]

    def fault(self, column: str, fault: BadData) -> Fault:
        """A fault of this line in the words of the error."""
        return Fault(self.number, fault.what, fault.remedy, column)


@dataclass(slots=True)
class Table:
    """A file as read. `columns` are the names used; with a fault of the header there are no lines."""

    columns: tuple[str, ...] = ()
    lines: list[Line] = field(default_factory=list)
    faults: list[Fault] = field(default_factory=list)


def read_table(file: Path, known: Collection[str], needed: Sequence[Collection[str]]) -> Table:
    """Read a CSV file with commas, semicolons or tabs. `needed` are sets of columns, one of each must be there.

    Raises BadData when the file cannot be read at all.
    """
    text = _text(file)
    if isinstance(text, Fault):
        return Table(faults=[text])
    rows = _rows(text)
    try:
        first = next(rows, None)
        if first is None:
            return Table(
                faults=[Fault(1, "the file is empty", "its first line names the columns: see --template")]
            )
        table = _header(first[1], known, needed)
        if not table.faults:
            for number, values in rows:
                _take(table, number, values)
    except csv.Error as error:
        return Table(
            faults=[Fault(_line_of(text, error), f"not readable as CSV: {error}", "check the quotes")]
        )
    if not table.lines and not table.faults:
        table.faults.append(Fault(1, "there is no line under the header", "write one line for each"))
    return table


def _text(file: Path) -> str | Fault:
    try:
        if file.stat().st_size > MOST_BYTES:
            raise BadData(f"{file} is larger than {MOST_BYTES // 1_000_000} MB", "split it")
        raw = file.read_bytes()
    except OSError as error:
        raise BadData(
            f"{file} cannot be read: {error.strerror}", "check the path and its permissions"
        ) from error
    remedy = "save it as CSV in UTF-8"
    if raw[:2] in (b"\xff\xfe", b"\xfe\xff"):
        return Fault(1, "the file is UTF-16, not UTF-8", remedy)
    if raw[:4] == b"PK\x03\x04":
        return Fault(1, "this is a spreadsheet or an archive, not a CSV file", remedy)
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = raw[: error.start].count(b"\n") + 1
        return Fault(line, f"byte {raw[error.start]:#04x} is no UTF-8 text", remedy)
    if "\0" in text:
        return Fault(text[: text.index("\0")].count("\n") + 1, "a NUL character: no text file", remedy)
    return text


def _rows(text: str) -> Iterator[tuple[int, list[str]]]:
    """(line it began on, fields) of every row that is not empty."""
    head = text.lstrip().split("\n", 1)[0]
    mark = max(",;\t", key=head.count)
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=mark, strict=True)
    began = 1
    for values in reader:
        if any(value.strip() for value in values):
            yield began, [unshielded(value.strip()) for value in values]
        began = reader.line_num + 1


def _line_of(text: str, error: csv.Error) -> int:
    """Where csv stopped: for a quote that is never closed it is the last line."""
    return text.count("\n") + 1 if "end of data" in str(error) else 1


def _header(names: Sequence[str], known: Collection[str], needed: Sequence[Collection[str]]) -> Table:
    columns = tuple("_".join(name.replace("-", " ").split()).casefold() for name in names)
    table = Table(columns)
    for place, name in enumerate(columns, 1):
        if name not in known:
            near = get_close_matches(name, list(known), 1)
            hint = f"nearest: {near[0]}" if near else "see --template for all of them"
            shown = f"'{names[place - 1][:_SHOWN]}'" if name else f"number {place} without a name"
            table.faults.append(Fault(1, f"unknown column {shown}", hint))
        elif name in columns[: place - 1]:
            table.faults.append(Fault(1, f"column '{name}' stands twice", "leave one of them out"))
    for choice in needed:
        if not set(choice) & set(columns):
            some = " or ".join(list(choice)[:3])
            table.faults.append(Fault(1, f"a column is missing: {some}", "see --template"))
    return table


def _take(table: Table, number: int, values: Sequence[str]) -> None:
    count, expected = len(values), len(table.columns)
    if count != expected:
        hint = (
            "a decimal comma splits a field: write a point"
            if count > expected
            else "leave fields empty, not out"
        )
        table.faults.append(Fault(number, f"{count} fields where the header has {expected} columns", hint))
        return
    bad = [name for name, value in zip(table.columns, values, strict=True) if not _printable(value)]
    if bad:
        table.faults.append(Fault(number, "control characters in the text", "write plain text", bad[0]))
        return
    table.lines.append(Line(number, dict(zip(table.columns, values, strict=True))))


def _printable(value: str) -> bool:
    return all(c.isprintable() or c.isspace() for c in value)
