"""Demands that share kinds form a part; each part is planned by itself, with the resistance ratio if there is one.

Windows of resistance let a solver take half groups, so among few cells (MOST_CELLS) whole servings are priced by an
exact walk (pricing.py), and every price list becomes a row over who is served (column_generation.py). Ratios below
1.2 may still leave a gap of surplus, which is printed.
"""

from __future__ import annotations

import time
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from straycell.matching.allocate.benders import Benders, Result
from straycell.matching.allocate.benders_master import BendersMaster
from straycell.matching.allocate.column_generation import Plan, refined
from straycell.matching.allocate.first_fit import heaviest_first, scarcest_first, serve_in_turn
from straycell.matching.allocate.flow import MOST_ARCS, FlowSearch, flow_of, trade_of
from straycell.matching.allocate.greedy import cheapest, dealt
from straycell.matching.allocate.model import Model, Windows, cells_in_question, model_of, window_count
from straycell.matching.allocate.read_input import Kind, Market
from straycell.matching.allocate.seed_windows import prices_in, served_in, support_in
from straycell.matching.allocate.weights import Tier, tiers_of
from straycell.matching.balance.pool import Bools, Floats

# A model of every window is exact: it is tried where windows are few.
FEW_WINDOWS = 200
# Prices of whole servings are asked for among so many cells, beyond not at all.
MOST_CELLS = 400
# Up to so many, more is done than to come close to the plan without a ratio.
MOST_EXACT_WINDOWS = 300
PROOF_NODES = 6_000
PROOF_TURNS = 80
# Starts per ratio of the wider windows that bounds are taken from.
BOUND_GRID = 4
GRIDS = (2, 4)
CLOSE_SURPLUS = 9e-4
FLOW_TURNS = 4
# What one of many parts may take of the time left.
PART_SHARE = 0.4


@dataclass(slots=True)
class Part:
    """The plan of one part: offer positions by demand, surplus and its bound in steps, weight not proven away."""

    assignment: dict[int, list[int]] = field(default_factory=dict)
    surplus: int = 0
    surplus_bound: int = 0
    missing_weight: float = 0.0
    stopped_early: bool = False


