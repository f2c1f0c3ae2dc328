"""Among few cells: one model in which each parallel group is named by its cell of lowest resistance.

Windows let a solver take half groups, and prove little then. Here a cell can only join a lowest cell that is itself taken
wholly, so that HiGHS finds and proves the best plan almost without branching. The columns grow with the square of the
cells within a ratio of each other, hence for few.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from straycell.matching.allocate.highs import INFINITE, STEP_SHARE, Answer, Question, Row, ask, at_least
from straycell.matching.allocate.market import Market, Plan, Tier, plan_of
from straycell.matching.allocate.model import Choice, choices_of, one_kind_each
from straycell.matching.balance.pool import RATIO_SLACK, Bools, Floats, Ints

# Beyond it HiGHS needs longer than there is.
MOST_COLUMNS = 20_000


@dataclass(slots=True)
class GroupModel:
    """Columns of 0 or 1: whom to serve (a choice), then of each choice which cell goes into the group of which lowest."""

    market: Market
    choices: Sequence[Choice]
    ratio: float
    deadline: float
    seed: int
    owner: list[int] = field(default_factory=list)
    cell: list[int] = field(default_factory=list)
    rows: list[Row] = field(default_factory=list)
    stopped_early: bool = False

    def add(self, index: int, cells: Ints) -> Ints:
        """A column for each of these cells in the hand of a choice."""
        first = len(self.choices) + len(self.cell)
        self.owner += [index] * len(cells)
        self.cell += cells.tolist()
        return np.arange(first, first + len(cells))

    def sum_to(self, parts: Ints, whole: int, count: int) -> None:
        """Of these columns as many are taken as `count` times the whole one says."""
        self.rows.append(
            Row(np.append(parts, whole), np.append(np.ones(len(parts)), -float(count)), 0.0, 0.0)
        )

    def let_choose(self, index: int, able: Bools) -> bool:
        """The cells that one choice may have, in groups where the ratio keeps some apart. False where they are too many."""
        choice, ohms = self.choices[index], self.market.resistance
        parallel = self.market.demands[choice.demand].parallel
        cells = np.flatnonzero(able)
        cells = cells[np.argsort(ohms[cells], kind="stable")]
        ends = np.searchsorted(ohms[cells], ohms[cells] * (self.ratio * (1 + RATIO_SLACK)), side="right")
        mixes = parallel == 1 or ends[0] == len(cells)
        columns = len(cells) if mixes else int((ends - np.arange(len(cells))).sum())
        # Counted first: the pairs of a large stock alone would fill the memory.
        if len(self.cell) + columns > MOST_COLUMNS:
            return False
        if mixes:
            self.sum_to(self.add(index, cells), index, choice.cells)
            return True
        lowest = np.flatnonzero(ends - np.arange(len(cells)) >= parallel)
        named = self.add(index, cells[lowest])
        self.sum_to(named, index, choice.groups)
        for at, group in zip(lowest, named, strict=True):
            others = self.add(index, cells[at + 1 : ends[at]])
            self.sum_to(others, group, parallel - 1)
            # Right without them, but slow: with them half a group holds no whole cell, and HiGHS hardly branches.
            self.rows += [Row(np.array([other, group]), np.array([1.0, -1.0]), -1.0, 0.0) for other in others]
        return True

    def finish(self) -> None:
        """Each cell once, each demand with one kind."""
        held = np.array(self.cell, dtype=np.int64)
        for cell in np.unique(held):
            columns = np.flatnonzero(held == cell) + len(self.choices)
            self.rows.append(Row(columns, np.ones(len(columns)), -INFINITE, 1.0))
        self.rows += one_kind_each(self.choices)

    def ask(self, cost: Floats, gap: float) -> Answer:
        """The whole columns of least cost, to a gap."""
        count = len(cost)
        # Tight as it stands: presolve loosens it, and takes three times as long in all.
        question = Question(cost, np.zeros(count), np.ones(count), self.rows, count, gap, presolve="off")
        answer = ask(question, self.deadline, self.seed)
        self.stopped_early |= answer.stopped_early
        return answer

    def weights(self, tier: Tier) -> Floats:
        served = tier.weights(choice.demand for choice in self.choices)
        return np.append(served, np.zeros(len(self.cell)))

    def surplus(self) -> Floats:
        """What each column spends beyond the least that would do, in Ah."""
        least = np.array([choice.minimum for choice in self.choices])[self.owner]
        spent = (self.market.capacity[self.cell] - least) / self.market.steps_per_ah
        return np.append(np.zeros(len(self.choices)), spent)

    def given(self, x: Floats) -> dict[int, list[int]]:
        """The cells of each demand."""
        found: dict[int, list[int]] = {}
        for place in np.flatnonzero(x[len(self.choices) :] > 0.5):
            found.setdefault(self.choices[self.owner[place]].demand, []).append(self.cell[place])
        return found


def group_model(
    market: Market, demands: Sequence[int], ratio: float, deadline: float, seed: int
) -> GroupModel | None:
    """The model of these demands; None where it would be too large."""
    choices, _, fits = choices_of(market, demands)
    model = GroupModel(market, choices, ratio, deadline, seed)
    if not all(model.let_choose(index, able) for index, able in enumerate(fits)):
        return None
    model.finish()
    return model


def refined(model: GroupModel, tiers: Sequence[Tier], plan: Plan, nearness: float) -> Plan:
    """The plan, or a better one, with bounds at least as tight; a share `nearness` of the surplus may stay open."""
    for place, tier in enumerate(tiers):
        bounds, values = list(plan.weight_bounds), model.weights(tier)
        # A bound was proven on the condition that the tiers before it are at their best; if not, it proves nothing.
        known = bounds[place] if plan.weights[:place] == bounds[:place] else INFINITE
        bounds[place] = int(min(known, values.sum()))
        if bounds[place] > plan.weights[place]:
            answer = model.ask(-values, 1 - STEP_SHARE)
            plan = better(model, tiers, plan, answer)
            if answer.bound > -INFINITE:
                bounds[place] = min(bounds[place], int(np.floor(-answer.bound + STEP_SHARE)))
            bounds[place] = max(bounds[place], plan.weights[place])
        plan = replace(plan, weight_bounds=bounds)
        # Later tiers must not buy their gain with what an earlier one has won: priorities are lexicographic.
        model.rows += at_least(values, plan.weights[place])
    scale = model.market.steps_per_ah
    answer = model.ask(model.surplus(), max(STEP_SHARE, nearness * plan.surplus) / scale)
    plan = better(model, tiers, plan, answer)
    if -INFINITE < answer.bound < INFINITE:
        bound = max(plan.surplus_bound, int(np.ceil(answer.bound * scale - STEP_SHARE)))
        plan = replace(plan, surplus_bound=min(plan.surplus, bound))
    return plan


def better(model: GroupModel, tiers: Sequence[Tier], plan: Plan, answer: Answer) -> Plan:
    """What was answered, if it is better than the plan."""
    if answer.x is None:
        return plan
    found = plan_of(model.market, tiers, model.given(answer.x), plan.weight_bounds, plan.surplus_bound)
    if found.goodness <= plan.goodness:
        return plan
    # A bound on surplus holds for one weight only: serving more may cost more.
    return found if found.weights == plan.weights else replace(found, surplus_bound=0)
