"""`straycell box`: where cells lie (`straycell cell move` puts one into another)."""

from typing import Annotated

from straycell.bench.paper.charts import boxes_chart_of
from straycell.cli.app import cautions, context, output, tables, values, verbs
from straycell.cli.show import picture
from straycell.safety import Step

app = verbs.noun_app("Where cells lie.")
DEFAULT_KIND = "shelf"


@app.command("add")
def add(
    name: Annotated[str, values.text_argument("NAME", "Name written on the box.")],
    kind: Annotated[
        str | None,
        values.text_option("--kind", f"What it is, free text (default {DEFAULT_KIND}).", metavar="KIND"),
    ] = None,
    limit_wh: Annotated[float | None, values.limit_wh_option()] = None,
) -> None:
    """Record a box, a shelf, a can."""
    with context.writing(create=True) as writer:
        writer.add_box(name, kind or DEFAULT_KIND, limit_wh)
        made = writer.box(name)
    output.emit(made._asdict(), lambda: output.say(f"{made.name}  {made.kind}"))
    cautions.talk(Step.STORING)


@app.command("list")
def list_all() -> None:
    """List the boxes and how many cells lie in each."""
    with context.bench().reading() as reader:
        boxes = list(reader.boxes())
        cells = list(reader.cells())
    # Of the same snapshot as the boxes, or a cell moved meanwhile would be counted twice.
    counts = {box.name: sum(cell.box == box.name for cell in cells) for box in boxes}
    tables.listing(
        boxes,
        lambda b: b._asdict() | {"cells": counts[b.name]},
        {
            "name": lambda b: b.name,
            "kind": lambda b: b.kind,
            "limit": lambda b: None if b.limit_wh is None else f"{b.limit_wh:g} Wh",
            "cells": lambda b: counts[b.name],
        },
        flexible="name",
        right=("limit", "cells"),
        empty="no box recorded yet",
    )


@app.command("plot")
def plot(out: picture.Out = None, force: picture.Force = False) -> None:
    """Draw the energy in each box against its limit."""
    picture.draw(boxes_chart_of(context.bench()), out, force)
    cautions.talk(Step.STORING)
