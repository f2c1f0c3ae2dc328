"""What to do next about a cell: the work in words, and the command line that records it."""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from datetime import datetime

from straycell.acceptance.reasons import Missing
from straycell.typed import day


@dataclass(frozen=True, slots=True)
class Todo:
    """One piece of work. `command` is a whole command line with ... where figures go; `when` is empty for now."""

    words: str
    command: str
    when: str = ""
    spelled: bool = False
    note: str = ""

    @property
    def on_page(self) -> str:
        """`look at it: straycell reading add ...`; the command only where the rule itself spells it out."""
        if not self.spelled:
            return f"{self.words}{self.when}"
        note = f" ({self.note})" if self.note else ""
        return f"{self.words}: {self.command}{note}{self.when}"

    @property
    def as_next(self) -> str:
        """`straycell reading add ... (look at it)`: what follows `next:`."""
        note = f"; {self.note}" if self.note else ""
        return f"{self.command} ({self.words}{note}){self.when}"


_SPELLED = re.compile(
    r"^(?P<words>.+): (?P<command>(?:reading|charge|cell) \w+ CODE .*?)(?: \((?P<note>.*)\))?$"
)
_INLINE = re.compile(r"(?<!straycell )\b((?:reading|charge|cell) (?:add|correct) CODE)")
_CHARGES = re.compile(r"\b(charge it|full charge(?! *$)|test charge)\b")
_CHARGE = "straycell charge add CODE --current ... --until ... --temperature ... --peak-temperature ..."
_OPTIONS = (
    ("look", "--look clean"),
    ("rest voltage", "--voltage ... --rested ..."),
    ("tabs", "--voltage ... --rested ... --where tabs"),
    ("resistance", "--resistance ... --resistance-method ..."),
    ("capacity", "--capacity ... --discharge-current ... --cutoff ..."),
)


def todos(code: str, missing: list[Missing], now: datetime) -> list[Todo]:
    """The work that is missing in the given order; what several rules ask for stands once."""
    return [_todo(code, item, now) for item in _merged(missing)]


def _merged(missing: list[Missing]) -> list[Missing]:
    """A charge asked for twice is one charge, in the words that ask for the most."""
    kept: dict[str, Missing] = {}
    for item in missing:
        key = "charge" if item.todo.startswith("charge it full, attended") else item.todo
        first = kept.setdefault(key, item)
        if item.todo.count("--") > first.todo.count("--"):
            kept[key] = replace(first, todo=item.todo)
    return list(kept.values())


def _todo(code: str, missing: Missing, now: datetime) -> Todo:
    when = ""
    if missing.earliest is not None and missing.earliest > now:
        when = f" (could decide from {day(missing.earliest)} on)"
    spelled = _SPELLED.match(missing.todo)
    if spelled is None:
        words = _INLINE.sub(r"straycell \1", missing.todo).replace("CODE", code)
        return Todo(words, _command(missing.todo).replace("CODE", code), when)
    words, command = spelled["words"].removesuffix(", then"), f"straycell {spelled['command']}"
    return Todo(words, command.replace("CODE", code), when, spelled=True, note=spelled["note"] or "")


def _command(todo: str) -> str:
    """The command that records work told in words only."""
    if todo.startswith("note the size"):
        return "straycell cell correct CODE --marking ... --because ..."
    if _CHARGES.search(todo):
        return _CHARGE
    options = " ".join(option for word, option in _OPTIONS if word in todo)
    return f"straycell reading add CODE {options or '--voltage ... --rested ...'}"
