"""The rows of a text with known layout as columns of numbers and times in seconds, with the line of every odd cell."""

from __future__ import annotations

import io
import re
from collections.abc import Callable
from dataclasses import dataclass, field
from enum import StrEnum
from typing import TYPE_CHECKING, Any

import numpy as np

from straycell.errors import BadData
from straycell.traces.read.layout import Layout
from straycell.traces.read.trace import Floats, Ints

if TYPE_CHECKING:
    import pandas as pd

_CLOCK = re.compile(r"^\s*(?:(\d+)[d ]\s*)?\d+:\d{1,2}(:\d{1,2}([.,]\d+)?)?\s*$")
_DATE = re.compile(r"^\s*\d{4}-\d{1,2}-\d{1,2}|^\s*\d{1,2}[./]\d{1,2}[./]\d{2,4}")
_DAY_S = 86400.0

Stamps = StrEnum("Stamps", "COUNTED CLOCK UTC LOCAL UNCLEAR")
"""What a file's times are: counted from a start, of a clock, or of a calendar (in UTC, local, or unclear)."""
Progress = Callable[[float], None]
# Pieces, so that progress can be shown, large enough that each one's cost does not count.
_CHUNK_ROWS = 250_000


@dataclass
class Table:
    """Columns in SI units, NaN where a cell holds no number; `odd` are (line, text) of cells with other text."""

    line: Ints
    columns: dict[str, Floats]
    stamps: Stamps = Stamps.COUNTED
    odd: list[tuple[int, str]] = field(default_factory=list)


def read_table(raw: bytes, layout: Layout, progress: Progress | None = None) -> Table:
    """Read the rows with pandas, in pieces so that progress can be reported. Raises BadData naming the line."""
    frames = list(_frames(raw, layout, progress))
    _check_widths(raw, layout, sum(len(f) for f in frames))
    lines = layout.first_row_line + np.arange(sum(len(f) for f in frames), dtype=np.int64)
    table = Table(lines, {})
    for quantity, column in layout.columns.items():
        parts: list[pd.Series[Any]] = [frame[column.place] for frame in frames]
        if quantity == "cell":
            _check_one_cell(parts, lines, column.header)
        elif quantity == "step":
            table.columns[quantity] = _step_numbers(parts)
        else:
            table.columns[quantity] = _numbers(parts, quantity, layout, table)
    return table


def _frames(raw: bytes, layout: Layout, progress: Progress | None) -> Any:
    import pandas as pd

    source = io.BytesIO(raw)
    source.seek(_offset(raw, layout.first_row_line))
    places = sorted({column.place for column in layout.columns.values()})
    try:
        with pd.read_csv(
            source,
            sep=layout.separator,
            decimal=layout.decimal,
            header=None,
            names=list(range(layout.width)),
            # Only the columns that are used: logger files may have dozens.
            usecols=places,
            # Blank lines count, else every line number named after them would be off.
            skip_blank_lines=False,
            skipinitialspace=b'"' in raw,  # a third slower, and numbers do not need it
            encoding="utf-8" if _is_utf8(raw) else "latin-1",
            chunksize=_CHUNK_ROWS,
        ) as chunks:
            for frame in chunks:
                if progress is not None:
                    progress(min(source.tell() / len(raw), 1.0))
                yield frame
    except (pd.errors.ParserError, pd.errors.EmptyDataError) as fault:
        row = re.search(r"row (\d+)", str(fault))
        line = layout.first_row_line + (int(row[1]) if row else 0)
        raise BadData(
            f"the rows from line {line} on cannot be told apart (a quotation mark without its partner?)",
            f"look at line {line}, or export the file once more",
        ) from fault


def _offset(raw: bytes, line: int) -> int:
    """Where a line begins, counting from 1."""
    place = 0
    for _ in range(line - 1):
        place = raw.index(b"\n", place) + 1
    return place


