"""`straycell import`: cells and readings from a CSV file, all of it or nothing."""

import re
from collections.abc import Callable, Sequence
from pathlib import Path
from types import ModuleType
from typing import Annotated

from straycell.cli.app import cautions, context, output, progress, tables, values, verbs
from straycell.errors import BadData, UsageFault
from straycell.quantities import count_of
from straycell.safety import Step
from straycell.store.exchange.table import Fault, Imported, parse_mapping

app = verbs.noun_app("Cells and readings from a CSV file, all of it or nothing.")
SHOWN = 20
FileArgument = Annotated[Path | None, values.argument("FILE.csv", "Commas, semicolons or tabs.")]
PartialOption = Annotated[bool, values.flag("--partial", "Take the valid lines and leave out the others.")]
ColumnsOption = Annotated[
    str | None,
    values.text_option(
        "--columns",
        "Your names for the columns, by header or place; the others are left out.",
        metavar='"code=Nr, rated_capacity=Cap in mAh"',
    ),
]
TemplateOption = Annotated[bool, values.flag("--template", "Print a file to fill in.")]


@app.command("cells")
def cells(
    file: FileArgument = None,
    columns: ColumnsOption = None,
    partial: PartialOption = False,
    template: TemplateOption = False,
) -> None:
    """Log a cell for each line; a line without a code gets the next one.

    What a line does not state is filled from its marking. Lines that an earlier list brought are refused.
    """
    from straycell.store.exchange import cells as form

    if template:
        _print(form.TEMPLATE)
    elif _import(file, columns, partial, form, form.import_cells, create=True):
        output.hint("next: straycell label sheet --new --out FILE.pdf (each cell needs its code on it)")
        cautions.talk(Step.INTAKE)


@app.command("readings")
def readings(
    file: FileArgument = None,
    columns: ColumnsOption = None,
    partial: PartialOption = False,
    template: TemplateOption = False,
) -> None:
    """Record what is on each line: one figure of a cell, or several."""
    from straycell.store.exchange import readings as form

    if template:
        _print(form.TEMPLATE)
    else:
        _import(file, columns, partial, form, form.import_readings)


def _import(
    file: Path | None,
    columns: str | None,
    partial: bool,
    form: ModuleType,
    take: Callable[..., Imported],
    *,
    create: bool = False,
) -> int:
    """The lines of a file taken by one function of the store; returns how many. Raises UsageFault, BadData."""
    if file is None:
        raise UsageFault("no file is named", "write FILE.csv; --template prints one to fill in")
    # Own names are checked before the file is read: a typo there would be a fault on every line.
    mapping = parse_mapping(columns, form.COLUMNS, form.QUANTITY_STEMS) if columns else None
    with progress.counting("lines") as tell:
        found = context.write_long(
            lambda writer: writer.write(take, file, partial=partial, mapping=mapping, progress=tell),
            context.size_of(file),
            create=create,
        )
    _tell(found, file, form.__name__.rpartition(".")[2], partial)
    return found.taken


def _print(template: str) -> None:
    output.emit({"template": template}, lambda: output.say(template.rstrip("\n")))


def _tell(found: Imported, file: Path, what: str, partial: bool) -> None:
    """What was taken and every fault. Raises BadData when nothing was, or not all of it without --partial."""
    # By line, as the person goes through the file.
    faults = sorted(found.refused, key=lambda fault: (fault.line, fault.column))
    count = len(faults) + found.more
    document = {
        "taken": found.taken,
        "left_out": found.left_out,
        "columns_left_out": list(found.ignored),
        "refused": [
            {"line": f.line, "column": f.column or None, "fault": f.said, "remedy": f.remedy} for f in faults
        ],
        "more_refused": found.more,
    }
    # The document first: a script needs every fault, also of a file that is refused.
    output.emit(document, lambda: _page(found, file, what, faults))
    if faults and not found.taken:
        lines = len({fault.line for fault in faults})
        raise BadData(
            f"{file}: nothing taken, {count_of(count, 'fault')} on {lines} "
            f"line{'s' if lines > 1 else ''}{' and more' if found.more else ''}",
            "correct them all" + ("" if partial else ", or take the others with --partial"),
        )


def _page(found: Imported, file: Path, what: str, faults: Sequence[Fault]) -> None:
    output.say(f"{file}: {found.taken or 'none'} of its lines taken as {what}")
    kinds = alike(faults)
    output.bullets(
        f"{_lines([fault.line for fault in same])}: {same[0].said}: {same[0].remedy}"
        + (f" (the first of {len(same)})" if len(same) > 1 else "")
        for same in kinds[:SHOWN]
    )
    if len(kinds) > SHOWN:
        output.say(f"    and {len(kinds) - SHOWN} more kinds of faults: --json lists them")
    if found.more:
        output.say(f"    and {found.more} more faults further down")
    if found.ignored:
        output.say(f"columns left out: {', '.join(found.ignored)}")
    # Said, because a list that came out of an export looks complete.
    if found.left_out:
        output.say(
            f"{found.left_out} superseded readings left out: their history goes with a backup or a merge"
        )


_VALUES = re.compile(r"'[^']*'|\d+(?:[.,]\d+)*")
_RUNS = 6


def alike(faults: Sequence[Fault]) -> list[list[Fault]]:
    """Faults of the same kind together, in the order of their first lines: the same words but for the values."""
    # A thousand lines with one slip in the header are one fault to a person.
    kinds: dict[tuple[str, str, str], list[Fault]] = {}
    for fault in faults:
        kind = (fault.column, _VALUES.sub("#", fault.text), _VALUES.sub("#", fault.remedy))
        kinds.setdefault(kind, []).append(fault)
    return list(kinds.values())


def _lines(numbers: Sequence[int]) -> str:
    """`line 3`, `lines 3 to 5, 9`: as many as a line of a screen holds."""
    numbers = list(dict.fromkeys(numbers))
    runs = tables.runs(numbers, lambda before, number: number == before + 1)
    shown = [str(run[0]) if len(run) == 1 else f"{run[0]} to {run[-1]}" for run in runs]
    more = f" and {len(shown) - _RUNS} more" if len(shown) > _RUNS else ""
    return f"line{'s' if len(numbers) > 1 else ''} {', '.join(shown[:_RUNS])}{more}"
