"""The last look at an answer that says `served`, of one cell or of a pack: plain arithmetic, none of the planner's code."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from straycell.matching.one_project import Match
from straycell.matching.screen.candidates import Candidate
from straycell.matching.verify import SLACK, UnsoundPlan
from straycell.physics.loads import ConstantCurrent
from straycell.projects import Project


def check_answer(
    project: Project, found: Match, candidates: Sequence[Candidate], now: datetime, *, planning: bool = False
) -> Match:
    """The answer itself. Raises UnsoundPlan where it is served against a rule that every answer must keep.

    With `planning` the protection may still be on its way.
    """
    if not found.served:
        return found
    known = {c.code: c for c in candidates}
    codes = [code for group in found.groups for code in group]
    faults = [f"{code} is not a cell of the store" for code in codes if code not in known]
    # A set and not the planner's own bookkeeping: the check must not share its mistakes.
    if len(set(codes)) != len(codes):
        faults.append("a cell used twice")
    faults += _shape_faults(project, found)
    if not planning:
        faults += _protection_faults(project, found)
    cells = [known[code] for code in codes if code in known]
    for c in cells:
        # A cell joined with others needs a permission of its own: solo cells are sound alone and not in a pack.
        faults += _cell_faults(project, c, now, joined=len(codes) > 1)
    faults += _charge_faults(project, found, known)
    if faults:
        raise UnsoundPlan([f"project {project.name}: {fault}" for fault in faults])
    return found


def _shape_faults(project: Project, found: Match) -> list[str]:
    """Groups of unlike size, or another shape than the project's."""
    widths = {len(group) for group in found.groups}
    if len(widths) != 1 or 0 in widths:
        return ["groups of unlike size"]
    asked = (project.pack.series, project.pack.parallel)
    got = (len(found.groups), widths.pop())
    if any(want not in (None, have) for want, have in zip(asked, got, strict=True)):
        return [f"{got[0]} groups of {got[1]} is not the shape it asks for"]
    return []


def _protection_faults(project: Project, found: Match) -> list[str]:
    protection, faults = project.protection, []
    if not protection.fitted:
        faults.append("served without protection")
    # In a string the weakest group is driven into reversal or over-charge unless each group is watched.
    if len(found.groups) > 1 and not (protection.per_cell and protection.balancing):
        faults.append("a string without protection and balancing of each group")
    return faults


def _cell_faults(project: Project, c: Candidate, now: datetime, *, joined: bool) -> list[str]:
    faults = []
    faults += [f"{c.code} {why}" for why in c.permission(now).against_offer(joined=joined)]
    if c.facts.form not in project.pack.forms:
        faults.append(f"{c.code} is of a form that does not fit")
    if c.facts.chemistry not in project.pack.chemistries:
        faults.append(f"{c.code} is of a chemistry that it does not take")
    return faults


def _charge_faults(project: Project, found: Match, known: dict[str, Candidate]) -> list[str]:
    """No group gives more charge than it holds, and the run time reported is no less than the need."""
    faults = []
    # The slack is for rounding alone: a promise short of the need is not an answer.
    if found.runtime is None or found.runtime.low_h < project.need.runtime_h * (1 - SLACK):
        faults.append("it does not run long enough")
    if isinstance(project.load, ConstantCurrent):
        drawn_ah = project.load.current_a * project.need.runtime_h
        for number, group in enumerate(found.groups, 1):
            # Charge only moves forward: whatever the curve and the model say, a group cannot give more than it holds.
            held = [known[code].capacity for code in group if code in known]
            if sum(one.value for one in held if one is not None) < drawn_ah * (1 - SLACK):
                faults.append(f"group {number} holds less than the device draws")
    return faults
