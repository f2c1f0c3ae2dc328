"""The outcomes on a screen: a word, a sign that is seen without colours, and a colour."""

from __future__ import annotations

from enum import StrEnum
from typing import Annotated

from straycell.acceptance.reasons import Outcome
from straycell.bench.verdict_words import SIGNS
from straycell.cli.app import output
from straycell.cli.app.grammar.values import parse_word, text_option
from straycell.cli.app.tables import Marked


class OutcomeWord(StrEnum):
    """What a cell may be used for, as a person writes it."""

    PACK = "pack"
    SOLO = "solo"
    LIGHT = "light"
    HOLD = "hold"
    DISCARD = "discard"


OutcomeOption = Annotated[
    str | None,
    text_option("--outcome", "Only cells with this outcome: pack solo light hold discard.", metavar="WORD"),
]


def parse_outcome(text: str) -> Outcome:
    """An outcome by its word."""
    return Outcome.from_word(parse_word(text, OutcomeWord, "--outcome").value)


# Blue to yellow to red keeps apart for all common kinds of colour blindness (Okabe and Ito, Color Universal Design).
_PLAIN = {
    Outcome.PACK: ("###", "bold cyan"),
    Outcome.SOLO: ("##-", "cyan"),
    Outcome.LIGHT: ("#--", "blue"),
    Outcome.HOLD: ("...", "yellow"),
    Outcome.DISCARD: ("XXX", "bold red"),
}


def sign(outcome: Outcome) -> str:
    """Three characters; plain ones where the stream cannot show the others."""
    drawn, (plain, _) = SIGNS[outcome], _PLAIN[outcome]
    return drawn if output.can_show(drawn) else plain


def outcome_cell(outcome: Outcome) -> Marked:
    """`▮▮▮ pack` for a table."""
    return Marked(f"{sign(outcome)} {outcome.word}", _PLAIN[outcome][1])
