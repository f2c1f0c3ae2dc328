"""The cautions for the step at hand, on stderr: in full when the danger is new today, after that in few words.

A wall of text that comes with every command is not read, and then neither is the one line that matters.
"""

from __future__ import annotations

from collections.abc import Iterable

from straycell.cells import CellFacts
from straycell.cli.app import options, output, read_today
from straycell.safety import Step, added_by, spoken_cautions

BESIDE_ANSWER = 32
"""How many words of caution may stand beside the answer of a write before advice and the deferral wait."""


def talk_cautions(*steps: Step, kinds: Iterable[CellFacts] = (), room: int | None = None) -> None:
    """Say the cautions of these steps, and those that the kinds of cell at hand add; `room` as in spoken_cautions."""
    wanted = [*steps, *added_by(kinds)]
    known, quiet = read_today.read_in_full(), options.current().quiet
    texts, told = spoken_cautions(wanted, known, quiet=quiet, room=room)
    for text in texts:
        output.talk(f"caution: {text}")
    read_today.remember(told)
