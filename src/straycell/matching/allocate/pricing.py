"""The pricing problems: at given prices of cells, the cheapest legal serving of a choice (a demand with a kind), exactly."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from straycell.matching.allocate.model import Choice
from straycell.matching.allocate.read_input import Market
from straycell.matching.balance.bounds import most_legal_groups, walk_of
from straycell.matching.balance.pool import RATIO_SLACK, Bools, Floats, Ints, Pool, sorted_pool

# Array operations that a search costs however few its windows are.
LEAST_WORK = 150


@dataclass(frozen=True, slots=True)
class PricingProblem:
    """A choice with the offers that fit it, in ascending resistance."""

    choice: Choice
    parallel: int
    cells: Ints
    capacity: Ints
    resistance: Floats
    ratio: float

    @property
    def work(self) -> int:
        """What one search costs, about, in array operations."""
        # The width of the window times the number of groups is what the exact walk steps through (bounds.py).
        width = int((self.pool(self.capacity).reach - np.arange(len(self.cells))).max())
        return LEAST_WORK + (0 if self.mixes_freely else width * (2 * self.choice.groups + 6))

    @property
    def mixes_freely(self) -> bool:
        ohms = self.resistance
        # Where the extremes may be joined the cheapest cells are a legal serving, and no walk is needed.
        return self.parallel == 1 or bool(ohms[-1] <= ohms[0] * self.ratio * (1 + RATIO_SLACK))

    def pool(self, worth: Ints) -> Pool:
        return sorted_pool(worth, self.resistance, self.cells, 1, self.ratio)

    def can_be_served(self) -> bool:
        return len(most_legal_groups(self.pool(self.capacity), self.parallel)) >= self.choice.groups

    def cheapest(self, cost: Ints) -> tuple[int, Ints]:
        """The least total of `cost` (one for each of `cells`) of a legal serving, and its offers."""
        if self.mixes_freely:
            places = np.lexsort((np.arange(len(cost)), cost))[: self.choice.cells]
        else:
            # The walk looks for the largest total, so costs go in with their sign turned.
            walked = walk_of(self.pool(-cost), self.choice.groups, self.parallel)
            assert walked is not None
            places = np.array([int(walked.kept[cell]) for group in walked.groups() for cell in group])
        return int(cost[places].sum()), np.sort(self.cells[places])


def pricing_problems(
    market: Market, choices: Sequence[Choice], fits: Sequence[Bools], ratio: float
) -> list[PricingProblem]:
    """Every choice that could be served if it were alone."""
    problems: list[PricingProblem] = []
    for choice, able in zip(choices, fits, strict=True):
        cells = np.flatnonzero(able)
        cells = cells[np.lexsort((cells, market.capacity[cells], market.resistance[cells]))]
        parallel = market.demands[choice.demand].parallel
        problem = PricingProblem(
            choice, parallel, cells, market.capacity[cells], market.resistance[cells], ratio
        )
        if problem.can_be_served():
            problems.append(problem)
    return problems
