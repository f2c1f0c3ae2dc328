"""One cell on one page: what it is, what it may do, why, and what comes next."""

from __future__ import annotations

from straycell.bench import verdict_words
from straycell.bench.cell_sheet import CellSheet
from straycell.bench.wording.sheet_words import figures, identity, reading_row
from straycell.cells import Stage
from straycell.cli.app import output, tables
from straycell.cli.show import verdict_page


def show(page: CellSheet) -> None:
    """Print the page for a person."""
    cell = page.cell
    output.say(f"{cell.code}  {cell.facts.form} {cell.facts.chemistry}  {cell.facts.marking}".rstrip())
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
    reasons = verdict_words.why(page.verdict, at_most=5)
    if reasons:
        output.section("Why")
        output.bullets(reasons)
    output.section("Next")
    output.bullets(verdict_words.next_steps(page.verdict, page.now) or ["nothing: it is ready for a project"])
    output.section("Readings")
    rows = [reading_row(recorded, page.defaults, page.doubted) for recorded in page.recorded]
    tables.table(["id", "what", "value", "at", "how"], rows, flexible="how", empty="none recorded yet")
