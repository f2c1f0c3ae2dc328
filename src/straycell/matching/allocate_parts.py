"""Demands that share kinds form a part; each part is planned by itself, with the resistance ratio if there is one."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from straycell.matching.allocate_flow import fitted
from straycell.matching.allocate_greedy import cheapest, dealt
from straycell.matching.allocate_input import Kind, Market
from straycell.matching.allocate_master import Master
from straycell.matching.allocate_model import Model, Windows, model_of, window_count
from straycell.matching.allocate_simple import serve_in_turn
from straycell.matching.allocate_solve import Result, Search
from straycell.matching.allocate_weights import Tier

# Models of every window are exact; beyond this many windows a grid has to do.
MOST_EXACT_WINDOWS = 200
GRIDS = (2, 4)
CLOSE_SURPLUS = 5e-4


@dataclass(slots=True)
class Part:
    """The plan of one part: offer positions by demand, surplus and its bound in steps, weight not proven away."""

    assignment: dict[int, list[int]] = field(default_factory=dict)
    surplus: int = 0
    surplus_bound: int = 0
    missing_weight: float = 0.0
    stopped_early: bool = False


def separate_parts(market: Market) -> list[list[int]]:
    """Demand positions grouped so that no kind is shared between groups."""
    leader: dict[Kind, Kind] = {}

    def root(kind: Kind) -> Kind:
        while leader.setdefault(kind, kind) != kind:
            kind = leader[kind]
        return kind

    for demand in market.demands:
        for kind in demand.kinds[1:]:
            leader[root(kind)] = root(demand.kinds[0])
    parts: dict[Kind, list[int]] = {}
    for index, demand in enumerate(market.demands):
        parts.setdefault(root(demand.kinds[0]), []).append(index)
    return list(parts.values())


@dataclass(slots=True)
class Planner:
    """One part being planned: the bounds of the question without a ratio hold with one too."""

    market: Market
    demands: Sequence[int]
    tiers: list[Tier]
    ratio: float | None
    deadline: float
    seed: int
    stopped_early: bool = False

    def search(self, model: Model) -> Search:
        return Search(model, Master(model, self.deadline, self.seed), self.tiers)

    def solved(self, search: Search) -> Result:
        result = search.run()
        self.stopped_early |= search.master.stopped_early
        return result

    def plan(self) -> Part:
        """The best plan found, with what is proven of it."""
        model = model_of(self.market, self.demands, None)
        if not model.choices:
            return Part()
        search = self.search(model)
        loose = self.solved(search)
        if self.ratio is None or not search.served() or not self.ratio_binds(model):
            return self.finished(model, loose, loose.weight_bounds, loose.surplus_bound)
        if window_count(self.market, self.demands) <= MOST_EXACT_WINDOWS:
            exact = model_of(self.market, self.demands, Windows(self.ratio, 0))
            result = self.solved(self.search(exact))
            return self.finished(exact, result, result.weight_bounds, result.surplus_bound)
        return self.on_grids(model, loose, search.served())

    def ratio_binds(self, model: Model) -> bool:
        return any(self.market.demands[choice.demand].parallel > 1 for choice in model.choices)

    def on_grids(self, model: Model, loose: Result, served: set[tuple[int, Kind]]) -> Part:
        """Windows on a grid: first for what is served without the ratio, then for any other set of demands."""
        best: tuple[Model, Result] | None = None
        for per_ratio in GRIDS:
            windows = Windows(self.ratio or 1.0, per_ratio)
            for attempt in (self.fitted, self.searched):
                found = attempt(model, loose, served, windows)
                if found is not None and (best is None or better(found[1], best[1])):
                    best = found
                if best is not None and close_enough(best[1], loose):
                    return self.finished(*best, loose.weight_bounds, loose.surplus_bound)
        assert best is not None
        return self.finished(*best, loose.weight_bounds, self.surplus_bound(model, loose, best[1]))

    def fitted(
        self, model: Model, loose: Result, served: set[tuple[int, Kind]], windows: Windows
    ) -> tuple[Model, Result] | None:
        """The demands served without the ratio, from about the same cells."""
        grid = model_of(self.market, self.demands, windows, served)
        in_use = np.zeros(len(self.market.kinds), dtype=np.bool_)
        in_use[[cell for cells in dealt(loose.placed) for cell in cells]] = True
        value = {
            (c.demand, c.kind): loose.placed.price[k]
            for k, c in enumerate(model.choices[int(owner)] for owner in model.owner)
        }
        prices = [value[(c.demand, c.kind)] for c in (grid.choices[int(owner)] for owner in grid.owner)]
        search = self.search(grid)
        gap = max(loose.surplus_bound * CLOSE_SURPLUS, 1.0) / 2 / grid.steps_per_ah
        x = fitted(search.master, np.array(prices, dtype=np.float64), in_use, gap)
        self.stopped_early |= search.master.stopped_early
        if x is None:
            return None
        placed = cheapest(grid, grid.needs(x))
        if placed.wanting:
            return None
        surplus = search.surplus_of(x, placed)
        return grid, Result(x, placed, surplus, loose.weights, loose.weight_bounds, loose.surplus_bound)

    def searched(
        self, model: Model, loose: Result, served: set[tuple[int, Kind]], windows: Windows
    ) -> tuple[Model, Result]:
        """Any set of demands."""
        grid = model_of(self.market, self.demands, windows)
        return grid, self.solved(self.search(grid))

    def surplus_bound(self, model: Model, loose: Result, result: Result) -> int:
        """A bound on the surplus of plans that serve the weight found under the ratio, which may be less."""
        if result.weights == loose.weights:
            return loose.surplus_bound
        search = self.search(model)
        search.start_from(loose.x, loose.placed, result.weights)
        return search.lower_surplus()[1]

    def finished(
        self, model: Model, result: Result, weight_bounds: Sequence[int], surplus_bound: int
    ) -> Part:
        """The plan in offer positions; the plain way stands in where the search was stopped before it found more."""
        part = Part(stopped_early=self.stopped_early)
        part.assignment = self.assigned(model, result)
        weights = result.weights
        plain = serve_in_turn(self.market, self.demands, self.ratio)
        if (plain_weights := [sum(tier.worth.get(d, 0) for d in plain) for tier in self.tiers]) > weights:
            part.assignment, weights, surplus_bound = plain, plain_weights, 0
        part.surplus = self.surplus(part.assignment)
        part.surplus_bound = min(surplus_bound, part.surplus)
        part.missing_weight = missing(self.tiers, weights, weight_bounds)
        return part

    def assigned(self, model: Model, result: Result) -> dict[int, list[int]]:
        cells: dict[int, list[int]] = {}
        for option, held in enumerate(dealt(result.placed)):
            if held:
                cells.setdefault(model.choices[int(model.owner[option])].demand, []).extend(held)
        ohms = self.market.resistance
        return {demand: sorted(held, key=lambda cell: (ohms[cell], cell)) for demand, held in cells.items()}

    def surplus(self, assignment: dict[int, list[int]]) -> int:
        market = self.market
        return sum(
            int(market.capacity[cells].sum()) - int(market.minimum[demand]) * len(cells)
            for demand, cells in assignment.items()
        )


def plan_part(
    market: Market, demands: Sequence[int], tiers: list[Tier], ratio: float | None, deadline: float, seed: int
) -> Part:
    """Plan the demands of one part."""
    return Planner(market, demands, tiers, ratio, deadline, seed).plan()


def better(one: Result, other: Result) -> bool:
    return (one.weights, -one.surplus) > (other.weights, -other.surplus)


def close_enough(result: Result, loose: Result) -> bool:
    """As much weight as without the ratio, and hardly more surplus."""
    allowed = loose.surplus_bound + max(1, int(loose.surplus_bound * CLOSE_SURPLUS))
    return result.weights == loose.weights and result.surplus <= allowed


def missing(tiers: Sequence[Tier], weights: Sequence[int], bounds: Sequence[int]) -> float:
    """Weight that is not proven out of reach. After a tier that is not proven all of the lower ones counts."""
    total, proven = 0.0, True
    for tier, weight, bound in zip(tiers, weights, bounds, strict=True):
        most = bound if proven else sum(tier.worth.values())
        total += max(0, most - weight) * tier.unit
        proven = proven and bound == weight
    return total
