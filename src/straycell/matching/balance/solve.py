"""From a legal start to a good grouping: the two goals, each as a cost for the exchanges and a key for the plans."""

from collections.abc import Callable

import numpy as np

from straycell.matching.balance.local_search import Clock, Cost, Key, Table, descend, roamed, table_of
from straycell.matching.balance.pool import Floats, Ints, Pool, Walk, most_legal_groups, part_of

SHORTFALL_WEIGHT = 30.0
# So heavy that no gain in surplus ever pays for a group below the target.
MUST_NOT_FALL_SHORT = 1e6
# Two starts: one pulled weakly towards even groups, one strongly; neither is better for every shelf.
START_WEIGHTS = (1.0, 10.0)
ROUNDS = 8
MOST_STEPS = 1_200
TARGET_TRIES = 2
# A plan this close to the bound, and this even, as shares of a group, is not worked on further.
CLOSE_TO_BOUND = 2e-4
EVEN = 2e-5


def near(level: int, shortfall_weight: float = 1.0) -> Cost:
    """Squared distance of each sum from the level, a shortfall counted more."""

    def cost(sums: Floats) -> Floats:
        away = sums - level
        return np.where(away < 0, shortfall_weight, 1.0) * away * away

    return cost


def weakest_key(sums: Ints) -> Key:
    """Larger weakest group first, then smaller spread."""
    # At the same weakest group the even plan is better: what a group has above the weakest is lost to the pack.
    return int(sums.min()), int(sums.min() - sums.max())


def target_key(target: int) -> Callable[[Ints], Key]:
    """Less shortfall first, then less surplus, then smaller spread."""

    def key(sums: Ints) -> Key:
        short = int(np.maximum(0, target - sums).sum())
        return -short, -int(np.maximum(0, sums - target).sum()), int(sums.min() - sums.max())

    return key


def largest_weakest_groups(
    pool: Pool, walk: Walk | None, series: int, parallel: int, level: int, clock: Clock, seed: int, must: bool
) -> Table:
    """The largest weakest group up to `level` that exchanges can find, then the smallest spread.

    With `must` only the level itself is good enough, and the spread does not matter.
    """
    starts = (
        [walk.groups(w, level) for w in START_WEIGHTS] if walk else [greedy_start(pool, series, parallel)]
    )
    tables = [table_of(pool, groups) for groups in starts]
    for table in tables:
        # The squared distance pulls the worst group first.
        descend(table, near(level), clock)
    best = max(tables, key=lambda table: weakest_key(table.sums))

    def done() -> bool:
        good = int(best.sums.min()) >= level if must else close_enough(best, level)
        return clock.stopped_early or clock.steps > MOST_STEPS or good

    for turn in range(ROUNDS):
        if done():
            break
        best = roamed(best, near(level, 3.0), weakest_key, clock, seed + turn, (level, 0))
        # Surplus in strong groups is of no use to a pack, whose weakest group ends the run; the shelf can use it.
        best = levelled(best, clock, seed + turn, level)
    return best


def close_enough(table: Table, bound: int) -> bool:
    smallest, short_of_even = weakest_key(table.sums)
    return smallest >= bound * (1 - CLOSE_TO_BOUND) and short_of_even >= -max(1.0, EVEN * bound)


def levelled(table: Table, clock: Clock, seed: int, bound: int) -> Table:
    """The same weakest group, with the surplus of the others given back to the shelf."""
    level = int(table.sums.min())
    trial = table_of(table.pool, table.groups())
    descend(trial, near(level, MUST_NOT_FALL_SHORT), clock)
    trial = roamed(trial, near(level, SHORTFALL_WEIGHT), weakest_key, clock, seed, (bound, 0))
    return max((table, trial), key=lambda one: weakest_key(one.sums))


def greedy_start(pool: Pool, series: int, parallel: int) -> list[list[int]]:
    """Legal groups of neighbours in resistance, where the shelf is densest."""
    starts = most_legal_groups(pool, parallel)
    ohms = pool.resistance
    # The narrowest spans first: groups of near equal resistance share current evenly.
    by_span = sorted(starts, key=lambda start: float(ohms[start + parallel - 1] - ohms[start]))
    return [list(range(start, start + parallel)) for start in sorted(by_span[:series])]


def groups_near_target(
    pool: Pool, series: int, parallel: int, target: int, clock: Clock, seed: int
) -> list[list[int]] | None:
    """Groups at the target made of the cells nearest the capacity it asks of each; None where they fall short."""
    # Cells near the mean the target asks of each leave the least surplus.
    away = np.abs(pool.capacity * parallel - target)
    nearest = np.argsort(away, kind="stable")
    count, tries, best = 2 * series * parallel, 0, None
    while tries < TARGET_TRIES:
        kept = np.sort(nearest[:count])
        part = part_of(pool, kept)
        if len(most_legal_groups(part, parallel)) >= series:
            tries += 1
            found = at_target(part, greedy_start(part, series, parallel), target, clock, seed)
            key = target_key(target)(found.sums)
            if best is None or key > best[0]:
                best = key, [[int(kept[cell]) for cell in group] for group in found.groups()]
            if key == (0, 0, 0):
                break
        if count >= pool.size:
            break
        count *= 2
    return best[1] if best is not None and best[0][0] == 0 else None


def at_target(pool: Pool, groups: list[list[int]], target: int, clock: Clock, seed: int) -> Table:
    """Exchange until every group reaches the target with as little more as can be found."""
    table = table_of(pool, groups)
    key = target_key(target)
    descend(table, near(target, 4.0), clock)
    goal = (0, 0, 0)
    if key(table.sums) >= goal:
        return table
    table = roamed(table, near(target, 4.0), key, clock, seed, goal)
    # Short of the target no surplus matters: one more descent at any price.
    if table.sums.min() < target:
        descend(table, near(target, MUST_NOT_FALL_SHORT), clock)
    return table
