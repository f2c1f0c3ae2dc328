"""`straycell teardown`: what was opened, where it was found, and what came out of it."""

from dataclasses import asdict
from datetime import date
from typing import Annotated, Any

from straycell.bench.paper.charts import yield_chart, yields_of
from straycell.bench.wording import shapes
from straycell.cells import Cell
from straycell.cli.app import cautions, context, output, tables, values, verbs
from straycell.cli.show import picture
from straycell.errors import UsageFault
from straycell.quantities import Window
from straycell.readings import Field
from straycell.safety import Step
from straycell.store.book.records import Event
from straycell.teardowns import Teardown, parse_teardown_code

app = verbs.noun_app("What was opened, where it was found, and what came out of it.")


CodeArgument = Annotated[str, values.text_argument("CODE", "The tear-down, like AT3.")]
SAID = (
    Field("found_on", date, "found", "The day it was found.", flag="--found"),
    Field(
        "opened_on",
        date,
        "opened",
        "The day its packs were opened (default: the day it is recorded).",
        flag="--opened",
    ),
    Field("place", str, "place", "Where it was found."),
    Field("note", str, "note", "Its state, anything odd."),
    Field(
        "objects", int, "objects", "How many alike objects were opened (default 1).", typed=Window(1, 1000)
    ),
)
"""What can be said of an object beside what it was."""


@app.command("add")
@values.takes(SAID)
def add(
    title: Annotated[str, values.text_argument("TITLE", "What it was, in a few words.")],
    kind: Annotated[str, values.text_option("--kind", "The kind of object, free text.", metavar="KIND")],
    **said: Any,
) -> None:
    """Record an object that was opened."""
    with context.writing(create=True) as writer:
        made = writer.add_teardown(title, kind, **said)
    output.emit(
        shapes.teardown_json(made),
        lambda: output.say(f"{made.code}  {made.title}"),
        then=f"next: straycell cell add --teardown {made.code} --pack 1 --count N ...",
    )
    cautions.talk(Step.TEARDOWN)


@app.command("correct")
@values.takes(
    [
        Field("title", str, "title", "What it was, in a few words."),
        Field("kind", str, "kind", "The kind of object.", example="KIND"),
        *SAID,
    ]
)
def correct(code: CodeArgument, because: values.BecauseOption, **said: Any) -> None:
    """Correct the record of a tear-down; the former entry stays visible."""
    # An empty word empties the entry.
    if not said:
        raise UsageFault("nothing to correct was given", "add what is right, like --title 'cordless drill'")
    with context.writing() as writer:
        made = writer.correct_teardown(parse_teardown_code(code), said, because)
    output.emit(shapes.teardown_json(made), lambda: output.say(f"{made.code}  {made.title}"))


@app.command("withdraw")
def withdraw(
    code: CodeArgument,
    because: values.BecauseOption,
    back: Annotated[bool, values.flag("--back", "There was such an object after all: undo it.")] = False,
) -> None:
    """Take back a tear-down that was recorded by mistake and has no cells; the history keeps it."""
    wanted = parse_teardown_code(code)
    with context.writing() as writer:
        writer.withdraw_teardown(wanted, because, back=back)
        found = writer.teardown(wanted)
    state = "back" if back else "withdrawn"
    output.emit(
        shapes.teardown_json(found) | {"withdrawn": not back}, lambda: output.say(f"{found.code}  {state}")
    )


@app.command("list")
def list_all() -> None:
    """List the tear-downs."""
    with context.bench().reading() as reader:
        found = list(reader.teardowns())
    tables.listing(
        found,
        shapes.teardown_json,
        {
            "code": lambda t: t.code,
            "title": lambda t: t.title,
            "kind": lambda t: t.kind,
            "found": lambda t: output.day(t.found_on),
            "place": lambda t: t.place,
        },
        flexible="place",
        empty="no tear-down recorded yet",
    )


@app.command("show")
def show(code: CodeArgument) -> None:
    """Show one tear-down and the cells that came out of it."""
    wanted = parse_teardown_code(code)
    with context.bench().reading() as reader:
        found = reader.teardown(wanted)
        cells = [cell for cell in reader.cells() if cell.teardown == found.code]
        corrections = reader.teardown_corrections(found.code)
        withdrawn = found.code in reader.withdrawn_teardowns()
    output.emit(
        shapes.teardown_json(found)
        | {
            "withdrawn": withdrawn,
            "cells": [shapes.cell_json(cell) for cell in cells],
            "corrections": [
                {"at": e.at, "from": e.detail["from"], "to": e.detail["to"], "because": e.because}
                for e in corrections
            ],
        },
        lambda: _page(found, cells, corrections, withdrawn=withdrawn),
    )


def _page(found: Teardown, cells: list[Cell], corrections: list[Event], *, withdrawn: bool) -> None:
    output.say(f"{found.code}  {found.title}")
    if withdrawn:
        output.say("WITHDRAWN: recorded by mistake, no cell came out of it")
    output.facts(
        [
            ("kind", found.kind),
            ("found", f"{output.day(found.found_on)} {found.place}".strip(" -")),
            # How long its cells have lain open counts from here, not from the find.
            ("opened", output.day(found.opened_on or found.added_at)),
            ("objects", str(found.objects) if found.objects > 1 else None),
            ("note", found.note),
        ],
        indent="  ",
    )
    output.listed(
        "Corrected",
        (f"{output.day(event.at)} {_changes(event)}; because {event.because}" for event in corrections),
    )
    output.section(f"Cells ({len(cells)})")
    tables.grid(
        cells,
        {
            "code": lambda c: c.code,
            "pack": lambda c: c.pack,
            "form": lambda c: c.facts.form,
            "chem.": lambda c: c.facts.chemistry,
            "stage": lambda c: c.stage,
            "marking": lambda c: c.facts.marking,
        },
        flexible="marking",
        empty="none recorded yet",
    )


def _changes(event: Event) -> str:
    """`title from 'lmap' to 'lamp', objects from 1 to 2`."""
    before, after = event.detail["from"], event.detail["to"]
    return ", ".join(f"{_NAMES.get(n, n)} from {_shown(before[n])} to {_shown(after[n])}" for n in after)


_NAMES = {"found_on": "found", "opened_on": "opened"}


def _shown(value: object) -> str:
    return f"'{value}'" if isinstance(value, str) and value else str(value or "nothing")


@app.command("plot")
def plot(out: picture.Out = None, force: picture.Force = False) -> None:
    """Draw what each kind of gear gave: usable cells and Wh, an object opened and an hour at the bench."""
    found = yields_of(context.bench())
    picture.draw(yield_chart(found), out, force, [asdict(each) for each in found])
