"""Deal cells into groups of equal capacity: as strong as possible, or just strong enough, and how good that is."""

import math
import time
from collections.abc import Sequence
from dataclasses import dataclass

from straycell.errors import NegativeAnswer
from straycell.matching.balance.goals import Draft, Task, just_enough, limiting_cells, strongest
from straycell.matching.balance.local_search import Clock
from straycell.matching.balance.pool import checked_count, checked_number, most_legal_groups, pool_of
from straycell.matching.verify import verify_groups


class NoLegalGrouping(NegativeAnswer):
    """The cells cannot be split as asked; `cells` are the positions in the input that are in the way."""

    def __init__(self, what: str, remedy: str, cells: Sequence[int] = ()) -> None:
        super().__init__(what, remedy)
        self.cells = list(cells)


@dataclass(frozen=True, slots=True)
class BalancedGroups:
    """A plan and how far it can be from the best one. Capacities in ampere-hours, cells as input positions.

    `bound_smallest_ah` is at least the weakest group of the best plan, `bound_spread_ah` at most its spread;
    `surplus_ah` and its lower bound are None without a target. `limited_by` names the cells of the weakest group
    whose resistance keeps stronger cells out of it.
    """

    groups: list[list[int]]
    smallest_ah: float
    spread_ah: float
    bound_smallest_ah: float
    bound_spread_ah: float
    proven: bool
    stopped_early: bool
    surplus_ah: float | None = None
    bound_surplus_ah: float | None = None
    limited_by: tuple[int, ...] = ()


def balance_groups(
    capacity_ah: Sequence[float],
    resistance_ohm: Sequence[float],
    *,
    series: int,
    parallel: int,
    target_ah: float | None = None,
    resistance_ratio: float = 1.5,
    seconds: float = 1.0,
    seed: int = 0,
) -> BalancedGroups:
    """Choose `series` groups of `parallel` cells whose resistances lie within `resistance_ratio` of each other.

    With `target_ah` (per group) every group reaches it with the least surplus, then the least spread; without, the
    weakest group is as strong as possible, then the spread small. Cells of zero ohm are only joined with each
    other. The work is bounded by steps; `seconds` only stops it, reported as `stopped_early`.
    Raises BadData or UsageFault for figures that cannot be taken, NoLegalGrouping when no plan exists or, with a
    target, none was found.
    """
    pool = pool_of(capacity_ah, resistance_ohm, resistance_ratio)
    series, parallel = checked_count(series, "series"), checked_count(parallel, "parallel")
    goal = None if target_ah is None else checked_number(target_ah, "target_ah", 0.0)
    clock = Clock(time.monotonic() + checked_number(seconds, "seconds", 0.0))
    # A target is rounded up to whole steps, less the dust of binary fractions, so that a target just met counts as
    # met.
    steps = None if goal is None else math.ceil(goal * pool.steps_per_ah - 1e-6)
    task = Task(pool, series, parallel, steps, checked_count(seed, "seed", 0), clock)
    # Refused before the search: a search cannot tell that nothing exists from that nothing was found.
    refuse_impossible(task)
    plan = described(task, strongest(task) if steps is None else just_enough(task, steps), goal)
    # The plan goes through a check that shares no code with the search.
    verify_groups(plan.groups, capacity_ah, resistance_ohm, series, parallel, resistance_ratio, target_ah)
    return plan


def refuse_impossible(task: Task) -> None:
    """Raise NoLegalGrouping where cells or partners are too few, naming the cells that find none."""
    pool, wanted = task.pool, task.series * task.parallel
    if pool.size < wanted:
        raise NoLegalGrouping(
            f"{task.series} groups of {task.parallel} need {wanted} cells, there are {pool.size}",
            f"add {wanted - pool.size} more or ask for a smaller pack",
        )
    starts = most_legal_groups(pool, task.parallel)
    if len(starts) >= task.series:
        return
    in_groups = {start + k for start in starts for k in range(task.parallel)}
    left = sorted(int(pool.original[cell]) for cell in range(pool.size) if cell not in in_groups)
    named = ", ".join(str(cell) for cell in left[:12]) + (" and more" if len(left) > 12 else "")
    raise NoLegalGrouping(
        f"within a resistance ratio of {pool.ratio:g} only {len(starts)} of {task.series} groups of "
        f"{task.parallel} can be made; cells at positions {named} find too few partners",
        "add cells of resistances near theirs, ask for fewer groups or allow a larger ratio",
        left,
    )


def described(task: Task, draft: Draft, target_ah: float | None) -> BalancedGroups:
    """The draft in ampere-hours and input positions. Raises NoLegalGrouping where the target was not reached."""
    pool = task.pool
    if not draft.groups:
        raise out_of_reach(task, draft, target_ah)
    sums = task.sums(draft.groups)
    smallest, spread, total = min(sums), max(sums) - min(sums), sum(sums)
    least = max(draft.least_total, task.series * (task.target or 0))
    best = spread == draft.bound_spread and smallest == draft.bound_smallest
    asked = 0.0 if target_ah is None else target_ah * task.series
    return BalancedGroups(
        groups=[sorted(int(pool.original[cell]) for cell in group) for group in draft.groups],
        smallest_ah=pool.ah(smallest),
        spread_ah=pool.ah(spread),
        bound_smallest_ah=pool.ah(draft.bound_smallest),
        bound_spread_ah=pool.ah(draft.bound_spread),
        proven=best if target_ah is None else total == least and spread == draft.bound_spread,
        stopped_early=task.clock.stopped_early,
        surplus_ah=None if target_ah is None else above(pool.ah(total), asked),
        bound_surplus_ah=None if target_ah is None else above(pool.ah(least), asked),
        limited_by=limiting_cells(task, draft.groups),
    )


def above(total_ah: float, asked_ah: float) -> float:
    """What is left over, without the dust of binary fractions."""
    return 0.0 if abs(total_ah - asked_ah) < 1e-9 * max(1.0, asked_ah) else total_ah - asked_ah


def out_of_reach(task: Task, draft: Draft, target_ah: float | None) -> NoLegalGrouping:
    """The answer where no plan reaches the target, with the best weakest group there is."""
    bound = task.pool.ah(draft.bound_smallest)
    how = f"the best weakest group is at most {bound:.4g} Ah"
    if draft.bound_smallest >= (task.target or 0):
        how = f"the best found weakest group has {task.pool.ah(draft.reached):.4g} Ah"
    elif draft.reached:
        how = f"the best weakest group has {task.pool.ah(draft.reached):.4g} Ah"
    return NoLegalGrouping(
        f"no {task.series} groups of {task.parallel} cells reach {target_ah:g} Ah each: {how}",
        "add stronger cells, widen the group or lower the target",
    )
