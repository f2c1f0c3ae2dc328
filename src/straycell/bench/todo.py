"""What to do next about a cell: the work in words, and the command line that records it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from straycell.acceptance.reasons import Missing
from straycell.typed import day


@dataclass(frozen=True, slots=True)
class Todo:
    """One piece of work. `command` is a whole command line with ... where figures go; `when` is empty for now."""

    words: str
    command: str
    when: str = ""

    @property
    def in_short(self) -> str:
        """`look at it`: for a list."""
        return f"{self.words}{self.when}"

    @property
    def on_page(self) -> str:
        """`look at it: straycell reading add ...`."""
        return f"{self.words}: {self.command}{self.when}"

    @property
    def in_brief(self) -> str:
        """`straycell reading add X --look ...`: the command up to its first option, for who read the whole today."""
        command, *options = self.command.split(" --")
        rest = "".join(f" --{options[0].split()[0]} ..." for _ in options[:1])
        return f"{command}{rest}{self.when}"

    @property
    def as_next(self) -> str:
        """`straycell reading add ... (look at it)`: what follows `next:`."""
        return f"{self.command} ({self.words}){self.when}"


def todos(code: str, missing: list[Missing], now: datetime) -> list[Todo]:
    """The work that is missing in the given order; what several rules ask for appears once."""
    found: dict[tuple[str, str], Todo] = {}
    for item in missing:
        when = ""
        if item.earliest is not None and item.earliest > now:
            when = f" (could decide from {day(item.earliest)} on)"
        command = item.todo.command(code)
        found.setdefault((command, item.todo.words), Todo(item.todo.words, command, when))
    return list(found.values())
