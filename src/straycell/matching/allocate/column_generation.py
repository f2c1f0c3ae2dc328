"""Column generation: who is served under a resistance ratio, with proofs from prices; for parts small enough.

A model of the choices alone proposes whom to serve, from all that is proven; servings are priced for them, which
proves more or gives a better plan, until proposal and plan meet or the work is used up.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from straycell.matching.allocate.highs import INFINITE, STEP_SHARE, Question, Row, ask, at_least
from straycell.matching.allocate.market import Market, Plan, Tier, plan_of
from straycell.matching.allocate.model import choices_of, one_kind_each
from straycell.matching.allocate.restricted_master import PricingProblem, RestrictedMaster, pricing_problems
from straycell.matching.balance.pool import Floats, Ints

# Work is counted and not timed, so that a slow machine gives the same plan as a fast one.
MOST_WORK = 2_000_000
MOST_TURNS = 60
# The mix that begins the search may be worse than the best by this share.
ROUGHLY = 1e-3


@dataclass(slots=True)
class ColumnGeneration:
    """A plan being bettered; what is proven of all plans is kept in rows over the choices and the surplus."""

    market: Market
    tiers: Sequence[Tier]
    problems: Sequence[PricingProblem]
    ratio: float
    deadline: float
    seed: int
    plan: Plan
    nearness: float
    work_left: int = MOST_WORK
    rows: list[Row] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.rows += one_kind_each([problem.choice for problem in self.problems])

    def worth(self, tier: Tier) -> Floats:
        return tier.weights(problem.choice.demand for problem in self.problems)

    def restricted_master(self, spending: bool) -> RestrictedMaster:
        """A new master that knows the servings of the plan."""
        # The master has no column for the surplus: it charges it to each serving.
        rows = [row for row in self.rows if row.columns[-1] < len(self.problems)]
        size = len(self.market.kinds)
        master = RestrictedMaster(
            self.problems, size, spending, rows, self.deadline, self.seed, self.work_left
        )
        for index, problem in enumerate(self.problems):
            cells = self.plan.assignment.get(problem.choice.demand, [])
            if cells and self.market.kinds[cells[0]] == problem.choice.kind:
                master.add(index, np.sort(np.array(cells, dtype=np.int64)))
        return master

    def propose(self, cost: Floats, gap: float) -> tuple[Floats | None, float]:
        """Whom to serve at the least cost (a value a choice, the last for the surplus) for all that is known."""
        count = len(self.problems)
        upper = np.append(np.ones(count), INFINITE if cost[-1] else 0.0)
        rows = [row for row in self.rows if cost[-1] or row.columns[-1] < count]
        answer = ask(Question(cost, np.zeros(count + 1), upper, rows, count, gap), self.deadline, self.seed)
        return (None if answer.x is None else np.rint(answer.x[:count])), answer.bound

    def exclude(self, served: Floats) -> None:
        """Propose these choices, no more and no fewer, not again."""
        # A no-good cut: only this very choice reaches its own size in this sum, each difference takes one off.
        values = np.where(served > 0, 1.0, -1.0)
        self.rows.append(Row(np.arange(len(served)), values, -INFINITE, float(served.sum()) - 1.0))

    def keep(self, tier: Tier, weight: int) -> None:
        """From now on at least this much of the tier is given."""
        # Later tiers must not buy their gain with what an earlier one has won: priorities are lexicographic.
        self.rows += at_least(self.worth(tier), weight)

    def raise_weights(self) -> None:
        """Serve more where it is not proven that nobody can, tier by tier."""
        bounds = list(self.plan.weight_bounds)
        for place, tier in enumerate(self.tiers):
            # A tier's bound was proven on the condition that the tiers before it are at their best; if not, it proves
            # nothing.
            if self.plan.weights[:place] != bounds[:place]:
                bounds[place] = sum(tier.worth.values())
            elif bounds[place] > self.plan.weights[place]:
                bounds[place] = min(bounds[place], self.raise_tier(place, tier))
            self.plan = replace(self.plan, weight_bounds=list(bounds))
            self.keep(tier, self.plan.weights[place])

    def raise_tier(self, place: int, tier: Tier) -> int:
        """The most of this tier; returns its upper bound."""
        master, cost = self.restricted_master(spending=False), np.append(-self.worth(tier), 0.0)
        known = len(self.rows)
        undecided, bound = 0, int(self.worth(tier).sum())
        for _ in range(MOST_TURNS):
            served, least = self.propose(cost, 1 - STEP_SHARE)
            if least > -INFINITE:
                bound = min(bound, int(np.floor(-least + STEP_SHARE)))
            if served is None or bound <= max(self.plan.weights[place], undecided) or master.out_of_work():
                break
            short = master.learn(close=1.0, enough=1.0, served=served)
            self.learn_rows(master)
            if short > 0:
                continue
            servings = None if master.out_of_work() else master.dive() or master.whole()
            if servings is None:
                # Undecided is not impossible: its weight stays in the bound although it is not proposed again.
                undecided = max(undecided, int(self.worth(tier) @ served))
                self.exclude(served)
            else:
                self.take(servings)
        self.work_left = master.work_left
        # Exclusions hold for this tier's question alone; what prices have proven is learnt again below for all.
        del self.rows[known:]
        self.learn_rows(master, again=True)
        return max(bound, undecided, self.plan.weights[place])

    def learn_rows(self, master: RestrictedMaster, again: bool = False) -> None:
        """Rows from what a master has proven since the last time."""
        count, scale = len(self.problems), float(self.market.steps_per_ah)
        for bound_by_prices in master.bounds if again else master.bounds[master.rows_learnt :]:
            values = bound_by_prices.least.astype(np.float64)
            if master.spending:
                columns = np.arange(count + 1)
                # In ampere-hours: rows with entries of a million steps would be outside the solver's accuracy.
                self.rows.append(
                    Row(columns, np.append(-values, scale) / scale, -bound_by_prices.paid / scale, INFINITE)
                )
            elif values.any():
                unit = float(values.max())
                # A hair of slack, since the solver's duals are only accurate to about that.
                self.rows.append(
                    Row(np.arange(count), values / unit, -INFINITE, bound_by_prices.paid / unit + 1e-7)
                )
        master.rows_learnt = len(master.bounds)

    def take(self, servings: Sequence[tuple[int, Ints]]) -> None:
        """These servings, if they are better than the plan."""
        given = {self.problems[index].choice.demand: cells for index, cells in servings}
        found = plan_of(self.market, self.tiers, given, self.plan.weight_bounds, self.plan.surplus_bound)
        if found.goodness > self.plan.goodness:
            # A bound on surplus holds for one weight only: serving more may cost more.
            same = found.weights == self.plan.weights
            self.plan = found if same else replace(found, surplus_bound=0)

    def close(self) -> float:
        return max(STEP_SHARE, self.nearness * self.plan.surplus)

    def lower_surplus(self) -> None:
        """Spend less, and prove that nobody could spend much less."""
        master, scale = self.restricted_master(spending=True), float(self.market.steps_per_ah)
        cost = np.append(np.zeros(len(self.problems)), 1.0)
        master.learn(max(self.close(), ROUGHLY * self.plan.surplus))
        self.take(master.whole() or [])
        undecided, bound = float(self.plan.surplus), self.plan.surplus_bound
        for _ in range(MOST_TURNS):
            self.learn_rows(master)
            served, least = self.propose(cost, self.close() / 4 / scale)
            if least > -INFINITE:
                bound = max(bound, int(np.ceil(min(undecided, least * scale - STEP_SHARE))))
            enough = self.plan.surplus - self.close() / 2
            if served is None or least * scale >= enough or master.out_of_work():
                break
            costs = master.learn(self.close() / 4, enough, served)
            if costs < enough and not master.out_of_work():
                self.better(master, costs)
                undecided = min(undecided, float(np.ceil(costs)))
                self.exclude(served)
        self.plan = replace(self.plan, surplus_bound=min(self.plan.surplus, bound))

    def better(self, master: RestrictedMaster, costs: float) -> None:
        """Better plans of known servings, and of those met on a dive from the mix."""
        for way in (master.dive, master.whole, master.perturbed):
            servings = way()
            if servings is not None:
                self.take(servings)
            if self.plan.surplus <= costs + self.close() or master.out_of_work():
                break


def refined(
    market: Market,
    demands: Sequence[int],
    tiers: Sequence[Tier],
    ratio: float,
    deadline: float,
    seed: int,
    plan: Plan,
    nearness: float,
) -> Plan:
    """The plan, or a better one, with bounds at least as tight; a share `nearness` of the surplus may stay open."""
    choices, _, fits = choices_of(market, demands)
    problems = pricing_problems(market, choices, fits, ratio)
    generation = ColumnGeneration(market, tiers, problems, ratio, deadline, seed, plan, nearness)
    # Half of the work may be spent on who is served; the search for less surplus then starts afresh.
    generation.work_left = MOST_WORK // 2
    generation.raise_weights()
    generation.work_left = MOST_WORK
    if problems:
        generation.lower_surplus()
    return generation.plan
