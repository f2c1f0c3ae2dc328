"""Packs against the spreadsheet's deal, in the same run: python tests/benchmarks/bench_balance.py [seed ...]

The deal is what a person does with a sorted sheet: best cells first (or those nearest the goal), dealt out to the
groups to and fro like cards, each cell to the next group in turn whose resistance ratio it keeps.
"""

from __future__ import annotations

import random
import sys
import time

from straycell.matching.balance.deal import balance_groups

SERIES, PARALLEL, RATIO = 13, 20, 1.5


def shelf(count: int, seed: int, spread: float) -> tuple[list[float], list[float]]:
    """Invented cells: capacities near 2.2 Ah, resistances near 50 mohm."""
    chance = random.Random(seed)
    capacities = [round(min(3.4, max(0.8, chance.gauss(2.2, 0.25))), 3) for _ in range(count)]
    return capacities, [round(0.05 * chance.lognormvariate(0, spread), 4) for _ in range(count)]


def deal(capacities: list[float], ohms: list[float], target_ah: float | None) -> list[list[int]]:
    """Sort, then deal to and fro; a cell that fits no group with room is put aside."""
    goal = None if target_ah is None else target_ah / PARALLEL
    order = sorted(
        range(len(ohms)), key=lambda i: -capacities[i] if goal is None else abs(capacities[i] - goal)
    )
    if len(order) == SERIES * PARALLEL:
        return dealt_by_ohms(capacities, ohms)
    if goal is not None:
        order = [i for i in order if capacities[i] >= goal]
    groups: list[list[int]] = [[] for _ in range(SERIES)]
    low, high = [float("inf")] * SERIES, [0.0] * SERIES
    turns = [*range(SERIES), *reversed(range(SERIES))]
    turn = 0
    for cell in order:
        for k in range(len(turns)):
            g = turns[(turn + k) % len(turns)]
            most, least = max(high[g], ohms[cell]), min(low[g], ohms[cell])
            if len(groups[g]) < PARALLEL and most <= RATIO * least:
                groups[g].append(cell)
                low[g], high[g] = least, most
                turn = (turn + k + 1) % len(turns)
                break
    return groups


def dealt_by_ohms(capacities: list[float], ohms: list[float]) -> list[list[int]]:
    """Every cell is needed: the sheet is sorted by resistance and cut, which alone is sure to be legal."""
    order = sorted(range(len(ohms)), key=lambda i: ohms[i])
    return [order[g * PARALLEL : (g + 1) * PARALLEL] for g in range(SERIES)]


def row(name: str, count: int, seed: int, spread: float, target_ah: float | None) -> None:
    capacities, ohms = shelf(count, seed, spread)
    begin = time.perf_counter()
    groups = deal(capacities, ohms, target_ah)
    deal_s = time.perf_counter() - begin
    sums = [sum(capacities[cell] for cell in group) for group in groups]
    whole = all(len(group) == PARALLEL for group in groups)
    begin = time.perf_counter()
    plan = balance_groups(capacities, ohms, series=SERIES, parallel=PARALLEL, target_ah=target_ah, seed=seed)
    plan_s = time.perf_counter() - begin
    deal_spread = max(sums) - min(sums)
    under = 100 * (1 - plan.smallest_ah / plan.bound_smallest_ah)
    deal_under = 100 * (1 - min(sums) / plan.bound_smallest_ah)
    print(
        f"{name:13} seed {seed:3}  spread {1000 * plan.spread_ah:6.0f} mAh (deal {1000 * deal_spread:6.0f}"
        f"{'' if whole else ', unfinished'})  under the bound {under:6.3f} % (deal {deal_under:6.3f} %)"
        f"  surplus {'-' if plan.surplus_ah is None else round(1000 * plan.surplus_ah)} mAh"
        f"  time {plan_s:6.3f} s, {plan_s / deal_s:5.1f} x the deal  proven {plan.proven}"
        f"{'  STOPPED' if plan.stopped_early else ''}",
        flush=True,
    )


def main(seeds: list[int]) -> None:
    balance_groups([2.0, 2.0], [0.05, 0.05], series=1, parallel=2)
    for seed in seeds:
        row("goal 44 Ah", 1300, seed, 0.12, 44.0)
        row("no goal", 1300, seed, 0.12, None)
        row("exactly 260", 260, seed, 0.12, None)
        row("goal, wide", 1300, seed, 0.3, 44.0)
        row("no goal, wide", 1300, seed, 0.3, None)


if __name__ == "__main__":
    main([int(one) for one in sys.argv[1:]] or [101, 102, 103])
