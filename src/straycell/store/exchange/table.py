"""A list of cells or readings: its header understood, its lines with named fields, every fault with its place."""

import re
from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from difflib import get_close_matches
from pathlib import Path

from straycell.errors import BadData, UsageFault
from straycell.plain_text import is_plain, one_line, require_plain
from straycell.store.exchange.rows import RowFault, rows, separator_of

MOST_FAULTS = 1000
"""More are counted, not kept: a hostile list would fill the memory with them."""
_SHOWN = 60
_UNIT = r"(\s*[^\d\s.,].{0,12})?"
_COMMA_NUMBER = re.compile(rf"[+-]?(\d+,(\d{{1,2}}|\d{{4,}})|0,\d+){_UNIT}")
_POINT_NUMBER = re.compile(rf"[+-]?\d+\.\d+{_UNIT}")
_SAMPLE = 200
"""Lines that tell whether a comma is the list's decimal mark."""


@dataclass(frozen=True, slots=True)
class Fault:
    """Why a line cannot be taken: where, what is there, what was expected, and what to do."""

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
    """What became of a file: lines taken, those refused with the reason, those left out by their nature.

    `more` faults were found and not kept; `ignored` are the file's columns that nothing was asked of.
    """

    taken: int
    refused: tuple[Fault, ...] = ()
    left_out: int = 0
    more: int = 0
    ignored: tuple[str, ...] = ()


@dataclass(slots=True)
class Faults:
    """The faults of a file, the first of them kept, the others counted."""

    kept: list[Fault] = field(default_factory=list)
    more: int = 0

    def __bool__(self) -> bool:
        return bool(self.kept)

    def note(self, faults: Sequence[Fault]) -> None:
        """Keep these as long as there is room."""
        room = max(MOST_FAULTS - len(self.kept), 0)
        self.kept += faults[:room]
        self.more += len(faults[room:])


@dataclass(frozen=True, slots=True)
class Line:
    """One row: the line it began on, and what is in each named column. `decimal` is the list's mark."""

    number: int
    fields: Mapping[str, str]
    decimal: str = "."

    def fault(self, column: str, fault: BadData) -> Fault:
        """A fault of this line in the words of the error."""
        return Fault(self.number, fault.what, fault.remedy, column)


Progress = Callable[[int, int], None]
"""Hears (how many lines so far, 0: how many there are is not known before the end)."""


class Table:
    """A file with its header read. With a fault of the header there are no lines; they can be read again.

    `known` are the names a column may have, of each set in `needed` one must be there, `numbers` hold figures.
    `mapping` names the file's own: {column: header or place}. `columns` are the names used, in the file's order,
    empty for one that is left out.
    """

    def __init__(
        self,
        file: Path,
        known: Collection[str],
        needed: Sequence[Collection[str]],
        numbers: Collection[str],
        mapping: Mapping[str, str] | None = None,
    ) -> None:
        self.file, self.columns, self.faults = file, tuple[str, ...](), Faults()
        self.ignored: tuple[str, ...] = ()
        # The file's name is recorded in an event and shown on screens for years.
        require_plain("the name of the file", file.name)
        self._separator, self._decimal = separator_of(file), "."
        try:
            first = next(rows(file, self._separator), None)
        except RowFault as fault:
            self.faults.note([Fault(fault.line, fault.what, fault.remedy)])
            return
        if first is None:
            self.faults.note(
                [Fault(1, "the file is empty", "its first line names the columns: see --template")]
            )
            return
        self._header_line = first[0]
        self._header(first[1], known, needed, mapping or {})
        if not self.faults and self._separator != ",":
            self._decimal = self._find_decimal(numbers)

    def lines(self, *, noting: bool = True, patient: bool = True) -> Iterator[Line]:
        """Its lines that can be read as such; the faults of the others are noted, unless they were before.

        Without patience the reading ends when more faults are found than are reported.
        """
        if not self.columns or self.faults:
            return
        count, noted = 0, self.faults if noting else Faults()
        try:
            for number, values in rows(self.file, self._separator):
                if number == self._header_line:
                    continue
                count += 1
                # A hostile list of faults would be read to its end for nothing.
                if noted.more and not patient:
                    raise RowFault(number, "the file was not read further", "correct these first")
                fault = self._fault(number, values)
                if fault is not None:
                    noted.note([fault])
                    continue
                named = zip(self.columns, values, strict=True)
                yield Line(number, {name: value for name, value in named if name}, self._decimal)
        except RowFault as fault:
            noted.kept.append(Fault(fault.line, fault.what, fault.remedy))
            return
        if not count:
            noted.note([Fault(1, "there is no line under the header", "write one line for each")])

    def imported(self, taken: int, left_out: int = 0) -> Imported:
        """What became of the file."""
        return Imported(taken, tuple(self.faults.kept), left_out, self.faults.more, self.ignored)

    def _header(
        self,
        names: Sequence[str],
        known: Collection[str],
        needed: Sequence[Collection[str]],
        mapping: Mapping[str, str],
    ) -> None:
        columns = [tidy_name(name) for name in names]
        for column, wanted in mapping.items():
            place = _place_of(wanted, names, self._header_line)
            columns = [other if other != column else "" for other in columns]
            columns[place] = column
        ignored = []
        for place, name in enumerate(columns):
            shown = (
                f"'{one_line(names[place][:_SHOWN])}'"
                if names[place]
                else f"number {place + 1} without a name"
            )
            if name in known:
                if name in columns[:place]:
                    self.faults.note([Fault(1, f"column '{name}' is there twice", "leave one of them out")])
            # Somebody's own list may have columns that mean nothing here; an unknown one in ours is a typing
            # mistake.
            elif mapping:
                columns[place] = ""
                ignored.append(one_line(names[place][:_SHOWN]) or str(place + 1))
            else:
                self.faults.note([Fault(1, f"unknown column {shown}", _hint(name, names[place], known))])
        for choice in needed:
            if not set(choice) & set(columns):
                some = " or ".join(list(choice)[:3])
                self.faults.note(
                    [Fault(1, f"a column is missing: {some}", "see --template, or name yours with --columns")]
                )
        self.columns, self.ignored = tuple(columns), tuple(ignored)

    def _fault(self, number: int, values: Sequence[str]) -> Fault | None:
        count, expected = len(values), len(self.columns)
        if count != expected:
            hint = "leave fields empty, not out"
            # The usual cause: a decimal comma in a list separated by commas.
            if count > expected:
                hint = "a decimal comma splits a field: write a point, or separate with semicolons"
            return Fault(number, f"{count} fields where the header has {expected} columns", hint)
        bad = [name for name, value in zip(self.columns, values, strict=True) if not is_plain(value)]
        return Fault(number, "control characters in the text", "write plain text", bad[0]) if bad else None

    def _find_decimal(self, numbers: Collection[str]) -> str:
        """A comma where numbers have it and none has a point: `2,600` alone may be a thousand, and says nothing."""
        # Decided for the whole list: one column read by two rules would mix 2,6 and 2600.
        comma = point = False
        places = [place for place, name in enumerate(self.columns) if name in numbers]
        try:
            for count, (_, values) in enumerate(rows(self.file, self._separator)):
                found = [values[place] for place in places if place < len(values)]
                comma = comma or any(map(_COMMA_NUMBER.fullmatch, found))
                point = point or any(map(_POINT_NUMBER.fullmatch, found))
                if count == _SAMPLE:
                    break
        except RowFault:
            return "."  # found again, and noted, when the lines are read
        return "," if comma and not point else "."


