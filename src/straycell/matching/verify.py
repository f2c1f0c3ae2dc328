"""An independent check of every plan, in plain Python on the figures as they were given.

It shares nothing with the optimisers but the wording of the rules, and runs on every plan, not only in tests.
"""

from collections.abc import Mapping, Sequence
from typing import Any

from straycell.errors import StraycellError

# Rounding of sums of binary fractions, relative; far below what any meter resolves.
SLACK = 1e-9


class UnsoundPlan(StraycellError):
    """A plan that broke a rule of its own: an error of the program, never of the person."""

    def __init__(self, faults: Sequence[str]) -> None:
        super().__init__(
            "the plan failed its own check: " + "; ".join(faults), "please report this; use no such plan"
        )
        self.faults = list(faults)


def verify_groups(
    groups: Sequence[Sequence[int]],
    capacity_ah: Sequence[float],
    resistance_ohm: Sequence[float],
    series: int,
    parallel: int,
    resistance_ratio: float,
    target_ah: float | None,
) -> None:
    """Raise UnsoundPlan unless the groups have the shape asked for, no cell twice, legal ohms and the target."""
    faults = shape_faults(groups, len(capacity_ah), series, parallel)
    if not faults:
        for number, group in enumerate(groups):
            if not ratio_is_legal([float(resistance_ohm[cell]) for cell in group], resistance_ratio):
                faults.append(f"group {number} exceeds the resistance ratio {resistance_ratio:g}")
            held = sum(float(capacity_ah[cell]) for cell in group)
            # Relative and absolute: a target of zero has no relative dust.
            if target_ah is not None and held < target_ah * (1 - SLACK) - SLACK:
                faults.append(f"group {number} holds {held:.6g} Ah, asked {target_ah:.6g} Ah")
    if faults:
        raise UnsoundPlan(faults)


def shape_faults(groups: Sequence[Sequence[int]], cells: int, series: int, parallel: int) -> list[str]:
    """Wrong numbers of groups or cells, unknown cells, cells used twice."""
    faults: list[str] = []
    used = [cell for group in groups for cell in group]
    if len(groups) != series or any(len(group) != parallel for group in groups):
        faults.append(f"not {series} groups of {parallel}")
    if any(not 0 <= cell < cells for cell in used):
        faults.append("a cell that does not exist")
    if len(set(used)) != len(used):
        faults.append("a cell used twice")
    return faults


def ratio_is_legal(resistance_ohm: Sequence[float], resistance_ratio: float) -> bool:
    """Whether the largest is within the ratio of the smallest (zero ohm only beside zero ohm)."""
    # A product and not a quotient: zero ohm beside zero ohm is legal, and would divide by zero.
    return max(resistance_ohm) <= min(resistance_ohm) * resistance_ratio * (1 + SLACK)


def verify_allocation(
    assignment: Sequence[Sequence[int]],
    offers: Sequence[Any],
    demands: Sequence[Any],
    resistance_ratio: float | None,
) -> None:
    """Raise UnsoundPlan unless every demand is served wholly or not at all, with cells that meet all its limits.

    No cell may be used twice, a demand takes cells of one kind, and under a ratio its cells, in order of
    resistance, fall into legal groups.
    """
    faults = [] if len(assignment) == len(demands) else ["not one list for each demand"]
    used = [cell for cells in assignment for cell in cells]
    if len(set(used)) != len(used):
        faults.append("a cell used twice")
    if any(not 0 <= cell < len(offers) for cell in used):
        faults.append("a cell that does not exist")
    if not faults:
        for number, (cells, demand) in enumerate(zip(assignment, demands, strict=True)):
            served = [offers[cell] for cell in cells]
            listed = value(demand, "cells")
            if listed is not None and not set(cells) <= set(listed):
                faults.append(f"demand {number}: a cell that is not among those it may have")
            faults += [
                f"demand {number}: {fault}" for fault in demand_faults(served, demand, resistance_ratio)
            ]
    if faults:
        raise UnsoundPlan(faults)


def demand_faults(cells: Sequence[Any], demand: Any, resistance_ratio: float | None) -> list[str]:
    """What is wrong with the cells of one demand; nothing where it is not served."""
    if not cells:
        return []
    parallel = value(demand, "parallel")
    faults: list[str] = []
    if len(cells) != value(demand, "series") * parallel * value(demand, "packs", 1):
        faults.append(f"served with {len(cells)} cells, neither all nor none")
    kinds = [value(cell, "kind") for cell in cells]
    accepted = value(demand, "kind")
    if any(kind != kinds[0] for kind in kinds):
        faults.append("cells of more than one kind")
    if kinds[0] != accepted and not (not isinstance(accepted, str) and kinds[0] in accepted):
        faults.append("a kind it does not accept")
    if any(value(cell, "capacity_ah") < value(demand, "min_capacity_ah") for cell in cells):
        faults.append("a cell of too little capacity")
    most, rank = value(demand, "max_resistance_ohm"), value(demand, "min_rank")
    if most is not None and any(value(cell, "resistance_ohm") > most for cell in cells):
        faults.append("a cell of too much resistance")
    if rank is not None and any(value(cell, "rank") < rank for cell in cells):
        faults.append("a cell of too low a rank")
    if resistance_ratio is not None and not faults:
        ohms = sorted(float(value(cell, "resistance_ohm")) for cell in cells)
        runs = [ohms[start : start + parallel] for start in range(0, len(ohms), parallel)]
        if not all(ratio_is_legal(run, resistance_ratio) for run in runs):
            faults.append("cells that cannot be split into groups within the resistance ratio")
    return faults


def value(item: Any, name: str, default: Any = None) -> Any:
    """A field of a mapping or an object."""
    return item.get(name, default) if isinstance(item, Mapping) else getattr(item, name, default)