def plan_parts(market: Market, ratio: float | None, deadline: float, seed: int) -> list[Part]:
    """Plan all parts, first without the ratio, each with its share of the time left."""
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
    return [planner.part for planner in planners]


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
    part: Part = field(init=False)

    def search(self, model: Model) -> Benders:
        return Benders(model, BendersMaster(model, self.deadline, self.seed), self.tiers)

    def solved(self, search: Benders) -> Result:
        result = search.run()
        self.stopped_early |= search.master.stopped_early
        return result

    def plan_loosely(self) -> None:
        """Serve the demands as if resistances could be mixed."""
        self.model = model_of(self.market, self.demands, None)
        search = self.search(self.model)
        self.loose = self.solved(search)
        self.served = search.served()

    def plan(self) -> None:
        """The best plan found, with what is proven of it."""
        self.part = self.planned()

    def planned(self) -> Part:
        model, loose = self.model, self.loose
        # Where no demand joins cells in parallel, the ratio forbids nothing and the looser plan is the answer.
        if self.ratio is None or not self.served or not self.ratio_binds(model):
            return self.finished(model, loose, loose.weight_bounds, loose.surplus_bound)
        windows = window_count(self.market, self.demands)
        close = 0.0 if windows <= FEW_WINDOWS else CLOSE_SURPLUS
        part = self.by_windows(windows)
        if settled(part, close) or cells_in_question(self.market, self.demands) > MOST_CELLS:
            return part
        part = self.best_of(part, self.refined(part, close / 2))
        # Few windows: the exact model is small enough to be asked in full.
        return part if settled(part, close) or windows > FEW_WINDOWS else self.by_exact_windows(part)

    def by_windows(self, windows: int) -> Part:
        """The best plan on grids of windows, with bounds from wider ones."""
        model, loose = self.model, self.loose
        best = self.on_grids(model, loose, self.served)
        result, bound = best[1], self.surplus_bound(model, loose, best[1])
        weight_bounds = loose.weight_bounds
        proven = (result.weights, result.surplus) == (weight_bounds, bound)
        if not proven and not (close_enough(result, loose) and windows > MOST_EXACT_WINDOWS):
            weight_bounds, bound = self.relaxed_bounds(loose, result, bound)
        return self.finished(*best, weight_bounds, bound)

    def by_exact_windows(self, part: Part) -> Part:
        """The part, or a better one from the model of every window, as far as a number of nodes gets."""
        assert self.ratio is not None
        exact = model_of(self.market, self.demands, Windows(self.ratio, 0))
        search = self.search(exact)
        search.turns, search.master.nodes = PROOF_TURNS, PROOF_NODES
        proof = self.solved(search)
        return self.best_of(part, self.finished(exact, proof, proof.weight_bounds, proof.surplus_bound))

    def best_of(self, one: Part, other: Part) -> Part:
        """The better of two plans, with what is proven of either."""
        best = max(one, other, key=self.goodness)
        best.stopped_early = one.stopped_early or other.stopped_early
        if self.goodness(one)[0] == self.goodness(other)[0]:
            # Bounds hold for all plans, so the tighter of two counts; that of surplus only at equal weight.
            best.missing_weight = min(one.missing_weight, other.missing_weight)
            best.surplus_bound = min(best.surplus, max(one.surplus_bound, other.surplus_bound))
        return best

    def refined(self, part: Part, close: float) -> Part:
        """The part bettered and proven by prices of whole servings, where it is small enough."""
        assert self.ratio is not None
        weights = self.goodness(part)[0]
        bounds = list(self.loose.weight_bounds)
        plan = Plan(part.assignment, weights, part.surplus, bounds, part.surplus_bound)
        plan = refined(
            self.market, self.demands, self.tiers, self.ratio, self.deadline, self.seed, plan, close
        )
        return Part(
            plan.assignment,
            plan.surplus,
            plan.surplus_bound,
            missing(self.tiers, plan.weights, plan.weight_bounds),
            part.stopped_early or time.monotonic() > self.deadline,
        )

    def relaxed_bounds(self, loose: Result, result: Result, bound: int) -> tuple[list[int], int]:
        """Bounds on weight and surplus under the ratio, from windows that are rather too wide than too narrow."""
        assert self.ratio is not None
        wide = model_of(self.market, self.demands, Windows(self.ratio, BOUND_GRID, wider=True))
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
            values = search.values(tier)[:-1]
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

    def ratio_binds(self, model: Model) -> bool:
        return any(self.market.demands[choice.demand].parallel > 1 for choice in model.choices)

    def on_grids(self, model: Model, loose: Result, served: set[tuple[int, Kind]]) -> tuple[Model, Result]:
        """Windows on a grid: first for what is served without the ratio, then for any other set of demands."""
        best: tuple[Model, Result] | None = None
        small = window_count(self.market, self.demands) <= FEW_WINDOWS
        # Among few windows every start is exact; among many a grid keeps the model small.
        for per_ratio in (0,) if small else GRIDS:
            windows = Windows(self.ratio or 1.0, per_ratio)
            for only in (served, None):
                if time.monotonic() > self.deadline:
                    self.stopped_early = True
                    break
                found = self.flowing(model, loose, only, windows)
                # The served set may only be known after the heaviest was asked for; its own smaller model then spends
                # less.
                if only is None and found is not None:
                    again = self.flowing(model, loose, served_in(*found), windows)
                    found = again if again is not None and better(again[1], found[1]) else found
                if found is not None and (best is None or better(found[1], best[1])):
                    best = found
                if best is not None and close_enough(best[1], loose):
                    return best
        if best is None:
            grid = model_of(self.market, self.demands, Windows(self.ratio or 1.0, GRIDS[0]))
            best = grid, self.solved(self.search(grid))
        return best

    def flowing(
        self, model: Model, loose: Result, only: set[tuple[int, Kind]] | None, windows: Windows
    ) -> tuple[Model, Result] | None:
        """A plan in windows near the plan without them: for the same demands (`only`), or for the heaviest."""
        grid = model_of(self.market, self.demands, windows, only)
        search = self.search(grid)
        flow = flow_of(grid, prices_in(grid, model, loose), support_in(grid, model, loose))
        seeker = FlowSearch(search.master, flow, trade_of(grid, self.in_use(loose)))
        best: Result | None = None
        if only is None:
            for tier, most in zip(self.tiers, loose.weights, strict=True):
                x = seeker.heaviest(search.values(tier)[:-1], most).x
                best = None if x is None else self.judged(search, x)
                seeker.keep(search.values(tier)[:-1], 0 if x is None else search.worth(tier, x))
        gap = max(loose.surplus_bound * CLOSE_SURPLUS, 1.0) / 2 / grid.steps_per_ah
        for _ in range(FLOW_TURNS):
            x = seeker.thrifty(only is not None, gap).x
            result = None if x is None else self.judged(search, x)
            if result is None or (best is not None and not better(result, best)):
                break
            best = result
            if close_enough(best, loose):
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

    def surplus_bound(self, model: Model, loose: Result, result: Result) -> int:
        """A bound on the surplus of plans that serve the weight found under the ratio, which may be less."""
        # A plan that serves less may spend less: the bound has to be found for this weight.
        if result.weights == loose.weights:
            return loose.surplus_bound
        search = self.search(model)
        search.start_from(loose.x, loose.placed, result.weights)
        return search.lower_surplus()[1]

    def finished(
        self, model: Model, result: Result, weight_bounds: Sequence[int], surplus_bound: int
    ) -> Part:
        """The plan in offer positions, or the plain one where that serves more."""
        part = Part(stopped_early=self.stopped_early)
        part.assignment = self.assigned(model, result)
        weights = result.weights
        for order in [] if list(weight_bounds) == weights else self.plain_orders():
            # The plain way costs next to nothing and is a net under a search that was stopped early.
            plain = serve_in_turn(self.market, order, self.ratio)
            plain_weights = [sum(tier.worth.get(d, 0) for d in plain) for tier in self.tiers]
            if plain_weights > weights:
                part.assignment, weights, surplus_bound = plain, plain_weights, 0
        part.surplus = self.surplus(part.assignment)
        part.surplus_bound = min(surplus_bound, part.surplus)
        part.missing_weight = missing(self.tiers, weights, weight_bounds)
        return part

    def goodness(self, part: Part) -> tuple[list[int], int]:
        """More is better: the weights served, then less surplus."""
        return [sum(tier.worth.get(d, 0) for d in part.assignment) for tier in self.tiers], -part.surplus

    def plain_orders(self) -> list[list[int]]:
        """Orders for the plain way, which stands in where the search was stopped before it found more."""
        first = {demand for demand, _ in self.served}
        return [heaviest_first(self.market, self.demands), scarcest_first(self.market, self.demands, first)]

    def assigned(self, model: Model, result: Result) -> dict[int, list[int]]:
        cells: dict[int, list[int]] = {}
        for option, held in enumerate(dealt(result.placed)):
            if held:
                cells.setdefault(model.choices[int(model.owner[option])].demand, []).extend(held)
        ohms = self.market.resistance
        # Runs of neighbours in resistance are the groups that the check and the build expect.
        return {demand: sorted(held, key=lambda cell: (ohms[cell], cell)) for demand, held in cells.items()}

    def surplus(self, assignment: dict[int, list[int]]) -> int:
        market = self.market
        return sum(
            int(market.capacity[cells].sum()) - int(market.minimum[demand]) * len(cells)
            for demand, cells in assignment.items()
        )


def settled(part: Part, close: float) -> bool:
    """Whether no plan can be better, or only by a share of the surplus."""
    return part.missing_weight == 0 and part.surplus - part.surplus_bound <= close * part.surplus


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
