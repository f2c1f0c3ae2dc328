"""The outcomes as words of a list, best first."""

from __future__ import annotations

from enum import StrEnum

from straycell.acceptance.reasons import Outcome


class OutcomeWord(StrEnum):
    """What a cell may be used for, as a person writes it."""

    PACK = "pack"
    SOLO = "solo"
    LIGHT = "light"
    HOLD = "hold"
    DISCARD = "discard"


def parse_outcome(text: str) -> Outcome:
    """An outcome by its word."""
    from straycell.cli.app.values import parse_word

    return Outcome.from_word(parse_word(text, OutcomeWord, "--outcome").value)
