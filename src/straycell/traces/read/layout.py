"""How a file is laid out: its text, its separator, its decimal mark, and the line that names the columns."""

import re
import zlib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path

from straycell.errors import BadData
from straycell.files.read import read_bytes, unpacked_gz
from straycell.traces.read.columns import Column, find_columns, mapped, recognise

MOST_BYTES = 250_000_000
"""Of a file, and of what a gz file unpacks to: a month of rows, one a second, has a tenth of it."""
_HEADER_LINES = 400
# The header is near the top; reading the whole of a large file for it would double the time.
_HEAD_BYTES = 262_144
_NUMBER = re.compile(r"^[+-]?(\d+([.,]\d*)?|[.,]\d+)([eE][+-]?\d+)?$")
_COMMA_NUMBER = re.compile(r"^[+-]?\d+,\d+([eE][+-]?\d+)?$")
_REMEDY = 'name them: --columns "time=1 in s, voltage=2 in V, current=3 in A" (header words or places)'
_KINDS = {
    b"PK\x03\x04": "a zip or spreadsheet file",
    b"%PDF": "a PDF",
    b"\x89PNG": "a picture",
    b"SQLite format 3": "a database",
    b"\xd0\xcf\x11\xe0": "an old spreadsheet file",
    b"PAR1": "a Parquet file",
}


@dataclass(frozen=True, slots=True)
class Layout:
    """Where the rows begin and what is in them. `first_row_line` counts lines from 1."""

    separator: str
    decimal: str
    first_row_line: int
    columns: dict[str, Column]
    width: int
    header: tuple[str, ...]


def file_bytes(source: str | Path | bytes) -> bytes:
    """The file's own bytes. Raises BadData when it cannot be opened, or is not a file or too large."""
    return (
        source if isinstance(source, bytes) else read_bytes(Path(source), f"trace file {source}", MOST_BYTES)
    )


def plain_text(raw: bytes) -> bytes:
    """The file's text as UTF-8, unpacked if it is gz. Raises BadData for what is not text."""
    # The first two bytes of gzip (RFC 1952), whatever the file is called.
    raw = _unpacked(raw) if raw[:2] == b"\x1f\x8b" else raw
    for magic, kind in _KINDS.items():
        if raw.startswith(magic):
            raise BadData(f"the trace is {kind}, not text", "export it as CSV and give that file")
    # Spreadsheet programs save "Unicode text" as UTF-16, recognised by its byte order mark.
    if raw[:2] in (b"\xff\xfe", b"\xfe\xff"):
        raw = raw.decode("utf-16", errors="replace").encode("utf-8")
    if not raw.strip():
        raise BadData("the trace file is empty", "export it once more from the instrument")
    zero = raw.find(b"\x00")
    if zero >= 0:
        line = raw.count(b"\n", 0, zero) + 1
        raise BadData(
            f"line {line} of the trace holds zero bytes: it is not text, or was damaged", "copy it again"
        )
    return raw.removeprefix(b"\xef\xbb\xbf")


def _unpacked(raw: bytes) -> bytes:
    try:
        return unpacked_gz(raw, MOST_BYTES)
    except EOFError as fault:
        raise BadData(
            f"the gz file is cut off: it ends after line {fault.args[0]}",
            "copy it again, or unpack what is left by hand",
        ) from fault
    except zlib.error as fault:
        raise BadData("the gz file is damaged: its check does not hold", "copy or export it again") from fault


def as_text(raw: bytes) -> str:
    """UTF-8, or Latin-1 where it is not (a lone degree sign from an old program)."""
    try:
        return raw.decode("utf-8")
    except UnicodeDecodeError:
        # Latin-1 never fails, and numbers are the same in it; only a degree sign may differ.
        return raw.decode("latin-1")


def find_layout(raw: bytes, columns: Mapping[str, str] | None) -> Layout:
    """Look through the first lines for the one that names the columns. Raises BadData when none does."""
    head = raw[:_HEAD_BYTES]
    if len(raw) > _HEAD_BYTES:
        head = head[: head.rfind(b"\n") + 1] or head
    lines = re.split(r"\r\n|\r|\n", as_text(head))[:_HEADER_LINES]
    if columns:
        return _by_mapping(lines, columns)
    for index, separator, cells in _split_in_turn(lines):
        if {"time", "voltage"} <= {c.quantity for c in map(recognise, cells) if c}:
            return _layout(lines, index, separator, None)
    raise _no_header(lines)


