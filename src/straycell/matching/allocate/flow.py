"""Which windows a demand's groups come from: cells flow from buckets to options, only the group counts are whole.

Prices alone cannot tell windows apart, so this larger model is asked once, for the demands that are served.
"""

import time
from dataclasses import dataclass, field, replace

import numpy as np

from straycell.matching.allocate.benders import BendersMaster, Result
from straycell.matching.allocate.greedy import dealt
from straycell.matching.allocate.highs import INFINITE, STEP_SHARE, Answer, Question, Row, ask, at_least
from straycell.matching.allocate.market import Kind
from straycell.matching.allocate.model import Model
from straycell.matching.balance.pool import Bools, Floats, Ints

# Arcs are the product of buckets and options: beyond this only the likeliest are kept, or the question grows too
# large.
MOST_ARCS = 15_000
FEWER_ARCS = 8_000
MOST_FLOW_NODES = 100
# The share of the time left that one question may take.
TIME_SHARE = 0.7
# Where a bucket has no cell left, a further one must cost more than any plan could save.
NOT_FOR_SALE = 1e6


@dataclass(frozen=True, slots=True)
class Flow:
    """Arcs from buckets to options, placed after the model's own columns."""

    model: Model
    bucket: Ints
    option: Ints

    def option_rows(self) -> list[Row]:
        """What flows into an option is what its column takes."""
        model, first = self.model, self.model.columns
        rows: list[Row] = []
        for option in range(len(model.unit)):
            arcs = np.flatnonzero(self.option == option) + first
            columns = np.append(model.column[option], arcs)
            rows.append(Row(columns, np.append(-float(model.unit[option]), np.ones(len(arcs))), 0.0, 0.0))
        return rows

    def bucket_rows(self, used: Ints) -> list[Row]:
        """Flow out of a bucket = used + added - dropped."""
        model, extra = self.model, self.model.columns + len(self.bucket)
        count = len(model.masks)
        rows: list[Row] = []
        for bucket in range(count):
            arcs = np.flatnonzero(self.bucket == bucket) + model.columns
            columns = np.append(arcs, [extra + bucket, extra + count + bucket])
            values = np.append(np.ones(len(arcs)), [-1.0, 1.0])
            rows.append(Row(columns, values, float(used[bucket]), float(used[bucket])))
        return rows


