"""One cell on one page: what it is, what it may do, why, what comes next; many as a table of figures."""

from collections.abc import Sequence
from pathlib import Path

from straycell.acceptance import usable_until
from straycell.bench import verdict_words
from straycell.bench.cell_list import Listed
from straycell.bench.cell_sheet import CellSheet
from straycell.bench.wording.sheet_words import figures, identity, kind_words, reading_row
from straycell.cells import Stage
from straycell.cli.app import output, tables, values
from straycell.cli.show import picture, verdict_page
from straycell.quantities import Measured


def sheet(page: CellSheet) -> None:
    """Print the page for a person."""
    cell = page.cell
    output.say(f"{cell.code}  {kind_words(cell.facts)}")
    withdrawn = cell.stage is Stage.WITHDRAWN
    # Of a cell that never was no verdict says anything.
    if withdrawn:
        output.say_wrapped(
            f"WITHDRAWN: recorded by mistake. If it is there: straycell cell withdraw {cell.code} "
            "--back --because TEXT"
        )
    else:
        verdict_page.say_headline(page.verdict)
    output.section("What it is")
    kept = [("photograph", str(each.file)) for each in page.photographs]
    output.facts([*identity(cell), *kept], indent="  ")
    if withdrawn:
        return
    output.section("Measured")
    output.facts(figures(page), indent="  ")
    # Five reasons fill the screen; the rest would push the next step, which is what is looked for, off it.
    output.listed("Why", verdict_words.why(page.verdict, at_most=5))
    gone = ["nothing here: it has left the house with a hand-over"] if cell.stage is Stage.HANDED_OVER else []
    steps = gone or verdict_words.next_steps(page.verdict, page.now)
    output.listed("Next", steps or ["nothing: it is ready for a project"])
    output.section("Readings")
    tables.table(
        ["id", "what", "value", "at", "how"],
        [reading_row(recorded, page.defaults, page.doubted) for recorded in page.recorded],
        flexible="how",
        empty="none recorded yet",
    )


COLUMNS: tables.Columns[Listed] = {
    "code": lambda each: each.cell.code,
    "outcome": lambda each: verdict_page.outcome_cell(each.outcome),
    "mAh": lambda each: _number(each.capacity, 1e3),
    "mohm": lambda each: _number(each.resistance, 1e3),
    "%/month": lambda each: f"{each.loss_pct_month[0]:.1f}" if each.loss_pct_month else None,
    "until": lambda each: output.day(usable_until(each.outcome, each.valid_until)),
    "box": lambda each: each.cell.box,
    "form": lambda each: each.cell.facts.form,
    "chem.": lambda each: each.cell.facts.chemistry,
    "stage": lambda each: each.cell.stage,
    "teardown": lambda each: each.cell.teardown,
    "maker": lambda each: each.cell.facts.maker,
    "marking": lambda each: each.cell.facts.marking,
    "note": lambda each: each.note,
}
# Figures first, then what may be done until when; nine columns fit the 80 of a plain terminal.
_USUAL = ("code", "outcome", "mAh", "mohm", "%/month", "until", "form", "chem.", "box")
_FIGURES = ("mAh", "mohm", "%/month")


def chosen_columns(text: str | None) -> Sequence[str]:
    """The columns a person named, the code always first. Raises UsageFault."""
    if text is None:
        return _USUAL
    known = {name.casefold(): name for name in COLUMNS}
    names = [word.strip() for word in text.split(",") if word.strip()]
    for name in names:
        if name.casefold() not in known:
            raise values.nearest_word_fault("--columns", name, list(COLUMNS))
    # A row without its code could not be acted on.
    return list(dict.fromkeys(["code", *(known[name.casefold()] for name in names)]))


def show(listed: Sequence[Listed], names: Sequence[str]) -> None:
    """The table; the last column gives way."""
    # The person put it last, so it matters least.
    tables.grid(
        listed,
        {name: COLUMNS[name] for name in names},
        flexible=names[-1],
        right=_FIGURES,
        empty="no cell fits; to log cells: straycell intake",
    )


def draw(listed: Sequence[Listed], path: Path, *, force: bool) -> None:
    """The cells as a picture. Raises BadData for another suffix than .png or .svg."""
    from straycell.bench.paper.prints import scatter_of

    # A cell without both figures has no place in the picture; how many they are is written on it.
    picture.write(scatter_of(listed), path, force)
    output.hint(f"drawn in {path}")


def _number(figure: Measured | None, per_unit: float) -> str | None:
    return None if figure is None else f"{figure.value * per_unit:.0f}"
