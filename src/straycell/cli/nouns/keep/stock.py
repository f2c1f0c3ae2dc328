"""`straycell stock`: per box its cells, their energy, the oldest check, and what needs attention."""

from dataclasses import asdict
from pathlib import Path
from typing import Annotated

from straycell.bench.paper.inventory import boxes_now
from straycell.bench.wording.shapes import stock_json
from straycell.cli.app import cautions, context, output, tables, values, verbs
from straycell.cli.show import picture
from straycell.safety import Step
from straycell.safety.stock import BoxStock

app = verbs.lone_app()


@app.command()
def stock(
    chart: Annotated[bool, values.flag("--chart", "Draw every cell, capacity over resistance.")] = False,
    out: picture.Out = None,
    force: picture.Force = False,
) -> None:
    """Show what lies where. It changes nothing."""
    if chart or out is not None:
        _draw(out, force)
        return

    found = boxes_now(context.bench())
    output.emit(
        [stock_json(box) for box in found],
        lambda: _page(found),
        then="what to do about it: straycell due" if any(box.attention for box in found) else "",
    )
    cautions.talk(Step.STORING)


def _draw(out: Path | None, force: bool) -> None:
    from straycell.bench.paper.prints import stock_scatter

    found = stock_scatter(context.bench())
    points = [asdict(p) | {"outcome": p.outcome.word} for p in found.points]
    picture.draw(found, out, force, {"points": points, "unmeasured": found.unmeasured})


def _page(found: list[BoxStock]) -> None:
    columns: tables.Columns[BoxStock] = {
        "box": lambda b: b.name or "(no box)",
        "cells": lambda b: b.cells,
        "energy": lambda b: f"{'~' if b.energy.estimated else ''}{b.energy.value:.1f} Wh",
        "limit": lambda b: b.limit_wh and f"{b.limit_wh:g} Wh" + (" !" if b.over_limit else ""),
        "oldest check": lambda b: "never" if b.never_checked else output.day(b.oldest_check),
        "due": lambda b: sum(count for _, count in b.attention) or None,
        "kind": lambda b: b.kind,
    }
    figures = ("cells", "energy", "limit", "due")
    tables.grid(found, columns, flexible="kind", empty="no box and no cell recorded yet", right=figures)
    # Only boxes with work are spelled out: the table holds the calm ones.
    for box in found:
        if not (box.attention or box.over_limit):
            continue
        output.section(box.name or "(no box)")
        over = ["it holds more than its limit: take cells out"] if box.over_limit else []
        output.bullets([*over, *(f"{title}: {count}" for title, count in box.attention)])
    if any(box.energy.estimated for box in found):
        output.say("", "~ estimated in part: cells without a rated or measured capacity")
