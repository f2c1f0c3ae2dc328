"""`straycell teardown`: what was opened, where it was found, and what came out of it."""

from __future__ import annotations

from datetime import date
from typing import TYPE_CHECKING, Annotated

import typer

from straycell.cli import clock, desk, output, shapes, values
from straycell.cli.cautions_talk import talk_cautions
from straycell.cli.verbs import noun_app
from straycell.safety import Step
from straycell.teardowns import Teardown, parse_teardown_code

if TYPE_CHECKING:
    from straycell.cells import Cell

app = noun_app("What was opened, where it was found, and what came out of it.")


@app.command("add")
def add(
    title: Annotated[str, values.text_argument("TITLE", "What it was, in a few words.")],
    kind: Annotated[str, values.text_option("--kind", "The kind of object, free text.", metavar="KIND")],
    found: Annotated[
        date | None,
        typer.Option(
            "--found",
            parser=lambda text: values.parse_day(text, clock.now()),
            metavar="DATE",
            help="The day it was found.",
        ),
    ] = None,
    place: Annotated[str | None, values.text_option("--place", "Where it was found.")] = None,
    note: Annotated[str | None, values.text_option("--note", "Its state, anything odd.")] = None,
    objects: Annotated[
        int | None, values.whole("--objects", "How many alike objects were opened.", low=1, high=1000)
    ] = None,
) -> None:
    """Record an object that was opened."""
    with desk.writing(create=True) as writer:
        made = writer.add_teardown(
            title, kind, found_on=found, place=place or "", note=note or "", objects=objects or 1
        )
    output.emit(shapes.teardown_json(made), lambda: output.say(f"{made.code}  {made.title}"))
    output.hint(f"next: straycell cell add --teardown {made.code} --pack 1 --count N ...")
    talk_cautions(Step.TEARDOWN)


@app.command("list")
def list_all() -> None:
    """List the tear-downs."""
    with desk.reading() as reader:
        found = list(reader.teardowns())
    rows = [[t.code, t.title, t.kind, output.day(t.found_on), t.place] for t in found]
    output.emit(
        [shapes.teardown_json(t) for t in found],
        lambda: output.table(
            ["code", "title", "kind", "found", "place"],
            rows,
            flexible="place",
            empty="no tear-down recorded yet",
        ),
    )


@app.command("show")
def show(code: Annotated[str, values.text_argument("CODE", "The tear-down, like AT3.")]) -> None:
    """Show one tear-down and the cells that came out of it."""
    wanted = parse_teardown_code(code)
    with desk.reading() as reader:
        found = reader.teardown(wanted)
        cells = [cell for cell in reader.cells() if cell.teardown == found.code]
    document = shapes.teardown_json(found) | {"cells": [shapes.cell_json(cell) for cell in cells]}
    output.emit(document, lambda: _page(found, cells))


def _page(found: Teardown, cells: list[Cell]) -> None:
    output.say(f"{found.code}  {found.title}")
    output.facts(
        [
            ("kind", found.kind),
            ("found", f"{output.day(found.found_on)} {found.place}".strip(" -")),
            ("objects", str(found.objects) if found.objects > 1 else None),
            ("note", found.note),
        ],
        indent="  ",
    )
    output.section(f"Cells ({len(cells)})")
    rows = [
        [c.code, c.pack, c.facts.form.value, c.facts.chemistry.value, c.stage.value, c.facts.marking]
        for c in cells
    ]
    output.table(
        ["code", "pack", "form", "chem.", "stage", "marking"],
        rows,
        flexible="marking",
        empty="none recorded yet",
    )
