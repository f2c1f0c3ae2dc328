"""The orders of `cell list` and `verdict list`; equal ones go by code."""

from __future__ import annotations

import math
from collections.abc import Sequence
from datetime import UTC, datetime
from enum import StrEnum

from straycell.acceptance.permission import usable_until
from straycell.acceptance.reasons import Verdict
from straycell.bench.cell_list import Listed
from straycell.cells import Chemistry, Form, Stage


class CellOrder(StrEnum):
    """What cells are sorted by."""

    CODE = "code"
    FORM = "form"
    CHEMISTRY = "chemistry"
    STAGE = "stage"
    OUTCOME = "outcome"
    BOX = "box"
    MARKING = "marking"
    CAPACITY = "capacity"
    RESISTANCE = "resistance"
    LOSS = "loss"
    UNTIL = "until"


class VerdictOrder(StrEnum):
    """What verdicts are sorted by."""

    CODE = "code"
    OUTCOME = "outcome"
    UNTIL = "until"


_NEVER = datetime.max.replace(tzinfo=UTC)
_FORMS, _CHEMISTRIES, _STAGES = (list(words) for words in (Form, Chemistry, Stage))


def sort_cells(cells: Sequence[Listed], by: CellOrder) -> list[Listed]:
    """Words in the order of their lists; the best outcome, most capacity, least resistance first; unknown last."""

    def key(each: Listed) -> tuple[object, ...]:
        cell, facts = each.cell, each.cell.facts
        keys: dict[CellOrder, tuple[object, ...]] = {
            CellOrder.CODE: (),
            CellOrder.FORM: (_FORMS.index(facts.form),),
            CellOrder.CHEMISTRY: (_CHEMISTRIES.index(facts.chemistry),),
            CellOrder.STAGE: (_STAGES.index(cell.stage),),
            CellOrder.OUTCOME: (-each.outcome,),
            CellOrder.BOX: (cell.box is None, cell.box or ""),
            CellOrder.MARKING: (not facts.marking, facts.marking.casefold()),
            CellOrder.CAPACITY: (-each.capacity.value if each.capacity else 0.0,),
            CellOrder.RESISTANCE: (each.resistance.value if each.resistance else math.inf,),
            CellOrder.LOSS: (each.loss_pct_month[0] if each.loss_pct_month else math.inf,),
            CellOrder.UNTIL: (usable_until(each.outcome, each.valid_until) or _NEVER,),
        }
        return (*keys[by], cell.code)

    return sorted(cells, key=key)


def sort_verdicts(verdicts: Sequence[Verdict], by: VerdictOrder) -> list[Verdict]:
    """The best outcome first; what runs out soonest first, and what allows no use last."""

    def key(verdict: Verdict) -> tuple[object, ...]:
        until = usable_until(verdict.outcome, verdict.valid_until)
        keys: dict[VerdictOrder, tuple[object, ...]] = {
            VerdictOrder.CODE: (),
            VerdictOrder.OUTCOME: (-verdict.outcome,),
            VerdictOrder.UNTIL: (until or _NEVER,),
        }
        return (*keys[by], verdict.code)

    return sorted(verdicts, key=key)
