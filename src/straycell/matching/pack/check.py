"""An independent check of a pack: plain arithmetic on the cells' own figures, run on every plan.

It shares the wording of the rules with the planner, and none of its code.
"""

from __future__ import annotations

from collections.abc import Sequence

from straycell.matching.screen.candidates import Candidate
from straycell.matching.screen.demand import Screen
from straycell.matching.verify import SLACK, UnsoundPlan, shape_faults, verify_groups

# Cells alone in their group are never compared.
NO_RATIO = 1e9


def check_pack(screen: Screen, groups: Sequence[Sequence[Candidate]]) -> None:
    """Raise UnsoundPlan unless the groups are of the shape asked for and no rule of joining is broken."""
    demand = screen.demand
    cells = [c for group in groups for c in group]
    places = {c.code: k for k, c in enumerate(cells)}
    shaped = [[places[c.code] for c in group] for group in groups]
    faults = shape_faults(shaped, len(cells), demand.series, demand.parallel)
    faults += [fault for c in cells for fault in _cell_faults(screen, c)]
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


def _cell_faults(screen: Screen, c: Candidate) -> list[str]:
    faults = []
    faults += [
        f"{c.code} {why}" for why in c.permission(screen.now).against_offer(joined=screen.demand.cells > 1)
    ]
    if c.capacity is None or c.resistance is None:
        faults.append(f"{c.code} lacks a figure")
    return faults


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