_UNIT_BEHIND = re.compile(r" in [^ ]+$| *[(\[][^ ]+[)\]]$")


def tidy_name(name: str) -> str:
    """A column's name as it is known: lower case, words joined by `_`."""
    return "_".join(name.replace("-", " ").split()).casefold()


def _place_of(wanted: str, names: Sequence[str], line: int) -> int:
    plain = [name.casefold() for name in names]
    # `Cap in mAh` is also what the header itself may say: then its words before the unit are the name.
    for choice in (plain, [_UNIT_BEHIND.sub("", name) for name in plain]):
        if wanted.casefold() in choice:
            return choice.index(wanted.casefold())
    if wanted.isascii() and wanted.isdigit() and 1 <= int(wanted[:9]) <= len(names):
        return int(wanted) - 1
    shown = one_line(", ".join(names)[:200])
    raise BadData(f"line {line} has no column '{wanted}'", f"its columns are: {shown}")


def _hint(name: str, header: str, known: Collection[str]) -> str:
    """What an unknown column may be meant as: the nearest name, or those that end with a unit in its header."""
    near = get_close_matches(name[:_SHOWN], list(known), 1)
    if near:
        return f"nearest: {near[0]}"
    units = {unit.casefold() for unit in _WORD.findall(header[:_SHOWN])}
    fits = [each for each in known if each.rpartition("_")[2] in units]
    if not fits:
        return "see --template, or name yours with --columns"
    return " or ".join(f'--columns "{each}={one_line(header)[:_SHOWN]}"' for each in fits[:2])


_WORD = re.compile(r"[A-Za-z]+")


def parse_mapping(text: str, known: Collection[str], stems: Collection[str]) -> dict[str, str]:
    """`code=Nr, rated_capacity=Cap in mAh` as {column: header or place}, the unit put into the column's name.

    Raises UsageFault for a part without `=`, an unknown column or a unit that it does not take.
    """
    mapping: dict[str, str] = {}
    for part in text.split(","):
        key, equals, value = part.partition("=")
        column, header = tidy_name(key), value.strip()
        if not equals or not header:
            raise UsageFault(
                f"--columns part '{part.strip()[:_SHOWN]}' has no '='",
                'write "code=Nr, rated_capacity=Cap in mAh" (header words or places)',
            )
        # The unit is in the header of most private lists, and a number without one is never guessed.
        before, word, unit = header.rpartition(" in ")
        if word and column in stems:
            column, header = f"{column}_{unit.strip().casefold()}", before.strip()
        if column not in known:
            near = get_close_matches(column[:_SHOWN], list(known), 1)
            raise UsageFault(
                f"--columns does not know '{column[:_SHOWN]}'",
                f"nearest: {near[0]}" if near else "see --template for the names",
            )
        mapping[column] = header
    return mapping
