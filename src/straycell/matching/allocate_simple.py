"""The plain way: each demand in turn, the heaviest first, takes the smallest cells that serve it."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from straycell.matching.allocate_input import Kind, Market
from straycell.matching.allocate_model import Bools, eligible
from straycell.matching.balance_pool import sorted_pool
from straycell.matching.bounds import most_legal_groups


def serve_in_turn(market: Market, demands: Sequence[int], ratio: float | None) -> dict[int, list[int]]:
    """Offer positions for every demand that finds its cells when its turn comes."""
    free: Bools = np.ones(len(market.kinds), dtype=np.bool_)
    of_kind: dict[Kind, Bools] = {}
    assignment: dict[int, list[int]] = {}
    for demand in sorted(demands, key=lambda i: (-market.demands[i].weight, i)):
        for kind in market.demands[demand].kinds:
            if kind not in of_kind:
                of_kind[kind] = np.array([one == kind for one in market.kinds], dtype=np.bool_)
            cells = cells_for(
                market, demand, np.flatnonzero(eligible(market, demand, kind, of_kind[kind]) & free), ratio
            )
            if cells:
                assignment[demand] = cells
                free[cells] = False
                break
    return assignment


def cells_for(market: Market, demand: int, able: np.ndarray, ratio: float | None) -> list[int]:
    """The smallest cells that serve a demand, in legal runs under a ratio; none if there are too few."""
    asked = market.demands[demand]
    if len(able) < asked.cells:
        return []
    smallest_first = able[np.lexsort((able, market.capacity[able]))]
    if ratio is None or asked.parallel == 1:
        return [int(cell) for cell in smallest_first[: asked.cells]]
    count = asked.cells
    while True:
        some = smallest_first[:count]
        by_ohms = some[np.lexsort((some, market.resistance[some]))]
        ohms = market.resistance[by_ohms]
        starts = most_legal_groups(
            sorted_pool(market.capacity[by_ohms], ohms, by_ohms, 1, ratio), asked.parallel
        )
        if len(starts) >= asked.groups:
            runs = [by_ohms[start : start + asked.parallel] for start in starts[: asked.groups]]
            return [int(cell) for cell in np.concatenate(runs)]
        if count >= len(able):
            return []
        count *= 2
