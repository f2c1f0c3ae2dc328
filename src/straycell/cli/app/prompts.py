"""Questions to a person. Without a terminal nothing is asked: `--yes` confirms, else exit 2."""

from __future__ import annotations

import sys

from straycell.errors import UsageFault
from straycell.plain_text import one_line


def at_terminal() -> bool:
    """Whether there is somebody to ask."""
    return bool(sys.stdin is not None and sys.stdin.isatty() and sys.stderr.isatty())


def agrees(question: str) -> bool:
    """Whether the person at the terminal says yes."""
    # On stderr: the question is not part of the data.
    print(f"{one_line(question)} [y/N] ", end="", file=sys.stderr, flush=True)
    return sys.stdin.readline().strip().casefold() in ("y", "yes")


def confirm(yes: bool, question: str) -> None:
    """Return when the step is confirmed; raise UsageFault when it is not or nobody can be asked."""
    if yes:
        return
    # A script has nobody to answer: it must say --yes and not hang.
    if not at_terminal():
        raise UsageFault(f"this needs a yes: {question}", "add --yes")
    if not agrees(question):
        raise UsageFault("not confirmed: nothing was changed", "answer y, or add --yes")
