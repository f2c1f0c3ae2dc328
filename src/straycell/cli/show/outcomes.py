"""The outcomes on a screen: a word, a sign that is seen without colours, and a colour."""

from typing import Annotated

from straycell.acceptance import Outcome
from straycell.bench.verdict_words import SIGNS, OutcomeWord
from straycell.cli.app import output
from straycell.cli.app.grammar.values import word
from straycell.cli.app.tables import Marked

OutcomeOption = Annotated[
    Outcome | None,
    word("--outcome", OutcomeWord, "Only cells with this outcome.", meaning=Outcome.from_word),
]


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
