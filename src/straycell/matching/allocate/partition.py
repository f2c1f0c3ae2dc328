"""Demands that share kinds form a part; each part is planned by itself, with the resistance ratio if there is one.

Under a ratio few cells are one exact model (whole_groups.py). Among many, windows of resistance on a grid come near the
plan without the ratio, whose bounds hold here, too; the gap that is left is printed.
"""

from __future__ import annotations

import time
from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from straycell.matching.allocate.benders import Benders, BendersMaster, Result
from straycell.matching.allocate.flow import MOST_ARCS, FlowSearch, flow_of, prices_in, support_in, trade_of
from straycell.matching.allocate.greedy import cheapest, dealt, heaviest_first, scarcest_first, serve_in_turn
from straycell.matching.allocate.market import Kind, Market, Plan, Tier, plan_of, tiers_of
from straycell.matching.allocate.model import Model, Windows, model_of
from straycell.matching.allocate.whole_groups import group_model, refined
from straycell.matching.balance.pool import Bools, Floats

# An exact model so small is quicker than windows, and proves all.
FEW_COLUMNS = 6_000
# Starts per ratio of the wider windows that bounds are taken from.
BOUND_GRID = 4
# Starts per ratio of the windows that a plan is looked for in: a finer grid served no more, and took longer.
GRID = 2
CLOSE_SURPLUS = 9e-4
FLOW_TURNS = 4
# What one of many parts may take of the time left.
PART_SHARE = 0.4


def plan_parts(market: Market, ratio: float | None, deadline: float, seed: int) -> list[Planner]:
    """Each part with its plan, first without the ratio, each with its share of the time left."""
    planners: list[Planner] = []
    for demands in separate_parts(market):
        tiers = tiers_of({demand: market.demands[demand].weight for demand in demands})
        planners.append(Planner(market, demands, tiers, ratio, deadline, seed))
    # All parts without the ratio first: their answers are the bounds of those with it, and cost little.
    for round_of in (Planner.plan_loosely, Planner.plan):
        for place, planner in enumerate(planners):
            now = time.monotonic()
            # Later parts get what earlier ones left over, and no part can starve the others.
            share = max(PART_SHARE, 1 / (len(planners) - place))
            planner.deadline = now + max(0.0, deadline - now) * share
            round_of(planner)
    return planners


