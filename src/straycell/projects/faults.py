"""Every fault of a project file, collected in one pass: line, key, offending text, what to write instead."""

import difflib
import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from typing import Any

from straycell.errors import BadData
from straycell.plain_text import one_line
from straycell.quantities import ANY_WINDOW, Dimension, Window, parse_quantity

LONGEST_QUOTE = 60
"""Characters of an offending text that a message repeats."""


MOST_FAULTS = 100
"""More are not looked for: a file that has so many is another kind of file."""


@dataclass(frozen=True, slots=True)
class Fault:
    """One thing wrong in a file. `line` is None where the file gives none (a key that is missing)."""

    key: str
    text: str
    remedy: str
    line: int | None = None

    def __str__(self) -> str:
        place = f"line {self.line}, " if self.line else ""
        return f"{place}{self.text} (do: {self.remedy})"

    @property
    def brief(self) -> str:
        """Where and what, without what to write instead."""
        return f"{f'line {self.line}, ' if self.line else ''}{self.text}"


_ROOM = 68
"""Characters of a message's line that a screen of 80 shows beside its lead."""


class ProjectFaults(BadData):
    """A project file with faults; all of them are in `faults`, in the order of the file's keys.

    The message has three lines: of two faults everything, of more the first ones and the places of the others.
    """

    def __init__(self, source: str, faults: Iterable[Fault]) -> None:
        self.faults = tuple(faults)
        self.source = source
        count = len(self.faults)
        if count == 1:
            only = self.faults[0]
            # A line number sends the person there; the key alone may be in two tables.
            place = f" line {only.line}" if only.line else ""
            super().__init__(f"{source}{place}: {only.text}", only.remedy)
            return
        # Three lines of a message are what a person reads; beyond, places help more than words.
        if count == 2:
            first, second = self.faults
            super().__init__(
                f"{source} has 2 faults: {first}",
                "put both right, then add the file again",
                besides=str(second),
            )
            return
        lead = f"{source} has {count}{' or more' if count == MOST_FAULTS else ''} faults: "
        above, below, left = _two_lines([fault.brief for fault in self.faults], len(lead))
        super().__init__(lead + above, _others(self.faults[count - left :]), besides=below)


def _others(faults: Sequence[Fault]) -> str:
    """The places of the faults that found no room, as many as a line holds."""
    if not faults:
        return "put them right, then add the file again"
    shown: list[str] = []
    for fault in faults:
        place = fault.key + (f" (line {fault.line})" if fault.line else "")
        if len(", ".join([*shown, place])) > _ROOM - len("also:  and 99 more"):
            break
        shown.append(place)
    more = f"{len(faults) - len(shown)} more" if len(shown) < len(faults) else ""
    return f"also: {' and '.join(part for part in (', '.join(shown), more) if part)}"


def _two_lines(texts: list[str], lead: int) -> tuple[str, str, int]:
    """(as many texts as fit a line that begins with `lead` characters, a second line, how many are left over).

    The first text of a line is said whole, however long.
    """
    lines, left = ["", ""], list(texts)
    for number, room in enumerate((_ROOM - lead, _ROOM)):
        while left and (not lines[number] or len(lines[number]) + 2 + len(left[0]) <= room):
            lines[number] += ("; " if lines[number] else "") + left.pop(0)
    return lines[0], lines[1], len(left)


def quoted(value: object) -> str:
    """The offending value as a person wrote it, cut to a readable length."""
    # Shown as TOML writes it: a person looks for `true` in the file, not for `True`.
    shown = "true" if value is True else "false" if value is False else str(value)
    shown = one_line(" ".join(shown[: 2 * LONGEST_QUOTE].split()))
    return f"'{shown[:LONGEST_QUOTE]}...'" if len(shown) > LONGEST_QUOTE else f"'{shown}'"


def nearest(word: str, choices: Iterable[str]) -> str | None:
    """The choice a slip of the finger away from `word`, if there is one."""
    # Cut first: comparing a megabyte with every key would take minutes.
    near = difflib.get_close_matches(word[:LONGEST_QUOTE].lower(), list(choices), n=1, cutoff=0.6)
    return near[0] if near else None


def find_line(lines: Sequence[str], section: str, key: str) -> int | None:
    """The line on which `key` of `section` is set, or the table it belongs to; None when not found."""
    # tomllib tells no line of a key, so the text is searched for it.
    current = ""
    for number, line in enumerate(lines, 1):
        head = re.match(r"\s*\[\s*([^\[\]]+?)\s*\]\s*(?:#.*)?$", line)
        if head:
            current = head[1]
            if current == (section or key) and not (section and key):
                return number
        elif key and current == section and re.match(rf"\s*[\"']?{re.escape(key)}[\"']?\s*=", line):
            return number
    parent, _, table = section.rpartition(".")
    return find_line(lines, parent, table) if parent else None


@dataclass(slots=True)
class Sheet:
    """The text under reading and the faults found in it so far."""

    lines: Sequence[str]
    faults: list[Fault] = field(default_factory=list)

    @property
    def full(self) -> bool:
        """True once no further fault is kept."""
        return len(self.faults) >= MOST_FAULTS

    def add(self, section: str, key: str, what: str, remedy: str) -> None:
        """Record one fault of `key` in `section` (empty: the top of the file)."""
        # A hostile file would fill the memory with faults.
        if self.full:
            return
        path = one_line(".".join(part for part in (section, key[:LONGEST_QUOTE]) if part))
        self.faults.append(Fault(path, f"{path}: {what}", remedy, find_line(self.lines, section, key)))

    def in_order(self) -> list[Fault]:
        """The faults from the top of the file down, those without a line last."""
        return sorted(self.faults, key=lambda fault: (fault.line is None, fault.line or 0))


