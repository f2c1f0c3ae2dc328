"""The restricted master of column generation, which mixes the servings (its columns) known so far, and its pricing.

Its prices ask the pricing problems for better ones until none is left: the cheapest legal serving of a choice (a demand
with a kind), exactly. Every price list also proves something: whoever is served pays at least his cheapest serving.
"""

import time
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import NamedTuple

import highspy
import numpy as np

from straycell.matching.allocate.highs import INFINITE, Row, SilentHighs
from straycell.matching.allocate.market import Market
from straycell.matching.allocate.model import Choice
from straycell.matching.balance.pool import (
    RATIO_SLACK,
    Bools,
    Floats,
    Ints,
    Pool,
    most_legal_groups,
    sorted_pool,
    walk_of,
)

# Array operations that a search costs however few its windows are.
LEAST_WORK = 150
# Of a new price list, the part that is taken from the one before: prices that jump about prove little.
STEADINESS = 0.5
# What an unserved choice costs in the model that only asks who can be served.
UNSERVED = 1_000_000
ROUNDING = 1e-6
# Dearer than a serving at any usual step of capacity, and far within 64 bits.
FORBIDDING = 10**13
WHOLE_NODES = 400
VARIATIONS = 60
OFF_SHARE = 0.01
# On the way down, a serving must be so much cheaper, as a share, to be worth another turn.
DIVE_CLOSE = 1e-4
DIVE_TURNS = 6
MOST_BARRED = 12


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
        # The width of the window times the number of groups is what the exact walk steps through (balance/pool.py).
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


class DualBound(NamedTuple):
    """Any plan that serves the choices with `served` 1 costs at least `least` @ served - `paid`, in steps."""

    least: Ints
    paid: int