def separate_parts(market: Market) -> list[list[int]]:
    """Demand positions grouped so that no kind is shared between groups."""
    leader: dict[Kind, Kind] = {}

    def root(kind: Kind) -> Kind:
        while leader.setdefault(kind, kind) != kind:
            kind = leader[kind]
        return kind

    for demand in market.demands:
        for kind in demand.kinds[1:]:
            # Demands that share no kind cannot compete for a cell, so they are planned apart and exactly.
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
    model: Model = field(init=False)
    loose: Result = field(init=False)
    served: set[tuple[int, Kind]] = field(init=False)
    best: Plan = field(init=False)

    def search(self, model: Model) -> Benders:
        return Benders(model, BendersMaster(model, self.deadline, self.seed), self.tiers)

    def solved(self, search: Benders) -> Result:
        result = search.run()
        self.stopped_early |= search.master.stopped_early
        return result

    def plan_loosely(self) -> None:
        """Serve the demands as if resistances could be mixed."""
        self.model = model_of(self.market, self.demands, None)
        self.loose = self.solved(self.search(self.model))
        self.served = self.model.served(self.loose.x)

    def plan(self) -> None:
        """The best plan found, with what is proven of it."""
        loose = self.loose
        # Where no demand joins cells in parallel, the ratio forbids nothing and the looser plan is the answer.
        joined = any(self.market.demands[choice.demand].parallel > 1 for choice in self.model.choices)
        if self.ratio is None or not self.served or not joined:
            self.best = self.finished(self.model, loose, loose.weight_bounds, loose.surplus_bound)
            return
        exact = group_model(self.market, self.demands, self.ratio, self.deadline, self.seed)
        few = exact is not None and len(exact.cell) <= FEW_COLUMNS
        self.best = self.plainest(loose.weight_bounds) if few else self.by_windows()
        close = 0.0 if few else CLOSE_SURPLUS
        if exact is not None and not self.best.settled(close):
            self.best = refined(exact, self.tiers, self.best, close / 2)
            self.stopped_early |= exact.stopped_early

    def by_windows(self) -> Plan:
        """The best plan on a grid of windows, with bounds from wider ones."""
        best = self.on_grid()
        if best is None:
            return self.plainest(self.loose.weight_bounds)
        result, bound = best[1], self.surplus_bound(best[1])
        weight_bounds = self.loose.weight_bounds
        if not self.close_enough(result):
            weight_bounds, bound = self.relaxed_bounds(result, bound)
        return self.finished(*best, weight_bounds, bound)

    def relaxed_bounds(self, result: Result, bound: int) -> tuple[list[int], int]:
        """Bounds on weight and surplus under the ratio, from windows that are rather too wide than too narrow."""
        loose = self.loose
        wide = model_of(self.market, self.demands, Windows(self.ratio or 1.0, BOUND_GRID, wider=True))
        # A model too large for one question would use up the time and prove nothing.
        if int(wide.member.sum()) > MOST_ARCS:
            return loose.weight_bounds, bound
        search = self.search(wide)
        everywhere = np.ones(wide.member.shape, dtype=np.bool_)
        seeker = FlowSearch(
            search.master,
            flow_of(wide, np.zeros(len(wide.unit)), everywhere),
            trade_of(wide, self.in_use(result)),
        )
        weight_bounds = list(loose.weight_bounds)
        for place, (tier, weight) in enumerate(zip(self.tiers, result.weights, strict=True)):
            # The bound without the ratio was for tiers at their best before it; with less there, this one could still
            # win more.
            if result.weights[:place] != loose.weights[:place]:
                weight_bounds[place] = sum(tier.worth.values())
            values = wide.weights(tier)
            if weight_bounds[place] > weight:
                most = -seeker.heaviest(values, weight_bounds[place]).bound
                weight_bounds[place] = int(max(weight, min(weight_bounds[place], most + 0.4)))
            if weight_bounds[place] > weight:
                break
            seeker.keep(values, weight)
        # Compared with two plans, because the bound is tight only near the plan it is measured from.
        for used in (result, loose):
            seeker.trade = trade_of(wide, self.in_use(used))
            most = (
                seeker.trade.total + seeker.thrifty(False, 0.4 / wide.steps_per_ah).bound * wide.steps_per_ah
            )
            if bound < most < np.inf:
                bound = min(result.surplus, int(np.ceil(most - 0.4)))
        return weight_bounds, bound

    def on_grid(self) -> tuple[Model, Result] | None:
        """Windows on a grid: first for what is served without the ratio, then for any other set of demands."""
        best: tuple[Model, Result] | None = None
        windows = Windows(self.ratio or 1.0, GRID)
        for only in (self.served, None):
            if time.monotonic() > self.deadline:
                self.stopped_early = True
                break
            found = self.flowing(only, windows)
            # The served set may only be known after the heaviest was asked for; its own smaller model then spends less.
            if only is None and found is not None:
                again = self.flowing(found[0].served(found[1].x), windows)
                found = again if again is not None and better(again[1], found[1]) else found
            if found is not None and (best is None or better(found[1], best[1])):
                best = found
            if best is not None and self.close_enough(best[1]):
                break
        return best

    def flowing(self, only: set[tuple[int, Kind]] | None, windows: Windows) -> tuple[Model, Result] | None:
        """A plan in windows near the plan without them: for the same demands (`only`), or for the heaviest."""
        model, loose = self.model, self.loose
        grid = model_of(self.market, self.demands, windows, only)
        search = self.search(grid)
        flow = flow_of(grid, prices_in(grid, model, loose), support_in(grid, model, loose))
        seeker = FlowSearch(search.master, flow, trade_of(grid, self.in_use(loose)))
        best: Result | None = None
        if only is None:
            for tier, most in zip(self.tiers, loose.weights, strict=True):
                x = seeker.heaviest(grid.weights(tier), most).x
                best = None if x is None else self.judged(search, x)
                seeker.keep(grid.weights(tier), 0 if x is None else search.worth(tier, x))
        gap = max(loose.surplus_bound * CLOSE_SURPLUS, 1.0) / 2 / grid.steps_per_ah
        for _ in range(FLOW_TURNS):
            x = seeker.thrifty(only is not None, gap).x
            result = None if x is None else self.judged(search, x)
            if result is None or (best is not None and not better(result, best)):
                break
            best = result
            if self.close_enough(best):
                break
            seeker.trade = trade_of(grid, self.in_use(best))
        self.stopped_early |= search.master.stopped_early
        return None if best is None else (grid, best)

    def judged(self, search: Benders, x: Floats) -> Result | None:
        """These columns with the cheapest cells for them; None where there are none."""
        placed = cheapest(search.model, search.model.needs(x))
        if placed.wanting:
            return None
        weights = [search.worth(tier, x) for tier in self.tiers]
        return Result(x, placed, search.surplus_of(x, placed), weights, [], 0)

    def in_use(self, result: Result) -> Bools:
        used = np.zeros(len(self.market.kinds), dtype=np.bool_)
        used[[cell for cells in dealt(result.placed) for cell in cells]] = True
        return used

    def surplus_bound(self, result: Result) -> int:
        """A bound on the surplus of plans that serve the weight found under the ratio, which may be less."""
        # A plan that serves less may spend less: the bound has to be found for this weight.
        loose = self.loose
        if result.weights == loose.weights:
            return loose.surplus_bound
        search = self.search(self.model)
        search.start_from(loose.x, loose.placed, result.weights)
        return search.lower_surplus()[1]

    def finished(
        self, model: Model, result: Result, weight_bounds: Sequence[int], surplus_bound: int
    ) -> Plan:
        """The plan in offer positions, or the plain one where that serves more."""
        given: dict[int, list[int]] = {}
        for option, held in enumerate(dealt(result.placed)):
            if held:
                given.setdefault(model.choices[int(model.owner[option])].demand, []).extend(held)
        best = plan_of(self.market, self.tiers, given, weight_bounds, surplus_bound)
        if list(weight_bounds) == best.weights:
            return best
        # The plain way costs next to nothing and is a net under a search that was stopped early.
        plain = self.plainest(weight_bounds)
        return plain if plain.weights > best.weights else best

    def plainest(self, weight_bounds: Sequence[int]) -> Plan:
        """Each demand in turn takes its cells: by weight, or the scarcest first."""
        first = {demand for demand, _ in self.served}
        orders = heaviest_first(self.market, self.demands), scarcest_first(self.market, self.demands, first)
        served = (serve_in_turn(self.market, order, self.ratio) for order in orders)
        plans = [plan_of(self.market, self.tiers, given, weight_bounds, 0) for given in served]
        best = max(plans, key=lambda plan: plan.goodness)
        bound = self.loose.surplus_bound if best.weights == self.loose.weights else 0
        return replace(best, surplus_bound=min(best.surplus, bound))

    def close_enough(self, result: Result) -> bool:
        """As much weight as without the ratio, and hardly more surplus."""
        least = self.loose.surplus_bound
        allowed = least + max(1, int(least * CLOSE_SURPLUS))
        return result.weights == self.loose.weights and result.surplus <= allowed


def better(one: Result, other: Result) -> bool:
    return (one.weights, -one.surplus) > (other.weights, -other.surplus)
