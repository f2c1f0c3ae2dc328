"""Questions to a person. Without a terminal nothing is asked: `--yes` confirms, else exit 2."""

import sys

from straycell.errors import BadData, UsageFault
from straycell.plain_text import one_line
from straycell.quantities import Dimension, parse_quantity


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


def quantity(question: str, dimension: Dimension) -> float | None:
    """The answer in the base unit; None for Enter alone. Asked again until it can be taken; UsageFault when it ends."""
    while True:
        print(f"{one_line(question)} ", end="", file=sys.stderr, flush=True)
        line = sys.stdin.readline()
        if not line:
            raise UsageFault("not answered: nothing was changed", "answer, or add --yes")
        if not line.strip():
            return None
        try:
            return parse_quantity(line.strip(), dimension)
        except BadData as fault:
            print("\n  ".join(one_line(line) for line in fault.lines()), file=sys.stderr)