@dataclass(slots=True)
class RestrictedMaster:
    """The servings known so far: each cell once, each choice as far as it is asked for.

    Columns: how far each choice is served, how far it is asked for but not served, then the servings. With
    `spending` servings cost their surplus in steps, else nothing.
    """

    problems: Sequence[PricingProblem]
    size: int
    spending: bool
    rows: Sequence[Row]
    deadline: float
    seed: int
    work_left: int
    solver: highspy.Highs = field(init=False)
    servings: list[tuple[int, Ints]] = field(default_factory=list)
    known: set[tuple[int, bytes]] = field(default_factory=set)
    bounds: list[DualBound] = field(default_factory=list)
    steady: Floats = field(init=False)
    served: Floats = field(init=False)
    rows_learnt: int = 0

    def __post_init__(self) -> None:
        solver = self.solver = SilentHighs(self.seed)
        count, none = len(self.problems), np.zeros(0, dtype=np.int32)
        for _ in range(count):
            solver.addCol(0.0, 0.0, 1.0, 0, none, np.zeros(0))
        for problem in self.problems:
            # Leaving a choice unserved must cost more than any serving, or the mix would serve nobody.
            most = 2.0 * problem.choice.cells * float(problem.capacity.max(initial=1))
            solver.addCol(most if self.spending else float(UNSERVED), 0.0, 1.0, 0, none, np.zeros(0))
        # Each cell once: the duals of these rows are the prices.
        for _ in range(self.size):
            solver.addRow(-INFINITE, 1.0, 0, none, np.zeros(0))
        for index in range(count):
            solver.addRow(
                0.0, 0.0, 2, np.array([index, count + index], dtype=np.int32), np.array([-1.0, 1.0])
            )
        for row in self.rows:
            solver.addRow(row.low, row.high, len(row.columns), row.columns.astype(np.int32), row.values)
        self.steady, self.served = np.zeros(self.size), np.zeros(count)

    def cost(self, problem: PricingProblem) -> Ints:
        """Of each of the problem's cells, what it costs in a serving before its price."""
        return problem.capacity - problem.choice.minimum if self.spending else np.zeros_like(problem.capacity)

    def add(self, index: int, cells: Ints) -> bool:
        """Learn a serving; False if it was known."""
        key = (index, cells.tobytes())
        if key in self.known:
            return False
        self.known.add(key)
        problem = self.problems[index]
        held = np.isin(problem.cells, cells)
        cost = float(self.cost(problem)[held].sum())
        rows = np.append(cells, self.size + index).astype(np.int32)
        self.solver.addCol(cost, 0.0, 1.0, len(rows), rows, np.ones(len(rows)))
        self.servings.append((index, cells))
        return True

    def ask_for(self, served: Floats | None) -> None:
        """Fix who is to be served; None leaves it to the rows."""
        count = len(self.problems)
        low = np.zeros(count) if served is None else served
        high = self.served = np.ones(count) if served is None else served
        self.solver.changeColsBounds(count, np.arange(count, dtype=np.int32), low, high)

    def cheapest(self, problem: PricingProblem, prices: Ints) -> tuple[int, Ints]:
        """The least cost of a serving at these prices, and its cells; the search counts as work."""
        self.work_left -= problem.work
        return problem.cheapest(self.cost(problem) + prices[problem.cells])

    def price(self, prices: Ints) -> tuple[DualBound, list[Ints]]:
        """The cheapest serving of each choice at these prices, and what they prove."""
        least, found = np.zeros(len(self.problems), dtype=np.int64), []
        for index, problem in enumerate(self.problems):
            # Whole prices keep the walk in integers, where a proof is exact; what rounding loses `excess` puts back.
            least[index], cells = self.cheapest(problem, prices)
            found.append(cells)
        bound_by_prices = DualBound(least, int(prices.sum()))
        self.bounds.append(bound_by_prices)
        return bound_by_prices, found

    def out_of_work(self) -> bool:
        return self.work_left <= 0 or time.monotonic() > self.deadline

    def learn(self, close: float, enough: float = INFINITE, served: Floats | None = None) -> float:
        """Ask for servings until the mix is within `close` of the best, or proven to cost `enough`.

        Returns what serving `served` costs at least (0 where none is given), in steps.
        """
        self.ask_for(served)
        best = 0.0
        while not self.out_of_work():
            self.solver.run()
            if self.solver.getModelStatus() != highspy.HighsModelStatus.kOptimal:
                return best
            duals = np.array(self.solver.getSolution().row_dual)
            paid = np.maximum(0.0, -duals[: self.size])
            worth = duals[self.size : self.size + len(self.problems)]
            # Duals of a degenerate model jump between turns; a mean of the last ones proves more.
            self.steady = STEADINESS * self.steady + (1 - STEADINESS) * paid
            for prices in (self.steady, paid):
                bound_by_prices, found = self.price(np.rint(prices).astype(np.int64))
                # The bound holds for any prices, also for steadied ones that are not duals.
                if served is not None:
                    best = max(best, float(bound_by_prices.least @ served) - bound_by_prices.paid)
                excess = worth - bound_by_prices.least + [prices_of(prices, paid, cells) for cells in found]
                new = [self.add(int(k), found[int(k)]) for k in np.flatnonzero(excess > ROUNDING)]
                if any(new) or best >= enough:
                    break
            # Within `close` of the best, further servings could gain no more than that.
            lacking = float(np.maximum(0.0, excess).sum())
            if best >= enough or not any(new) or (prices is paid and lacking <= close):
                return best
        return best

    def dive(self) -> list[tuple[int, Ints]] | None:
        """A plan found by taking the largest share of the mix as settled, one serving after the other.

        Where that leaves someone unserved, the last one is taken back and barred.
        """
        first, count = 2 * len(self.problems), len(self.problems)
        settled: list[int] = []
        barred: list[int] = []
        turns = DIVE_TURNS
        while not self.out_of_work():
            self.solver.run()
            if self.solver.getModelStatus() != highspy.HighsModelStatus.kOptimal:
                break
            solution = self.solver.getSolution()
            values = np.array(solution.col_value)
            unserved = bool(values[count:first].max() > ROUNDING)
            if turns and self.improve(np.array(solution.row_dual), settled):
                turns -= 1
                continue
            turns = DIVE_TURNS
            if unserved:
                # A dead end: the last choice is taken back, since it left too little for the others.
                if not settled or len(barred) == MOST_BARRED:
                    break
                barred.append(settled.pop())
                self.solver.changeColBounds(first + barred[-1], 0.0, 0.0)
                turns = 1
                continue
            shares = values[first:]
            shares[settled] = 0.0
            if not len(shares) or shares.max() < ROUNDING:
                break
            settled.append(int(shares.argmax()))
            self.solver.changeColBounds(first + settled[-1], 1.0, 1.0)
        # The bounds are put back: the same solver goes on with other questions.
        for column in [*settled, *barred]:
            self.solver.changeColBounds(first + column, 0.0, 1.0)
        whole = len(settled) == int(self.served.sum())
        return [self.servings[column] for column in settled] if whole else None

    def improve(self, duals: Floats, settled: Sequence[int]) -> bool:
        """Learn servings of the choices not settled, from cells not taken; whether there were any."""
        prices = np.rint(np.maximum(0.0, -duals[: self.size])).astype(np.int64)
        worth = duals[self.size :]
        for column in settled:
            # Cells already given are priced out instead of removed, so that the walk needs no new pool.
            prices[self.servings[column][1]] = FORBIDDING
        done, learnt = {self.servings[column][0] for column in settled}, False
        for index, problem in enumerate(self.problems):
            if index in done or self.served[index] < 1:
                continue
            least, cells = self.cheapest(problem, prices)
            if least < FORBIDDING and least < worth[index] - max(1.0, DIVE_CLOSE * abs(worth[index])):
                learnt |= self.add(index, cells)
        return learnt

    def perturbed(self) -> list[tuple[int, Ints]] | None:
        """`whole`, with servings that are cheapest at prices a little off: a plan of whole ones may need them."""
        self.solver.run()
        paid = np.maximum(0.0, -np.array(self.solver.getSolution().row_dual)[: self.size])
        # The caller's seed, so that the tries are the same in every run.
        chance = np.random.default_rng(self.seed)
        wanted = [index for index in range(len(self.problems)) if self.served[index] > 0]
        for _ in range(VARIATIONS):
            if self.out_of_work():
                break
            off = chance.normal(0.0, OFF_SHARE * float(paid.max(initial=1.0)), self.size)
            prices = np.rint(np.maximum(0.0, paid + off)).astype(np.int64)
            for index in wanted:
                self.add(index, self.cheapest(self.problems[index], prices)[1])
        return self.whole()

    def whole(self) -> list[tuple[int, Ints]] | None:
        """The cheapest plan of whole known servings; None where none serves all that is asked for."""
        solver, total = self.solver, 2 * len(self.problems) + len(self.servings)
        columns = np.arange(total, dtype=np.int32)
        solver.changeColsIntegrality(total, columns, np.array([highspy.HighsVarType.kInteger] * total))
        solver.setOptionValue("mip_max_nodes", WHOLE_NODES)
        solver.run()
        found = solver.getInfo().primal_solution_status == int(highspy.SolutionStatus.kSolutionStatusFeasible)
        x = np.rint(solver.getSolution().col_value) if found else np.zeros(total)
        solver.changeColsIntegrality(total, columns, np.array([highspy.HighsVarType.kContinuous] * total))
        count = len(self.problems)
        if not found or x[count : 2 * count].any():
            return None
        return [serving for serving, held in zip(self.servings, x[2 * count :], strict=True) if held > 0]


def prices_of(prices: Floats, paid: Floats, cells: Ints) -> float:
    """How much dearer cells are at rounded or steadier prices than at those of the model."""
    return float(np.rint(prices[cells]).sum() - paid[cells].sum())