class Section:
    """One table of the file: takes its keys one by one, and calls what is left over unknown."""

    def __init__(self, sheet: Sheet, name: str, table: Mapping[str, object]) -> None:
        self.sheet = sheet
        self.name = name
        self._table = table
        self._known: list[str] = []

    def __contains__(self, key: str) -> bool:
        return key in self._table

    def fault(self, key: str, what: str, remedy: str) -> None:
        self.sheet.add(self.name, key, what, remedy)

    def raw(self, key: str) -> object | None:
        """The value as TOML gives it; the key counts as known from here on."""
        self._known.append(key)
        return self._table.get(key)

    def checked(self, key: str, fits: Callable[[Any], bool], what: str, remedy: str) -> Any:
        """The value where it fits, None when it is absent; one that does not fit `what` says is at fault, and None."""
        value = self.raw(key)
        if value is None or fits(value):
            return value
        self.fault(key, f"{quoted(value)} {what}", remedy)
        return None

    def missing(self, key: str, remedy: str) -> None:
        if key not in self._table:
            self.fault(key, "is missing", remedy)

    def quantity(
        self,
        key: str,
        dimension: Dimension,
        example: str,
        *,
        window: Window | None = None,
        above_zero: bool = True,
    ) -> float | None:
        """A quoted number with its unit, in the base unit; None when absent or at fault."""
        # A bare 0.5 may be amperes or milliamperes: a unit is never guessed.
        remedy = f'write it in quotes with its unit, like "{example}"'
        value = self.checked(key, lambda v: isinstance(v, str), "has no unit", remedy)
        if value is None:
            return None
        if len(value) > LONGEST_QUOTE:
            self.fault(key, f"{quoted(value)} is not a number with a unit", f'write it like "{example}"')
            return None
        try:
            number = parse_quantity(value, dimension, window=window or ANY_WINDOW, name=self.path(key))
        except BadData as fault:
            self.fault(key, fault.fact, fault.remedy)
            return None
        if above_zero and number <= 0:
            self.fault(key, f"{quoted(value)} is not above zero", f'write it like "{example}"')
            return None
        return number

    def path(self, key: str) -> str:
        return f"{self.name}.{key}" if self.name else key

    def whole(self, key: str, low: int, high: int) -> int | None:
        """A whole number from low to high; None when absent or at fault."""
        # In Python True is an int, and `parallel = true` would be one cell: hence the type itself.
        found: int | None = self.checked(
            key,
            lambda v: type(v) is int and low <= v <= high,
            f"is not a whole number from {low} to {high}",
            f"write {key} = {low}",
        )
        return found

    def flag(self, key: str) -> bool | None:
        """true or false; None when absent or at fault."""
        remedy = f"write {key} = true, without quotes"
        found: bool | None = self.checked(
            key, lambda v: isinstance(v, bool), "is neither true nor false", remedy
        )
        return found

    def share(self, key: str) -> float | None:
        """A share above 0 and at most 1: a bare number or a quoted percentage."""
        value, remedy = self._table.get(key), f"write 85 % as {key} = 0.85"
        if isinstance(value, str) and len(value) <= LONGEST_QUOTE:
            return self._percentage(key, value)
        found = self.checked(
            key, lambda v: type(v) in (int, float) and 0 < v <= 1, "is not a share from 0 to 1", remedy
        )
        return None if found is None else float(found)

    def _percentage(self, key: str, value: str) -> float | None:
        number = self.quantity(key, Dimension.FRACTION, "85%")
        if number is not None and number > 1:
            self.fault(key, f"{quoted(value)} is more than 100 %", f"write 85 % as {key} = 0.85")
            return None
        return number

    def day(self, key: str) -> date | None:
        """A calendar day; None when absent or at fault."""
        remedy = f"write it without quotes, like {key} = 2027-03-01"
        # A time of day is a date to Python too.
        found: date | None = self.checked(key, lambda v: type(v) is date, "is not a day", remedy)
        return found

    def words(self, key: str, choices: Mapping[str, str]) -> tuple[str, ...]:
        """A list of words out of `choices`; a choice with a text is known but refused for that reason."""
        allowed = [word for word, refusal in choices.items() if not refusal]
        remedy = f'write it like {key} = ["{allowed[0]}"]'
        value = self.checked(key, lambda v: isinstance(v, list) and v != [], "is not a list of words", remedy)
        return tuple(
            dict.fromkeys(w for item in value or () if (w := self._word(key, item, choices, allowed)))
        )

    def _word(self, key: str, item: object, choices: Mapping[str, str], allowed: list[str]) -> str | None:
        if isinstance(item, str) and choices.get(item) == "":
            return item
        # A known word that is refused needs its reason, not a list of others.
        if isinstance(item, str) and item in choices:
            self.fault(key, f"{quoted(item)} {choices[item]}", f"choose from: {', '.join(allowed)}")
            return None
        near = nearest(str(item), allowed) if isinstance(item, str) else None
        hint = f'did you mean "{near}"? choose from: ' if near else "choose from: "
        self.fault(key, f"{quoted(item)} is not known", hint + ", ".join(allowed))
        return None

    def close(self) -> None:
        """Call every key that nobody asked for unknown."""
        # A mistyped key is a wish that would silently not be granted.
        for key in self._table:
            if key in self._known:
                continue
            # Each is compared with every known key: beyond what is kept that would be work for nothing.
            if self.sheet.full:
                return
            near = nearest(key, self._known)
            hint = f"did you mean '{near}'? " if near else ""
            self.fault(key, "is not a key of the project file", f"{hint}keys here: {', '.join(self._known)}")
