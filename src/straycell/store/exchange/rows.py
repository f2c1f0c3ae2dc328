"""A CSV file as rows of plain text: read line by line within bounds, every defect named with its line.

Python's csv module and not pandas: only it tells on which line a row began.
"""

import csv
import io
import re
from collections.abc import Iterator
from pathlib import Path
from typing import BinaryIO

from straycell.errors import BadData
from straycell.files.read import open_file
from straycell.plain_text import is_plain

MOST_BYTES = 100_000_000
MOST_LINE_BYTES = 1_000_000
MOST_FIELD = 10_000
MOST_LINES = 100_000
MOST_COLUMNS = 500
_HEAD_BYTES = 65_536
_FORMULA = re.compile(r"'*\s*[=+@-]")
_PLAIN_NUMBER = re.compile(r"[+-]?\d+(\.\d+)?")
_REMEDY = "save it as CSV in UTF-8"


class RowFault(BadData):
    """A defect that ends the reading: the file cannot be followed beyond `line`."""

    def __init__(self, line: int, what: str, remedy: str) -> None:
        super().__init__(what, remedy)
        self.line = line


def shielded(value: object) -> object:
    """A text that a spreadsheet would take for a formula, behind a single quote; all else as it is."""
    # A field that begins with = + - @ runs as a formula in a spreadsheet (OWASP, CSV injection).
    if isinstance(value, str) and _FORMULA.match(value) and not _PLAIN_NUMBER.fullmatch(value):
        return f"'{value}"
    return value


def _unshielded(value: str) -> str:
    """The text as it was before `shielded`."""
    return value[1:] if value.startswith("'") and _FORMULA.match(value) else value


def separator_of(file: Path) -> str:
    """Comma, semicolon or tab: which of them the first line that is not blank has most of."""
    # Spreadsheets write semicolons where the comma is the decimal mark.
    with open_file(file, str(file), MOST_BYTES) as stream:
        head = stream.read(_HEAD_BYTES).decode("utf-8", "replace").lstrip("\ufeff\r\n\t ")
    first = re.split(r"[\r\n]", head, maxsplit=1)[0]
    return max(",;\t", key=first.count)


def rows(file: Path, separator: str) -> Iterator[tuple[int, list[str]]]:
    """(line it began on, fields in one line each) of every row that is not empty.

    Raises BadData when the file cannot be opened, RowFault where it is not a CSV text.
    """
    # A quote that is never closed would swallow the rest of the file into one field.
    csv.field_size_limit(MOST_FIELD)
    with open_file(file, str(file), MOST_BYTES) as stream:
        reader = csv.reader(_lines(stream), delimiter=separator, strict=True)
        began = 1
        try:
            for values in reader:
                if len(values) > MOST_COLUMNS:
                    raise RowFault(began, f"{len(values)} fields on one line", f"at most {MOST_COLUMNS}")
                if any(value and not value.isspace() for value in values):
                    yield began, [_unshielded(" ".join(value.split())) for value in values]
                # A quoted field may hold line breaks: the row is named by the line it began on.
                began = reader.line_num + 1
        except csv.Error as error:
            raise RowFault(began, f"not readable as CSV: {error}", "check the quotes") from None


def _lines(stream: BinaryIO) -> Iterator[str]:
    """Lines with their ends, of any system; raises RowFault at the first that is not text or too long."""
    number = 0
    # readline with a bound: a file without a line break must not be read whole.
    while raw := stream.readline(MOST_LINE_BYTES + 1):
        number += 1
        if number > MOST_LINES:
            raise RowFault(number, f"more than {MOST_LINES} lines", "split the file")
        if number == 1:
            _require_text(raw)
            # Spreadsheets put a byte order mark before UTF-8; it would become part of the first column's
            # name.
            raw = raw.removeprefix(b"\xef\xbb\xbf")
        if len(raw) > MOST_LINE_BYTES:
            raise RowFault(number, f"a line of more than {MOST_LINE_BYTES // 1_000_000} MB", _REMEDY)
        try:
            line = raw.decode("utf-8")
        except UnicodeDecodeError as error:
            raise RowFault(number, f"byte {raw[error.start]:#04x} is not UTF-8 text", _REMEDY) from None
        if "\0" in line:
            raise RowFault(number, "a NUL character: not a text file", _REMEDY)
        yield from io.StringIO(line, newline="")


def _require_text(raw: bytes) -> None:
    if raw[:2] in (b"\xff\xfe", b"\xfe\xff"):
        raise RowFault(1, "the file is UTF-16, not UTF-8", _REMEDY)
    # A spreadsheet's own file is a zip archive; "not UTF-8" would not tell a person so.
    if raw[:4] == b"PK\x03\x04":
        raise RowFault(1, "this is a spreadsheet or an archive, not a CSV file", _REMEDY)
    if raw[:2] == b"\x1f\x8b":
        raise RowFault(1, "this is a gz file, not a CSV file", "unpack it first")


def rows_beside(file: Path) -> Iterator[tuple[int, dict[str, str]]]:
    """(line, what is in each named column) of a file of an export; none when it is not there.

    Raises BadData that names the file and the line: what lies beside a list is checked as the list is.
    """
    if not file.exists():
        return
    header: list[str] = []
    try:
        for number, values in rows(file, ","):
            bad = next((value for value in values if not is_plain(value)), None)
            if bad is not None:
                raise RowFault(number, "control characters in the text", "write plain text")
            if header and len(values) != len(header):
                found = f"{len(values)} fields where the header has {len(header)} columns"
                raise RowFault(number, found, "leave fields empty, not out")
            if header:
                yield number, dict(zip(header, values, strict=True))
            header = header or values
    except RowFault as fault:
        raise BadData(f"{file.name} line {fault.line}: {fault.what}", fault.remedy) from None
