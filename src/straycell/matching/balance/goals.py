"""The two goals of a deal: the strongest groups, or groups just strong enough, each with what is proven of it."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import inf

import numpy as np

from straycell.matching.balance.exact import Exact, largest_weakest, least_surplus, listing_of
from straycell.matching.balance.local_search import Clock
from straycell.matching.balance.pool import (
    RATIO_SLACK,
    Ints,
    Pool,
    Walk,
    least_total,
    most_legal_groups,
    part_of,
    total_without_ratio,
    walk_of,
)
from straycell.matching.balance.solve import at_target, groups_near_target, largest_weakest_groups

Groups = list[list[int]]
SHELF_FACTOR = 8
# How far, as a share, resistances must hold the groups back before it is said.
WORTH_SAYING = 1e-3


@dataclass(frozen=True, slots=True)
class Task:
    """What is asked of a pool: `target` in steps, None for the strongest groups."""

    pool: Pool
    series: int
    parallel: int
    target: int | None
    seed: int
    clock: Clock

    def sums(self, groups: Sequence[Sequence[int]]) -> list[int]:
        return [int(self.pool.capacity[list(group)].sum()) for group in groups]


@dataclass(frozen=True, slots=True)
class Draft:
    """Groups of pool positions with bounds in steps; no groups where the target is not reached.

    `least_total` bounds the total from below. Without groups `bound_smallest` says how far any plan can get and
    `reached` how far the best found one got.
    """

    groups: Groups
    bound_smallest: int
    bound_spread: int
    least_total: int = 0
    reached: int = 0


def strongest(task: Task) -> Draft:
    """The largest weakest group, then the smallest spread."""
    pool, series = task.pool, task.series
    if task.parallel == 1:
        # One cell a group has no ratio to keep: sorting answers it.
        return singles(task, int(np.sort(pool.capacity)[-series]))
    walk = walk_of(pool, series, task.parallel)
    # The weakest group is at most the mean of the best total.
    level = total_bound(task, walk) // series
    groups = strong_groups(task, walk, level)
    spread = least_spread(task, min(task.sums(groups)) * series, level * series + series - 1)
    sums = task.sums(groups)
    # Bound and plan meet: nothing can be better, and listing is spared.
    if min(sums) == level and max(sums) - min(sums) == spread:
        return Draft(groups, level, spread)
    listing = listing_of(task.pool, series, task.parallel, task.clock, min(sums))
    if listing is None:
        return Draft(groups, level, spread)
    exact = largest_weakest(listing)
    if exact.groups is not None:
        # The exact search may run out of steps with a worse plan than the exchanges found.
        groups = min(groups, exact.groups, key=lambda one: weakness(task, one))
    if exact.proven:
        spread = weakness(task, groups)[1]
    return Draft(groups, min(level, exact.bound), spread)


def just_enough(task: Task, target: int) -> Draft:
    """Every group at the target, with the least surplus, then the smallest spread."""
    if task.parallel == 1:
        return singles(task, target)
    groups = groups_near_target(task.pool, task.series, task.parallel, target, task.clock, task.seed)
    walk = None
    if groups is None:
        walk = walk_of(task.pool, task.series, task.parallel)
        level = total_bound(task, walk) // task.series
        if level < target:
            return Draft([], level, 0)
        groups = raised(task, walk, target)
    return thrifty(task, target, groups)


def raised(task: Task, walk: Walk | None, target: int) -> Groups:
    """Groups dealt for strength, then thinned down towards the target."""
    groups = strong_groups(task, walk, target)
    table = at_target(task.pool, groups, target, task.clock, task.seed)
    return min(groups, table.groups(), key=lambda one: shortfall_and_total(task, one, target))


def shortfall_and_total(task: Task, groups: Groups, target: int) -> tuple[int, int, int]:
    """Less is better: shortfall, total, spread."""
    sums = task.sums(groups)
    return sum(max(0, target - one) for one in sums), sum(sums), max(sums) - min(sums)


def thrifty(task: Task, target: int, groups: Groups) -> Draft:
    """The groups, or better ones of a small shelf, with bounds on surplus and spread."""
    asked = target * task.series
    short, total, spread = shortfall_and_total(task, groups, target)
    if (short, total, spread) == (0, asked, 0):
        return Draft(groups, target, 0, asked)
    known = (float(total), float(spread)) if short == 0 else (inf, inf)
    # A plan of less total leaves no group more than the known surplus above its target.
    listing = listing_of(task.pool, task.series, task.parallel, task.clock, target, known[0] - asked + target)
    exact = Exact(None, False) if listing is None else least_surplus(listing, target, *known)
    if exact.groups is not None:
        groups = exact.groups
    short, total, spread = shortfall_and_total(task, groups, target)
    if short:
        bound = target - 1 if exact.proven else total_bound(task, None) // task.series
        return Draft([], bound, 0, reached=min(task.sums(groups)))
    if exact.proven:
        return Draft(groups, min(task.sums(groups)), spread, total)
    groups = evened(task, target, groups)
    spread = shortfall_and_total(task, groups, target)[2]
    least = max(asked, least_total(task.pool, task.series, task.parallel))
    return Draft(groups, total // task.series, least_spread(task, least, total), least)


def evened(task: Task, target: int, groups: Groups) -> Groups:
    """The same cells dealt again where that makes the groups more alike."""
    kept = np.sort(np.array([cell for group in groups for cell in group], dtype=np.int64))
    clock = Clock(task.clock.deadline)
    # A count of its own: the second deal must not be cut short by the steps of the first.
    same = replace(task, pool=part_of(task.pool, kept), target=None, clock=clock)
    dealt = strongest(same).groups
    task.clock.steps += clock.steps
    task.clock.stopped_early |= clock.stopped_early
    again = [[int(kept[cell]) for cell in group] for group in dealt]
    return min(groups, again, key=lambda one: shortfall_and_total(task, one, target))


def singles(task: Task, least: int) -> Draft:
    """One cell a group: the smallest cells of at least `least`, which is proven best at once."""
    able = np.flatnonzero(task.pool.capacity >= least)
    if len(able) < task.series:
        reached = int(np.sort(task.pool.capacity)[-task.series])
        return Draft([], reached, 0, reached=reached)
    chosen = able[np.lexsort((task.pool.original[able], task.pool.capacity[able]))][: task.series]
    groups = [[int(cell)] for cell in chosen]
    sums = task.sums(groups)
    return Draft(groups, min(sums), max(sums) - min(sums), sum(sums))


def least_spread(task: Task, least_total: int, most_total: int) -> int:
    """A lower bound on the spread: 1 step where no total that can still be best divides evenly."""
    # The cells are all used, so their total is known and only its division matters.
    if task.series * task.parallel == task.pool.size:
        least_total = most_total = int(task.pool.capacity.sum())
    return 0 if most_total // task.series * task.series >= least_total else 1


def total_bound(task: Task, walk: Walk | None) -> int:
    """The largest total any plan can have, in steps."""
    return walk.total() if walk else total_without_ratio(task.pool, task.series * task.parallel)


def strong_groups(task: Task, walk: Walk | None, level: int) -> Groups:
    """The best groups the exchanges find for a level, in positions of the whole pool."""
    kept = walk.kept if walk else strongest_cells(task)
    part = part_of(task.pool, kept)
    must = task.target is not None
    table = largest_weakest_groups(part, walk, task.series, task.parallel, level, task.clock, task.seed, must)
    return [[int(kept[cell]) for cell in group] for group in table.groups()]


def strongest_cells(task: Task) -> Ints:
    """The largest cells of a very large shelf, as many as it takes for legal groups."""
    best_first = np.argsort(-task.pool.capacity, kind="stable")
    # Without the exact walk only strong cells are looked at: a table over a whole large shelf would not fit.
    count = SHELF_FACTOR * task.series * task.parallel
    while True:
        kept = np.sort(best_first[:count])
        if len(most_legal_groups(part_of(task.pool, kept), task.parallel)) >= task.series:
            return kept
        count *= 2


def weakness(task: Task, groups: Groups) -> tuple[int, int]:
    """Less is better: the weakest group with its sign turned, then the spread."""
    sums = task.sums(groups)
    return -min(sums), max(sums) - min(sums)


def limiting_cells(task: Task, groups: Groups) -> tuple[int, ...]:
    """Input positions of the weakest group's cells whose ohms keep stronger cells out of it.

    Empty where the groups are as strong as if resistances did not matter, or a target is met.
    """
    pool = task.pool
    if task.parallel == 1 or task.target is not None:
        return ()
    sums = task.sums(groups)
    free = total_without_ratio(pool, task.series * task.parallel) / task.series
    # Within a thousandth of the freest choice, resistance is not what holds the pack back.
    if min(sums) >= free * (1 - WORTH_SAYING):
        return ()
    weakest = sorted(groups[sums.index(min(sums))])
    low, high = weakest[0], weakest[-1]
    stronger = pool.capacity > pool.capacity[weakest].min()
    allowed = pool.ratio * (1 + RATIO_SLACK)
    ohms = pool.resistance
    shut_above = stronger & (ohms > ohms[low] * allowed)
    shut_below = stronger & (ohms * allowed < ohms[high])
    ends = ([low] if shut_above.any() else []) + ([high] if shut_below.any() else [])
    return tuple(int(pool.original[cell]) for cell in ends)
