"""`straycell discard`: a cell leaves use for good."""

from typing import Annotated

from straycell.acceptance import Condemnation
from straycell.bench.recording import record
from straycell.bench.recording.discard import discard_cell
from straycell.bench.verdict_words import parting
from straycell.cells import Stage
from straycell.cli.app import cautions, context, output, values, verbs

app = verbs.lone_app()


@app.command()
def discard(
    code: values.CellArgument,
    because: values.BecauseOption,
    yes: Annotated[
        bool, values.flag("--yes", "Accepted for scripts, without effect: the reason confirms.")
    ] = False,
) -> None:
    """Take a cell out of use for good. No later reading brings it back."""
    del yes  # nothing is asked here, at a terminal or not
    done = discard_cell(context.bench(), code, because)
    cell, earlier, project = done.after.cell, done.earlier, done.project
    output.emit(
        {
            "code": cell.code,
            "stage": cell.stage,
            "outcome": "discard",
            "because": done.because,
            "discarded_at": done.at,
            "discarded_before": earlier is not None,
            "freed_project": None if done.in_build else project,
            "in_build": project if done.in_build else None,
        },
        lambda: output.say(f"{cell.code}  {_word(because, earlier)}"),
    )
    if earlier is not None:
        output.talk("nothing was written: a discard is final, and its first reason holds")
    if project is not None:
        output.talk(*record.lost_words({project: (cell.code, done.in_build)}))
    if cell.stage is not Stage.HANDED_OVER:
        # Without a look its hand-over list calls it damaged, so that comes before the box.
        look = f"straycell reading add {cell.code} --look ..."
        output.hint(f"next: {f'straycell cell move {cell.code} BOX' if done.looked_over else look}")
        cautions.talk(*parting(done.after.verdict), kinds=[cell.facts], room=cautions.BESIDE_ANSWER)


def _word(because: str, earlier: Condemnation | None) -> str:
    if earlier is None:
        return f"discarded: {because}"
    return f"was discarded on {output.day(earlier.at)} already: {earlier.because}"
