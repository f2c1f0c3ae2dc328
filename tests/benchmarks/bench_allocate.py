"""Allocation against serving by weight in turn, in the same run: python tests/benchmarks/bench_allocate.py [seed ...]

Growth at 200 / 2,000 / 20,000 cells, with menus of limits or all limits distinct, with and without the ratio rule.
"""

from __future__ import annotations

import random
import resource
import sys
import time
from typing import Any

from straycell.matching.allocate.cells import allocate_cells
from straycell.matching.allocate.greedy import heaviest_first, serve_in_turn
from straycell.matching.allocate.market import market_of

Item = dict[str, Any]


def stock(cells: int, projects: int, seed: int, kinds: int, distinct: bool) -> tuple[list[Item], list[Item]]:
    """An invented contested stock: about one and a half times as much is wanted as there is."""
    chance = random.Random(seed)
    offers = [
        {
            "kind": chance.randrange(kinds),
            "capacity_ah": round(min(3.4, max(0.6, chance.gauss(2.0, 0.45))), 3),
            "resistance_ohm": round(0.055 * chance.lognormvariate(0, 0.3), 4),
            "rank": chance.choice([0, 1, 1, 2, 2, 2]),
        }
        for _ in range(cells)
    ]
    return offers, [project(chance, cells / projects * 1.5, kinds, distinct) for _ in range(projects)]


def project(chance: random.Random, mean_cells: float, kinds: int, distinct: bool) -> Item:
    need = max(1, round(chance.expovariate(1 / mean_cells)))
    parallel = min(need, chance.choice([1, 2, 3, 4, 5, 8, 10, 20]))
    series = max(1, min(chance.choice([1, 3, 4, 7, 10, 13]), need // parallel))
    least = chance.uniform(1.0, 2.5) if distinct else chance.choice([1.0, 1.2, 1.4, 1.6, 1.8, 2.0, 2.2, 2.4])
    most = chance.uniform(0.045, 0.12) if distinct else chance.choice([0.05, 0.06, 0.07, 0.08, 0.1, 0.15])
    return {
        "kind": chance.randrange(kinds),
        "series": series,
        "parallel": parallel,
        "packs": max(1, round(need / (parallel * series))),
        "min_capacity_ah": round(least, 4),
        "max_resistance_ohm": round(most, 5),
        "min_rank": 2 if parallel * series > 1 else chance.randrange(3),
        "weight": chance.randint(1, 10),
    }


def row(name: str, case: tuple[int, int, int, int, bool], ratio: float | None) -> None:
    offers, demands = stock(*case)
    market = market_of(offers, demands)
    begin = time.perf_counter()
    plain = serve_in_turn(market, heaviest_first(market, range(len(demands))), ratio)
    plain_s = time.perf_counter() - begin
    plain_weight = sum(demands[index]["weight"] for index in plain)
    begin = time.perf_counter()
    plan = allocate_cells(offers, demands, resistance_ratio=ratio, seconds=30.0)
    plan_s = time.perf_counter() - begin
    print(
        f"{name:34} weight {plan.weight:6.0f} ({100 * (plan.weight / plain_weight - 1):+5.1f} % on greedy)"
        f"  gaps {100 * plan.gap_weight:.3f} % {100 * plan.gap_surplus:.3f} %"
        f"  surplus {plan.surplus_ah:8.1f} Ah  time {plan_s:6.2f} s (greedy {plain_s:.2f} s)"
        f"{'  STOPPED' if plan.stopped_early else ''}",
        flush=True,
    )


def main(seeds: list[int]) -> None:
    for seed in seeds:
        print(f"seed {seed}")
        for cells, projects in ((200, 20), (2_000, 200), (20_000, 200)):
            row(f"{cells:,} x {projects}", (cells, projects, seed, 1, False), None)
        row("20,000 x 200, 8 kinds", (20_000, 200, seed, 8, False), None)
        row("2,000 x 200, all limits distinct", (2_000, 200, seed, 1, True), None)
        row("20,000 x 200, ratio 1.5", (20_000, 200, seed, 1, False), 1.5)
        row("20,000 x 200, 8 kinds, ratio 1.5", (20_000, 200, seed, 8, False), 1.5)
    print(f"peak memory {resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024:.0f} MB")


if __name__ == "__main__":
    main([int(one) for one in sys.argv[1:]] or [201, 202, 203])
