"""The small integer model of the Benders decomposition: whom to serve, and how many groups from each window, under cuts.

A feasibility cut is a set of options that together want more than there is (Hall); an optimality cut is a price list.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from straycell.matching.allocate.greedy import bits
from straycell.matching.allocate.highs import INFINITE, Answer, Question, Row, ask
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
