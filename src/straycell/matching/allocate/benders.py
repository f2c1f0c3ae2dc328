"""Weight first, then surplus, by Benders decomposition: a small integer model (the master) decides who is served and how
many groups come from each window, the cheapest placement corrects it by cuts, until they agree.

A feasibility cut is a set of options that together want more than there is (Hall); an optimality cut is a price list.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from straycell.matching.allocate.greedy import Placement, bits, cheapest
from straycell.matching.allocate.highs import INFINITE, STEP_SHARE, Answer, Question, Row, ask, at_least
from straycell.matching.allocate.market import Tier
from straycell.matching.allocate.model import Model, one_kind_each
from straycell.matching.balance.pool import Floats


@dataclass(slots=True)
class BendersMaster:
    """The rows for one model; the last column is the total capacity spent, in ampere-hours."""

    model: Model
    deadline: float
    seed: int
    rows: list[Row] = field(default_factory=list)
    halls: set[int] = field(default_factory=set)
    stopped_early: bool = False

    def __post_init__(self) -> None:
        self.link_windows()
        self.rows += one_kind_each(self.model.choices)
        for option in range(len(self.model.unit)):
            self.add_feasibility_cut(1 << option)
        for choice in range(len(self.model.choices)):
            mine = np.flatnonzero(self.model.owner == choice)
            # All windows of a choice draw on the same cells: without this cut the model would promise them twice.
            self.add_feasibility_cut(sum(1 << int(option) for option in mine))

    def link_windows(self) -> None:
        """A windowed choice takes all its groups or none."""
        model = self.model
        whole = set(model.column.tolist())
        for index, choice in enumerate(model.choices):
            if index not in whole:
                columns = model.column[model.owner == index]
                values = np.append(np.ones(len(columns)), -float(choice.groups))
                self.rows.append(Row(np.append(columns, index), values, 0.0, 0.0))

    def add_feasibility_cut(self, wanted: int) -> bool:
        """All options that can only draw on the cells of these options share those cells. False if known."""
        model = self.model
        near = np.array([bool(mask & wanted) for mask in model.masks], dtype=np.bool_)
        elsewhere = 0
        for bucket in np.flatnonzero(~near):
            # An option that can also draw on another bucket is not bound by these cells alone.
            elsewhere |= model.masks[bucket]
        inside = ((1 << len(model.unit)) - 1) & ~elsewhere
        if inside in self.halls:
            return False
        self.halls.add(inside)
        options = np.array(list(bits(inside)), dtype=np.int64)
        if len(options):
            values = model.unit[options].astype(np.float64)
            self.rows.append(Row(model.column[options], values, -INFINITE, float(model.supply[near].sum())))
        return True

    def add_optimality_cut(self, price: list[int]) -> None:
        """The total spent is at least the needs at these prices, less what cheaper cells save."""
        model, scale = self.model, float(self.model.steps_per_ah)
        prices = np.array(price, dtype=np.int64)
        dearest = np.where(model.member, prices[None, :], 0).max(axis=1, initial=0)
        # Weak duality: at these prices every plan pays at least this, whatever it takes.
        saved = np.maximum(
            0, dearest[np.array(model.bucket, dtype=np.int64)] - np.array(model.steps, dtype=np.int64)
        ).sum()
        columns = np.append(model.column, model.columns)
        values = np.append(-(model.unit * prices) / scale, 1.0)
        self.rows.append(Row(columns, values, -float(saved) / scale, INFINITE))

    def solve(self, cost: Floats, spending: bool, whole: bool, gap: float) -> Answer:
        """Minimise cost (a value a column, the last for the total spent) over whole or broken columns."""
        total = self.model.columns
        upper = np.append(self.model.upper, INFINITE if spending else 0.0)
        rows = [row for row in self.rows if spending or row.columns[-1] != total]
        question = Question(cost, np.zeros(len(cost)), upper, rows, total if whole else 0, gap)
        answer = ask(question, self.deadline, self.seed)
        self.stopped_early |= answer.stopped_early
        return answer


MOST_TURNS = 80
LP_TURNS = 25
# The solver's own accuracy: surplus and bound closer than this, as a share, are the same.
ACCURACY = 1e-6


@dataclass(slots=True)
class Result:
    """The best columns found with their placement, and bounds: one weight a tier, surplus in steps."""

    x: Floats
    placed: Placement
    surplus: int
    weights: list[int]
    weight_bounds: list[int]
    surplus_bound: int


@dataclass(slots=True)
class Benders:
    """One model being solved: `x` satisfies every row so far."""

    model: Model
    master: BendersMaster
    tiers: list[Tier]
    x: Floats = field(init=False)
    placed: Placement = field(init=False)
    floor: list[int] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.x = np.zeros(self.model.columns)
        self.placed = cheapest(self.model, self.model.needs(self.x))

    def run(self) -> Result:
        """Serve the most weight, tier by tier, then spend the least surplus."""
        bounds = [self.raise_tier(tier) for tier in self.tiers]
        surplus, bound = self.lower_surplus()
        return Result(self.x, self.placed, surplus, self.weights(), bounds, bound)

    def weights(self) -> list[int]:
        return [self.worth(tier, self.x) for tier in self.tiers]

    def start_from(self, x: Floats, placed: Placement, weights: Sequence[int]) -> None:
        """Begin with known columns, and give at least these weights from now on."""
        self.x, self.placed = x, placed
        for tier, weight in zip(self.tiers, weights, strict=True):
            self.keep(tier, weight)

    def worth(self, tier: Tier, x: Floats) -> int:
        served = (choice.demand for index, choice in enumerate(self.model.choices) if x[index] > 0.5)
        return sum(tier.worth.get(demand, 0) for demand in served)

    def raise_tier(self, tier: Tier) -> int:
        """The most of this tier without giving up any of those before; returns its upper bound."""
        values = np.append(self.model.weights(tier), 0.0)
        bound = int(values.sum())
        # Cuts from broken columns are quick, and most of them hold for whole ones too.
        self.learn(-values, spending=False)
        for _ in range(MOST_TURNS):
            answer = self.master.solve(-values, spending=False, whole=True, gap=1 - STEP_SHARE)
            if answer.bound > -INFINITE:
                bound = min(bound, int(np.floor(-answer.bound + STEP_SHARE)))
            if answer.x is None or self.taken(np.rint(answer.x[:-1]), tier):
                break
        bound = max(bound, self.worth(tier, self.x))
        self.keep(tier, self.worth(tier, self.x))
        return bound

    def keep(self, tier: Tier, weight: int) -> None:
        """From now on at least this much of the tier is given."""
        self.master.rows += at_least(self.model.weights(tier), weight)
        self.floor.append(weight)

    def taken(self, x: Floats, tier: Tier) -> bool:
        """Take these columns if cells can be placed for them; else learn why not."""
        placed = cheapest(self.model, self.model.needs(x))
        if placed.wanting:
            # A cut that is already known means that the search cannot learn more here.
            return not self.master.add_feasibility_cut(placed.short_set())
        if self.worth(tier, x) >= self.worth(tier, self.x):
            self.x, self.placed = x, placed
        return True

    def learn(self, cost: Floats, *, spending: bool) -> None:
        """Cuts from the model with broken columns, which is quick, as long as they still tell something.

        Sets of options that want too much; with `spending` price lists too.
        """
        before = -INFINITE
        for _ in range(LP_TURNS):
            answer = self.master.solve(cost, spending=spending, whole=False, gap=0.0)
            if answer.x is None:
                return
            placed = cheapest(self.model, self.model.needs(answer.x[:-1]))
            if placed.wanting:
                if not self.master.add_feasibility_cut(placed.short_set()):
                    return
                continue
            # A cut that raises the bound by less than this is not worth the next question.
            if not spending or answer.bound - before <= 1e-5 * abs(answer.bound):
                return
            before = answer.bound
            self.master.add_optimality_cut(placed.price)

    def surplus_of(self, x: Floats, placed: Placement) -> int:
        return placed.total - round(float(self.model.minimum_steps() @ x))

    def lower_surplus(self) -> tuple[int, int]:
        """The least surplus at this weight, and its lower bound, in steps."""
        best, floor = self.surplus_of(self.x, self.placed), list(self.floor)
        scale = float(self.model.steps_per_ah)
        cost = np.append(-self.model.minimum_steps() / scale, 1.0)
        self.master.add_optimality_cut(self.placed.price)
        self.learn(cost, spending=True)
        bound = 0
        for _ in range(MOST_TURNS):
            # Beyond a billionth of the surplus a gap is the solver's own rounding.
            gap = max(STEP_SHARE / scale, 1e-9 * best / scale)
            answer = self.master.solve(cost, spending=True, whole=True, gap=gap)
            if answer.bound > -INFINITE:
                bound = min(best, max(bound, int(np.ceil(answer.bound * scale - STEP_SHARE))))
            if answer.x is None or bound >= best * (1 - ACCURACY):
                break
            x = np.rint(answer.x[:-1])
            if any(self.worth(tier, x) < low for tier, low in zip(self.tiers, floor, strict=True)):
                # The solver's tolerance may let a column through that serves less than an earlier tier has won.
                break
            placed = cheapest(self.model, self.model.needs(x))
            if placed.wanting:
                if not self.master.add_feasibility_cut(placed.short_set()):
                    break
                continue
            self.master.add_optimality_cut(placed.price)
            if (surplus := self.surplus_of(x, placed)) < best:
                best, self.x, self.placed = surplus, x, placed
        return best, best if bound >= best * (1 - ACCURACY) else bound