def flow_of(model: Model, price: Floats, support: Bools) -> Flow:
    """All arcs, or for each bucket those of the support and those to the options that prize its cells most."""
    bucket, option = np.nonzero(model.member)
    if len(bucket) > MOST_ARCS:
        # A mixed order that repeats: equal prices in the order of options would send every bucket to the same few of
        # them.
        shuffled = (bucket * 7919 + option * 104729) % 9973
        order = np.lexsort((shuffled, -price[option], ~support[bucket, option], bucket))
        bucket, option = bucket[order], option[order]
        place = np.arange(len(bucket)) - np.searchsorted(bucket, bucket, side="left")
        near = place < max(1, FEWER_ARCS // len(model.masks))
        bucket, option = bucket[near], option[near]
    return Flow(model, bucket.astype(np.int64), option.astype(np.int64))


def prices_in(grid: Model, model: Model, loose: Result) -> Floats:
    """What a cell is worth to each option of a grid, from the plan without windows."""
    worth: dict[tuple[int, Kind], int] = {}
    for option, owner in enumerate(model.owner):
        choice = model.choices[int(owner)]
        worth[choice.demand, choice.kind] = loose.placed.price[option]
    owners = (grid.choices[int(owner)] for owner in grid.owner)
    return np.array([worth[choice.demand, choice.kind] for choice in owners], dtype=np.float64)


def support_in(grid: Model, model: Model, loose: Result) -> Bools:
    """Which buckets of a grid hold cells that the plan without windows gave to the demand of an option."""
    at = dict(zip(grid.cells, grid.bucket, strict=True))
    options: dict[tuple[int, Kind], list[int]] = {}
    for option, owner in enumerate(grid.owner):
        choice = grid.choices[int(owner)]
        options.setdefault((choice.demand, choice.kind), []).append(option)
    support = np.zeros(grid.member.shape, dtype=np.bool_)
    for option, cells in enumerate(dealt(loose.placed)):
        choice = model.choices[int(model.owner[option])]
        for cell in cells:
            if cell in at:
                support[at[cell], options.get((choice.demand, choice.kind), [])] = True
    return support & grid.member


@dataclass(frozen=True, slots=True)
class Trade:
    """What a plan uses: its steps in all, and for each bucket the cells used, what the next one costs, and what
    the dearest used would save."""

    total: int
    used: Ints
    dearer: Floats
    saved: Floats


def trade_of(model: Model, in_use: Bools) -> Trade:
    """What to compare with: the offers of a plan."""
    bucket, steps = np.array(model.bucket, dtype=np.int64), np.array(model.steps, dtype=np.float64)
    taken = in_use[np.array(model.cells, dtype=np.int64)]
    count = len(model.masks)
    used = np.bincount(bucket[taken], minlength=count)
    dearer = np.full(count, NOT_FOR_SALE * model.steps_per_ah)
    np.minimum.at(dearer, bucket[~taken], steps[~taken])
    saved = np.zeros(count)
    np.maximum.at(saved, bucket[taken], steps[taken])
    return Trade(int(steps[taken].sum()), used, dearer, saved)


@dataclass(slots=True)
class FlowSearch:
    """A model with its arcs and the rows known of it, including weights to keep."""

    master: BendersMaster
    flow: Flow
    trade: Trade
    kept: list[Row] = field(default_factory=list)

    def ask(
        self, cost: Floats, spending: bool, pinned: bool, gap: float, enough: float = -INFINITE
    ) -> Answer:
        """Columns of least cost, the cost of cells included if `spending`; all choices served if `pinned`."""
        model, trade, arcs = self.master.model, self.trade, len(self.flow.bucket)
        scale = model.steps_per_ah if spending else np.inf
        # Against a known plan only the next cell of a bucket needs a price, not each of them.
        costs = np.concatenate([cost, np.zeros(arcs), trade.dearer / scale, -trade.saved / scale])
        lower = np.zeros(len(costs))
        lower[: len(model.choices)] = float(pinned)
        upper = np.concatenate(
            [model.upper, np.full(arcs, INFINITE), model.supply - trade.used, trade.used]
        ).astype(np.float64)
        known = [row for row in self.master.rows if row.columns[-1] != model.columns]
        rows = [*known, *self.kept, *self.flow.option_rows(), *self.flow.bucket_rows(trade.used)]
        question = Question(costs, lower, upper, rows, model.columns, gap, MOST_FLOW_NODES, enough)
        left = max(0.0, self.master.deadline - time.monotonic())
        # A share of what is left, since several questions follow and the first must not use up all the time.
        answer = ask(question, time.monotonic() + left * TIME_SHARE, self.master.seed)
        self.master.stopped_early |= answer.stopped_early
        return answer if answer.x is None else replace(answer, x=np.rint(answer.x[: model.columns]))

    def thrifty(self, pinned: bool, gap: float) -> Answer:
        """The columns that add least to the surplus of the plan compared with.

        The bound holds for any plan: each further cell costs no less than the next one, each left out saves no more
        than the dearest.
        """
        return self.ask(
            -self.master.model.minimum_steps() / self.master.model.steps_per_ah, True, pinned, gap
        )

    def heaviest(self, values: Floats, enough: int) -> Answer:
        """Columns that serve the most of these values, `enough` at best."""
        # Weights are whole, so anything within half a step of the aim has reached it.
        return self.ask(-values, False, False, 1 - STEP_SHARE, STEP_SHARE - enough)

    def keep(self, values: Floats, weight: float) -> None:
        """From now on at least this weight is given."""
        self.kept += at_least(values, weight)