def _is_utf8(raw: bytes) -> bool:
    if raw.isascii():
        return True
    try:
        raw.decode("utf-8")
    except UnicodeDecodeError:
        return False
    return True


def _check_widths(raw: bytes, layout: Layout, rows: int) -> None:
    """Refuse a line with more cells than the others: two rows run together, or two tables side by side."""
    begin = _offset(raw, layout.first_row_line)
    separator = layout.separator.encode()
    # One count of all separators clears a sound file at once; only a file at fault is searched line by line.
    if b'"' in raw or raw.count(separator, begin) == rows * (layout.width - 1):
        return
    body = raw[begin:]
    characters = np.frombuffer(body, dtype=np.uint8)
    breaks = np.append(np.flatnonzero(characters == ord("\n")), len(body))
    marks = np.flatnonzero(characters == separator[0])
    counts = np.diff(np.searchsorted(marks, breaks), prepend=0)
    usual = int(np.median(counts))
    wide = np.flatnonzero(counts > max(usual, layout.width - 1))
    if len(wide):
        line = layout.first_row_line + int(wide[0])
        raise BadData(
            f"line {line} has {int(counts[wide[0]]) + 1} cells where the others have {usual + 1}: "
            "two rows run together?",
            f"look at line {line} and mend or remove it",
        )


def _numbers(parts: list[pd.Series[Any]], quantity: str, layout: Layout, table: Table) -> Floats:
    column = layout.columns[quantity]
    # Columns that pandas reads as numbers need no text work, which takes many times longer.
    if all(part.dtype.kind in "fiu" for part in parts):
        return _joined([part.to_numpy(dtype=np.float64) for part in parts]) * column.factor + column.shift
    import pandas as pd

    texts = pd.concat([part.astype("string") for part in parts], ignore_index=True).str.strip()
    # A second header turns its column to text, so it is looked for only here.
    _check_no_second_header(texts, table, layout)
    if layout.decimal == ",":
        texts = texts.str.replace(",", ".", regex=False)
    if quantity == "time":
        values, table.stamps = seconds(texts, column.factor)
    else:
        numbers = pd.to_numeric(texts, errors="coerce").to_numpy(dtype=np.float64, na_value=np.nan)
        values = numbers * column.factor + column.shift
    # An empty cell may be meant; text that gives no number is named to the person.
    told = texts.notna().to_numpy(dtype=bool) & ~np.isfinite(values)
    table.odd += [(int(table.line[row]), str(texts.iloc[row])) for row in np.flatnonzero(told)]
    return values


def _joined(parts: list[Floats]) -> Floats:
    return parts[0] if len(parts) == 1 else np.concatenate(parts)


def _check_no_second_header(texts: pd.Series[str], table: Table, layout: Layout) -> None:
    """The header's own words again, further down, begin another recording."""
    headers = {cell.casefold() for cell in layout.header if cell} - {""}
    again = texts.str.casefold().isin(headers & {c.header.casefold() for c in layout.columns.values()})
    rows = np.flatnonzero(again.fillna(False).to_numpy(dtype=bool))
    if len(rows):
        line = int(table.line[rows[0]])
        raise BadData(
            f"line {line} is a second header: there are two recordings in one file",
            f"split the file before line {line} and add each to its own cell",
        )


def _step_numbers(parts: list[pd.Series[Any]]) -> Floats:
    """The instrument's steps as numbers; words get numbers in order of appearance, blanks stay NaN."""
    import pandas as pd

    column = parts[0] if len(parts) == 1 else pd.concat(parts, ignore_index=True)
    if column.dtype.kind in "fiu":
        return column.to_numpy(dtype=np.float64)
    codes = pd.factorize(column.astype("string").str.strip())[0].astype(np.float64)
    # factorize marks missing as -1, which would pass for a step of its own.
    codes[codes < 0] = np.nan
    return codes


