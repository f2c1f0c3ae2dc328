"""The last look at a pack, and at an answer that says `served`, of one cell or of many: plain arithmetic.

It shares the wording of the rules with the planner, and none of its code.
"""

from collections.abc import Sequence
from datetime import datetime

from straycell.matching.one_project import Match
from straycell.matching.screen import Candidate, Screen
from straycell.matching.verify import SLACK, UnsoundPlan, shape_faults, verify_groups
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


def _permission_faults(c: Candidate, now: datetime, *, joined: bool) -> list[str]:
    return [f"{c.code} {why}" for why in c.permission(now).against_offer(joined=joined)]


def _cell_faults(project: Project, c: Candidate, now: datetime, *, joined: bool) -> list[str]:
    faults = _permission_faults(c, now, joined=joined)
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


# Cells alone in their group are never compared.
NO_RATIO = 1e9


def check_pack(screen: Screen, groups: Sequence[Sequence[Candidate]]) -> None:
    """Raise UnsoundPlan unless the groups of a pack are of the shape asked for and no rule of joining is broken.

    On the cells' own figures, and on every plan, also on one that is not served in the end.
    """
    demand = screen.demand
    cells = [c for group in groups for c in group]
    places = {c.code: k for k, c in enumerate(cells)}
    shaped = [[places[c.code] for c in group] for group in groups]
    faults = shape_faults(shaped, len(cells), demand.series, demand.parallel)
    faults += [fault for c in cells for fault in _permission_faults(c, screen.now, joined=screen.joined)]
    faults += [f"{c.code} lacks a figure" for c in cells if c.capacity is None or c.resistance is None]
    for name in ("chemistry", "form"):
        if len({getattr(c.facts, name) for c in cells}) > 1:
            faults.append(f"cells of more than one {name}")
    if len({" ".join(c.facts.marking.upper().split()) for c in cells}) > 1:
        faults.append("cells of more than one marking")
    faults += [
        fault for number, group in enumerate(groups, 1) for fault in _group_faults(screen, number, group)
    ]
    if faults:
        raise UnsoundPlan(faults)
    ohms = [c.resistance.value if c.resistance else 0.0 for c in cells]
    held = [c.capacity.value if c.capacity else 0.0 for c in cells]
    ratio = screen.limits.resistance_ratio if demand.parallel > 1 else NO_RATIO
    verify_groups(shaped, held, ohms, demand.series, demand.parallel, ratio, None)


def _group_faults(screen: Screen, number: int, group: Sequence[Candidate]) -> list[str]:
    """No cell of a group may carry more than its outcome allows, by what flows through each at one voltage."""
    if len(group) == 1 or any(c.capacity is None or c.resistance is None for c in group):
        return []
    ohms = [c.resistance.value for c in group if c.resistance is not None]
    if len({c.resistance_method for c in group}) > 1:
        return [f"resistances of group {number} were taken in more than one way"]
    if min(ohms) <= 0:
        return [] if max(ohms) <= 0 else [f"group {number} has a cell without resistance beside others"]
    total_a = screen.demand.steady_a(group[0].facts.chemistry, screen.limits) * len(group)
    # One volt over all of them: the currents are in the proportion in which they share any other.
    flows = [1.0 / r for r in ohms]
    return [
        f"{c.code} of group {number} carries more than it may"
        for c, flow in zip(group, flows, strict=True)
        if total_a * flow / sum(flows) > c.allowed_out_a(screen.limits) * (1 + SLACK)
    ]
