"""An independent check of every plan, in plain Python on the figures as they were given.

It shares nothing with the optimisers but the wording of the rules, and runs on every plan, not only in tests.
"""

from __future__ import annotations

from collections.abc import Sequence

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
    return max(resistance_ohm) <= min(resistance_ohm) * resistance_ratio * (1 + SLACK)
