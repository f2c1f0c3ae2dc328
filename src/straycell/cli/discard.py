"""`straycell discard`: a cell leaves use for good."""

from __future__ import annotations

from typing import Annotated

import typer

from straycell.cli import clock, desk, output, values
from straycell.cli.cautions_talk import parting, talk_cautions
from straycell.cli.verbs import lone_app

app = lone_app()


@app.command()
def discard(
    code: Annotated[str, values.text_argument("CODE", "The cell.")],
    because: Annotated[str, values.text_option("--because", "Why; it stays in the history.")],
    yes: Annotated[
        bool, typer.Option("--yes", help="Taken for scripts; the reason is confirmation enough.")
    ] = False,
) -> None:
    """Take a cell out of use for good. No later reading brings it back."""
    del yes  # nothing is asked here, at a terminal or not
    with desk.writing() as writer:
        found = writer.find_code(code)
        lost_by = writer.discard(found, because)
        cell = writer.cell(found)
    with desk.reading() as reader:
        verdict = reader.verdict(found, desk.rules(), clock.now())
    document = {
        "code": cell.code,
        "stage": cell.stage,
        "outcome": "discard",
        "because": because,
        "freed_project": lost_by,
    }
    output.emit(document, lambda: output.say(f"{cell.code}  discarded: {because}"))
    if lost_by is not None:
        output.talk(
            f"project '{lost_by}' has lost this cell and waits for another: straycell match '{lost_by}'"
        )
    talk_cautions(*parting(verdict), kinds=[cell.facts], full=True)
