"""The stock as a list of figures: what each cell holds, resists and loses, and what it may do until when."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING

from straycell.acceptance import RuleSet, figures
from straycell.acceptance.reasons import Outcome, Verdict
from straycell.cells import Cell, Chemistry, Form, Stage
from straycell.quantities import Measured

if TYPE_CHECKING:
    from straycell.store.reader import Reader


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


def cell_list(reader: Reader, rules: RuleSet, now: datetime, wanted: Wanted) -> list[Listed]:
    """The wanted cells by code, with the figures that count at `now`. Raises BadData: no such box or tear-down."""
    # A mistyped name would look like an empty box.
    if wanted.box is not None:
        reader.box(wanted.box)
    source = None if wanted.teardown is None else reader.teardown(wanted.teardown).code
    cells = [
        cell
        for cell in reader.cells(
            stage=wanted.stage, chemistry=wanted.chemistry, form=wanted.form, box=wanted.box
        )
        if source in (None, cell.teardown)
    ]
    notes = reader.notes()
    if wanted.search is not None:
        told = {t.code: f"{t.title} {t.kind} {t.place} {t.note}" for t in reader.teardowns()}
        cells = [
            cell
            for cell in cells
            if _mentions(cell, wanted.search, told.get(cell.teardown or "", ""), notes.get(cell.code, ""))
        ]
    codes = [cell.code for cell in cells]
    if wanted.outcome is not None:
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
                _loss(verdict),
                notes.get(cell.code, ""),
            )
        )
    least_ah = wanted.min_capacity_ah
    return [
        each
        for each in listed
        if least_ah is None or (each.capacity is not None and each.capacity.value >= least_ah)
    ]


def _mentions(cell: Cell, text: str, *told: str) -> bool:
    facts = cell.facts
    words = [facts.marking, facts.maker, facts.date_code, cell.box or "", *told]
    return text.casefold() in " ".join(words).casefold()


def _loss(verdict: Verdict) -> tuple[float, float | None] | None:
    """The self-discharge that the verdict counted: value and U, in % a month."""
    told = (r for r in verdict.reasons if r.rule.startswith("self-discharge"))
    return next(
        ((r.observed, r.expanded_uncertainty) for r in told if isinstance(r.observed, float | int)), None
    )