def _check_one_cell(parts: list[pd.Series[Any]], lines: Ints, header: str) -> None:
    import pandas as pd

    column = pd.concat(parts, ignore_index=True).dropna()
    others = column[column != column.iloc[0]] if len(column) else column
    if len(others):
        line = int(lines[others.index[0]])
        raise BadData(
            f"line {line}: column '{header}' changes from {column.iloc[0]} to {others.iloc[0]}: two cells in one file",
            "split the file by that column and add each part to its own cell",
        )


def seconds(column: pd.Series[str], factor: float) -> tuple[Floats, Stamps]:
    """Seconds of a column of text, NaN where a text is not a time, and what kind of time they are.

    Numbers are taken times `factor`; `h:mm:ss` and dates as they are, a calendar's from 1970 on as if it were UTC.
    A clock that passes midnight goes on.
    """
    import pandas as pd

    # A sample decides the kind: one odd line must not turn numbers into clock times.
    sample = [str(text) for text in column.dropna().head(50)]
    if _most(sample, _CLOCK):
        return _unrolled(np.array([_clock(text) for text in column], dtype=np.float64)), Stamps.CLOCK
    if _most(sample, _DATE):
        # A four-digit year first is ISO order; with the year last, most of the world writes the day first.
        day_first = not re.match(r"^\s*\d{4}", sample[0])
        moments = pd.to_datetime(column, errors="coerce", utc=True, dayfirst=day_first, format="mixed")
        # Pandas may keep seconds or microseconds; a fixed unit makes the division by 1e9 right.
        nanoseconds = moments.astype("datetime64[ns, UTC]").to_numpy(dtype="datetime64[ns]")
        missing = np.isnat(nanoseconds)
        values = nanoseconds.astype(np.int64) / 1e9
        values[missing] = np.nan
        return values, _calendar(sample)
    numbers = pd.to_numeric(column, errors="coerce").to_numpy(dtype=np.float64, na_value=np.nan)
    return numbers * factor, Stamps.COUNTED


def _calendar(sample: list[str]) -> Stamps:
    """Local without a zone. `3/4/2026` is the third of April or the fourth of March: unclear while no figure tells."""
    # All of them: one row with a zone and others without would mix two clocks.
    if all(re.search(r"\d(Z|[+-]\d{2}:?\d{2})$", text.strip()) for text in sample):
        return Stamps.UTC
    parts = [re.match(r"\s*(\d{1,2})/(\d{1,2})/", text) for text in sample]
    told = [part for part in parts if part is not None]
    # A figure above 12 in either place settles the order for the whole file.
    if told and all(int(part[1]) <= 12 and int(part[2]) <= 12 for part in told):
        return Stamps.UNCLEAR
    return Stamps.LOCAL


def _most(sample: list[str], pattern: re.Pattern[str]) -> bool:
    return bool(sample) and sum(bool(pattern.match(text)) for text in sample) > len(sample) / 2


def _clock(text: object) -> float:
    if not isinstance(text, str) or not _CLOCK.match(text):
        return float("nan")
    days, _, rest = text.strip().rpartition("d") if "d" in text else text.strip().rpartition(" ")
    parts = [float(part) for part in rest.replace(",", ".").split(":")]
    parts += [0.0] * (3 - len(parts))
    return float(days or 0) * _DAY_S + parts[0] * 3600 + parts[1] * 60 + parts[2]


def _unrolled(clock_s: Floats) -> Floats:
    """A clock that falls by most of a day passed midnight; a smaller fall stays a fall."""
    # A wrap at midnight falls by nearly a day; a clock set back in summer falls by an hour and must stay visible.
    filled = clock_s[np.isfinite(clock_s)]
    falls = np.diff(filled, prepend=filled[:1]) < -0.5 * _DAY_S
    unrolled = clock_s.copy()
    unrolled[np.isfinite(clock_s)] = filled + _DAY_S * np.cumsum(falls)
    return unrolled
