"""`straycell import`: cells and readings from a CSV file, all of it or nothing."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from straycell.cli.app import context, output
from straycell.cli.app.progress import counting
from straycell.cli.app.verbs import noun_app
from straycell.cli.show.cautions_talk import talk_cautions
from straycell.errors import BadData, UsageFault
from straycell.safety import Step

if TYPE_CHECKING:
    from straycell.store.exchange.table import Fault, Imported

app = noun_app("Cells and readings from a CSV file, all of it or nothing.")
SHOWN = 20
FileArgument = Annotated[
    Path | None, typer.Argument(metavar="FILE.csv", help="Commas, semicolons or tabs.", show_default=False)
]
PartialOption = Annotated[
    bool, typer.Option("--partial", help="Take the lines that are right, leave the rest.")
]
TemplateOption = Annotated[bool, typer.Option("--template", help="Print a file to fill in.")]


@app.command("cells")
def cells(
    file: FileArgument = None, partial: PartialOption = False, template: TemplateOption = False
) -> None:
    """Log a cell for each line; a line without a code gets the next one."""
    from straycell.store.exchange.cells import TEMPLATE

    if template:
        _print(TEMPLATE)
        return
    path = _named(file)
    with context.writing(create=True) as writer, counting("lines") as told:
        found = writer.import_cells(path, partial=partial, told=told)
    _tell(found, path, "cells", partial)
    if found.taken:
        talk_cautions(Step.INTAKE)


@app.command("readings")
def readings(
    file: FileArgument = None, partial: PartialOption = False, template: TemplateOption = False
) -> None:
    """Record what stands on each line: one figure of a cell, or several."""
    from straycell.store.exchange.readings import TEMPLATE

    if template:
        _print(TEMPLATE)
        return
    path = _named(file)
    with context.writing() as writer, counting("lines") as told:
        found = writer.import_readings(path, partial=partial, told=told)
    _tell(found, path, "readings", partial)


def _print(template: str) -> None:
    output.emit({"template": template}, lambda: output.say(template.rstrip("\n")))


def _named(file: Path | None) -> Path:
    if file is None:
        raise UsageFault("no file is named", "write FILE.csv; --template prints one to fill in")
    return file


def _tell(found: Imported, file: Path, what: str, partial: bool) -> None:
    """What was taken and every fault. Raises BadData when nothing was, or not all of it without --partial."""
    faults = sorted(found.refused, key=lambda fault: (fault.line, fault.column))
    document = {
        "taken": found.taken,
        "left_out": found.left_out,
        "refused": [
            {"line": f.line, "column": f.column or None, "fault": f.said, "remedy": f.remedy} for f in faults
        ],
    }
    output.emit(document, lambda: _page(found, file, what, faults))
    if faults and not found.taken:
        lines = len({fault.line for fault in faults})
        raise BadData(
            f"{file}: nothing taken, {len(faults)} fault{'s' if len(faults) > 1 else ''} on {lines} "
            f"line{'s' if lines > 1 else ''}",
            "correct them all" + ("" if partial else ", or take the others with --partial"),
        )


def _page(found: Imported, file: Path, what: str, faults: Sequence[Fault]) -> None:
    output.say(f"{file}: {found.taken or 'none'} of its lines taken as {what}")
    output.bullets(f"line {fault.line}: {fault.said}: {fault.remedy}" for fault in faults[:SHOWN])
    if len(faults) > SHOWN:
        output.say(f"    and {len(faults) - SHOWN} more faults: --json lists them all")
    if found.left_out:
        output.say(
            f"{found.left_out} superseded readings left out: their history goes with a backup or a merge"
        )
