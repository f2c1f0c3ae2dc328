"""`straycell discard`: a cell leaves use for good."""

from __future__ import annotations

from typing import Annotated

import typer

from straycell.acceptance.evidence import Condemnation
from straycell.cells import Stage
from straycell.cli.app import clock, context, output, values
from straycell.cli.app.verbs import lone_app
from straycell.cli.show.cautions_talk import parting, talk_cautions
from straycell.safety.handover.condition import NOT_LOOKED_OVER, condition_of

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
    rules, now = context.rules(), clock.now()
    with context.writing(tell_lost=False) as writer:
        found = writer.find_code(code)
        earlier = writer.evidence(found).condemned
        lost_by = writer.discard(found, because) if earlier is None else None
        build = None if lost_by is None else writer.live_build(lost_by)
    with context.reading() as reader:
        cell, verdict = reader.cell(found), reader.verdict(found, rules, now)
        condition = condition_of(reader.evidence(found), verdict)[1]
    inside = lost_by if build is not None else None
    document = {
        "code": cell.code,
        "stage": cell.stage,
        "outcome": "discard",
        "because": because if earlier is None else earlier.because,
        "discarded_at": now if earlier is None else earlier.at,
        "discarded_before": earlier is not None,
        "freed_project": None if inside else lost_by,
        "in_build": inside,
    }
    output.emit(document, lambda: output.say(f"{cell.code}  {_word(because, earlier)}"))
    if earlier is not None:
        output.talk("nothing was written: a discard is final, and its first reason stands")
    if inside is not None:
        output.talk(f"it sits in '{inside}': stop using that; straycell build dismantle '{inside}'")
    elif lost_by is not None:
        output.talk(
            f"project '{lost_by}' has lost this cell and waits for another: straycell match '{lost_by}'"
        )
    if cell.stage is not Stage.HANDED_OVER:
        talk_cautions(*parting(verdict), kinds=[cell.facts])
        _next(found, not_looked_over=NOT_LOOKED_OVER in condition)


def _word(because: str, earlier: Condemnation | None) -> str:
    if earlier is None:
        return f"discarded: {because}"
    return f"was discarded on {output.day(earlier.at)} already: {earlier.because}"


def _next(code: str, *, not_looked_over: bool) -> None:
    """Where it goes, and the look that its list asks for: without one it travels as damaged."""
    output.hint(
        f"next: straycell cell move {code} BOX (a box for condemned cells), then: straycell handover add PLACE"
    )
    if not_looked_over:
        output.hint(
            f"look it over once more, or its list calls it damaged: straycell reading add {code} --look ..."
        )