def _split_in_turn(lines: list[str]) -> Iterator[tuple[int, str, list[str]]]:
    """(index, separator, cells) of each line by each separator that files have."""
    for index, line in enumerate(lines):
        # The comma comes last: with decimal commas it would split a line that semicolons separate.
        for separator in (";", "\t", ","):
            yield index, separator, split_line(line, separator)


def split_line(line: str, separator: str) -> list[str]:
    """The cells of one line, without blanks and quotes."""
    return [cell.strip().strip('"').strip() for cell in line.split(separator)]


def _is_row(cells: list[str]) -> bool:
    return sum(bool(_NUMBER.match(c)) for c in cells) >= 2


def _no_header(lines: list[str]) -> BadData:
    for index, line in enumerate(lines):
        split = [cells for _, _, cells in _split_in_turn([line]) if len(cells) > 1]
        for cells in split:
            if any(recognise(c) for c in cells if not _NUMBER.match(c)):
                known = {c.quantity for c in map(recognise, cells) if c}
                lacking = [q for q in ("time", "voltage") if q not in known]
                return BadData(
                    f"line {index + 1} names no column for {' and '.join(lacking) or 'time'}", _REMEDY
                )
        if any(map(_is_row, split)):
            return BadData(
                f"line {index + 1} holds numbers, but no line before it names the columns", _REMEDY
            )
    return BadData("no line of the trace names columns for time and voltage (line 1 on)", _REMEDY)


def _by_mapping(lines: list[str], columns: Mapping[str, str]) -> Layout:
    """The first line that has every named header; for places, the first line of numbers."""
    fault: BadData | None = None
    for index, separator, cells in _split_in_turn(lines):
        if len(cells) < 2:
            continue
        try:
            found = mapped(cells, columns, index + 1)
        except BadData as missing:
            fault = fault or missing
            continue
        if _is_row(cells) or not all(_NUMBER.match(cells[c.place]) for c in found.values()):
            return _layout(lines, index, separator, found)
    raise fault or _no_header(lines)


def _layout(lines: list[str], index: int, separator: str, named: dict[str, Column] | None) -> Layout:
    cells = split_line(lines[index], separator)
    following = [split_line(line, separator) for line in lines[index + 1 : index + 40] if line.strip()]
    headless = named is not None and _is_row(cells)
    if headless:
        following.insert(0, cells)
    units_row = bool(following) and not headless and _is_units(following[0])
    found = named or find_columns(cells, following[0] if units_row else ())
    rows = following[1:] if units_row else following
    if not rows:
        raise BadData(
            f"the trace ends after its header (line {index + 1}): there is no row", "export it once more"
        )
    first = index + 1 if headless else index + 2 + int(units_row)
    decimal = _decimal(rows, separator, found, len(cells), first)
    return Layout(separator, decimal, first, found, len(cells), tuple(cells))


def _is_units(cells: list[str]) -> bool:
    """A row of units has letters or nothing in every cell, and no number."""
    # Two digits in a row are a date or a number and never a unit; `m3` and the like pass.
    return any(cells) and all(
        len(c) <= 8 and not _NUMBER.match(c) and not re.search(r"\d{2}", c) for c in cells
    )


def _decimal(rows: list[list[str]], separator: str, found: dict[str, Column], width: int, line: int) -> str:
    if separator != ",":
        picked = [row[c.place] for row in rows for c in found.values() if c.place < len(row)]
        # One comma number decides: whole numbers look the same with either mark.
        return "," if any(_COMMA_NUMBER.match(cell) for cell in picked) else "."
    quoted = [cell for row in rows for cell in row]
    crowded = all(len(row) > width for row in rows) and len(rows) > 1
    # With one separator for both, each decimal splits in two: every row is wider than its header and holds whole
    # numbers only.
    if crowded and all(re.fullmatch(r"[+-]?\d+|", cell) for cell in quoted):
        raise BadData(
            f"line {line}: the comma both separates the columns and marks the decimals",
            "export with a decimal point, or with semicolons between the columns",
        )
    return "."
