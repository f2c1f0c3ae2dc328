"""The cells of the store with their figures of today, and the orders they are listed in."""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from enum import StrEnum
from typing import Any

from straycell.acceptance import Outcome, RuleSet, Verdict, figures, usable_until
from straycell.bench.context import Reader
from straycell.cells import Cell, Chemistry, Form, Stage
from straycell.quantities import Measured


@dataclass(frozen=True, slots=True)
class Wanted:
    """Which cells a list is about; None asks for all. `search` is looked for in every word about a cell."""

    outcome: Outcome | None = None
    stage: Stage | None = None
    chemistry: Chemistry | None = None
    form: Form | None = None
    box: str | None = None
    teardown: str | None = None
    search: str | None = None
    min_capacity_ah: float | None = None


@dataclass(frozen=True, slots=True)
class Listed:
    """One line: capacity in Ah, resistance in ohm, self-discharge in % a month, each None where none counts today."""

    cell: Cell
    outcome: Outcome
    valid_until: datetime | None
    capacity: Measured | None
    resistance: Measured | None
    loss_pct_month: tuple[float, float | None] | None
    note: str = ""


def cells_at(reader: Reader, box: str | None, teardown: str | None, **kind: Any) -> list[Cell]:
    """The cells of a box, out of a tear-down, or both; all without either. Raises BadData: no such box or tear-down.

    `kind`: the stage, chemistry or form they must have.
    """
    # A mistyped name would look like an empty box.
    if box is not None:
        reader.box(box)
    source = None if teardown is None else reader.teardown(teardown).code
    return [cell for cell in reader.cells(box=box, **kind) if source in (None, cell.teardown)]


def cell_list(reader: Reader, rules: RuleSet, now: datetime, wanted: Wanted) -> list[Listed]:
    """The wanted cells by code, with the figures that count at `now`. Raises BadData: no such box or tear-down."""
    kind = {"stage": wanted.stage, "chemistry": wanted.chemistry, "form": wanted.form}
    cells = cells_at(reader, wanted.box, wanted.teardown, **kind)
    notes = reader.notes()
    if wanted.search is not None:
        of_teardown = {t.code: f"{t.title} {t.kind} {t.place} {t.note}" for t in reader.teardowns()}
        cells = [
            cell
            for cell in cells
            if _mentions(
                cell, wanted.search, of_teardown.get(cell.teardown or "", ""), notes.get(cell.code, "")
            )
        ]
    codes = [cell.code for cell in cells]
    if wanted.outcome is not None:
        # Outcomes alone first: a list of one outcome need not read the reasons and the evidence of all cells.
        outcomes = reader.outcomes(rules, now, codes)
        cells = [cell for cell in cells if outcomes[cell.code] is wanted.outcome]
        codes = [cell.code for cell in cells]
    verdicts, evidences = reader.verdicts(rules, now, codes), reader.evidences(codes)
    listed = []
    for cell in cells:
        known, verdict = figures(evidences[cell.code], rules, now), verdicts[cell.code]
        listed.append(
            Listed(
                cell,
                verdict.outcome,
                verdict.valid_until,
                known.capacity,
                known.resistance,
                verdict.monthly_loss,
                notes.get(cell.code, ""),
            )
        )
    least_ah = wanted.min_capacity_ah
    return [
        each
        for each in listed
        if least_ah is None or (each.capacity is not None and each.capacity.value >= least_ah)
    ]


def _mentions(cell: Cell, text: str, *notes: str) -> bool:
    facts = cell.facts
    words = [facts.marking, facts.maker, facts.date_code, cell.box or "", *notes]
    # A person remembers a piece of the print, and not how it was capitalised.
    return text.casefold() in " ".join(words).casefold()


# --- the orders of `cell list` and `verdict list`; equal ones go by code -----------------------------


CellOrder = StrEnum(
    "CellOrder", "CODE FORM CHEMISTRY STAGE OUTCOME BOX MARKING CAPACITY RESISTANCE LOSS UNTIL"
)
"""What cells are sorted by."""


VerdictOrder = StrEnum("VerdictOrder", "CODE OUTCOME UNTIL")
"""What verdicts are sorted by."""


# Sorted last: a cell that may do nothing runs out on no day.
_NEVER = datetime.max.replace(tzinfo=UTC)
_FORMS, _CHEMISTRIES, _STAGES = (list(words) for words in (Form, Chemistry, Stage))


_CELL_KEYS: dict[CellOrder, Callable[[Listed], tuple[object, ...]]] = {
    CellOrder.CODE: lambda each: (),
    CellOrder.FORM: lambda each: (_FORMS.index(each.cell.facts.form),),
    CellOrder.CHEMISTRY: lambda each: (_CHEMISTRIES.index(each.cell.facts.chemistry),),
    CellOrder.STAGE: lambda each: (_STAGES.index(each.cell.stage),),
    CellOrder.OUTCOME: lambda each: (-each.outcome,),
    # Cells in no box come last: they are looked for on the bench, not on a shelf.
    CellOrder.BOX: lambda each: (each.cell.box is None, each.cell.box or ""),
    CellOrder.MARKING: lambda each: (not each.cell.facts.marking, each.cell.facts.marking.casefold()),
    CellOrder.CAPACITY: lambda each: (-each.capacity.value if each.capacity else 0.0,),
    CellOrder.RESISTANCE: lambda each: (each.resistance.value if each.resistance else math.inf,),
    CellOrder.LOSS: lambda each: (each.loss_pct_month[0] if each.loss_pct_month else math.inf,),
    CellOrder.UNTIL: lambda each: (usable_until(each.outcome, each.valid_until) or _NEVER,),
}
_VERDICT_KEYS: dict[VerdictOrder, Callable[[Verdict], tuple[object, ...]]] = {
    VerdictOrder.CODE: lambda each: (),
    VerdictOrder.OUTCOME: lambda each: (-each.outcome,),
    VerdictOrder.UNTIL: lambda each: (usable_until(each.outcome, each.valid_until) or _NEVER,),
}


def sort_cells(cells: Sequence[Listed], by: CellOrder) -> list[Listed]:
    """Words in the order of their lists; the best outcome, most capacity, least resistance first; unknown last."""
    return sorted(cells, key=lambda each: (*_CELL_KEYS[by](each), each.cell.code))


def sort_verdicts(verdicts: Sequence[Verdict], by: VerdictOrder) -> list[Verdict]:
    """The best outcome first; what runs out soonest first, and what allows no use last."""
    return sorted(verdicts, key=lambda each: (*_VERDICT_KEYS[by](each), each.code))
