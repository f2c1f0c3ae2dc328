"""The plain way: each demand in turn takes the smallest cells that serve it."""

from collections.abc import Sequence, Set

import numpy as np

from straycell.matching.allocate.model import eligible
from straycell.matching.allocate.read_input import Market
from straycell.matching.balance.bounds import most_legal_groups
from straycell.matching.balance.pool import Bools, Ints, sorted_pool


def serve_in_turn(market: Market, demands: Sequence[int], ratio: float | None) -> dict[int, list[int]]:
    """Offer positions for every demand that finds its cells when its turn, in the order given, comes."""
    free: Bools = np.ones(len(market.kinds), dtype=np.bool_)
    assignment: dict[int, list[int]] = {}
    for demand in demands:
        for kind in market.demands[demand].kinds:
            cells = cells_for(market, demand, np.flatnonzero(eligible(market, demand, kind) & free), ratio)
            if cells:
                assignment[demand] = cells
                free[cells] = False
                break
    return assignment


def heaviest_first(market: Market, demands: Sequence[int]) -> list[int]:
    return sorted(demands, key=lambda i: (-market.demands[i].weight, i))


def scarcest_first(market: Market, demands: Sequence[int], first: Set[int]) -> list[int]:
    """Those of `first` by how few cells would do for them, then the others by weight."""
    # The scarcest first: whoever has few cells to choose from must not lose them to one who has many.
    able = market.fits.sum(axis=1)
    early = sorted(first, key=lambda i: (able[i], -market.demands[i].parallel, i))
    return [*early, *heaviest_first(market, [i for i in demands if i not in first])]


def cells_for(market: Market, demand: int, able: Ints, ratio: float | None) -> list[int]:
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
        # In order of resistance a legal group is a run of neighbours, so a greedy walk finds the most groups.
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
        # Doubling keeps to small cells as long as they suffice, with few repeats.
        count *= 2
