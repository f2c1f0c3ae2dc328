"""`straycell cautions`: what to mind at each step, with where the words come from."""

from typing import Annotated

from straycell.acceptance.grounds import grounds_words
from straycell.cli.app import output, values, verbs
from straycell.safety import Caution, Step, all_cautions, cautions_for

app = verbs.lone_app()


@app.command()
def show(
    step: Annotated[Step | None, values.word("--step", Step, "Only those of one step.")] = None,
    sources: Annotated[bool, values.flag("--sources", "Also show the source of each.")] = False,
) -> None:
    """Show the cautions, all or those of one step."""
    # In the file's order: the standing one last, where a person stops reading.
    chosen = list(all_cautions()) if step is None else cautions_for(step)
    output.emit(
        [
            {
                "id": caution.id,
                "kind": caution.kind,
                "text": caution.text,
                "short": caution.short,
                "steps": list(caution.steps),
                "standing": caution.standing,
                "source": caution.source,
                "grounds": list(caution.grounds),
            }
            for caution in chosen
        ],
        lambda: _page(chosen, sources),
    )


def _page(chosen: list[Caution], sources: bool) -> None:
    for caution in chosen:
        output.say_wrapped(f"{caution.kind.value}: {caution.text}")
        if sources:
            rests_on = grounds_words(caution.grounds)
            output.say_wrapped(f"source: {caution.source} (rests on: {rests_on})", "  ")
