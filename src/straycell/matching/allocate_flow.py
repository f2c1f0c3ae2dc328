"""Which windows a demand's groups come from: cells flow from buckets to options, only the group counts are whole.

Prices alone cannot tell windows apart, so this larger model is asked once, for the demands that are served.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from straycell.matching.allocate_highs import INFINITE, Question, Row, ask
from straycell.matching.allocate_master import Master
from straycell.matching.allocate_model import Bools, Model
from straycell.matching.balance_pool import Floats, Ints

MOST_ARCS = 15_000
ARCS_A_BUCKET = 12
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
        """What leaves a bucket is what was used of it, plus what is added, less what is left out."""
        model, extra = self.model, self.model.columns + len(self.bucket)
        count = len(model.masks)
        rows: list[Row] = []
        for bucket in range(count):
            arcs = np.flatnonzero(self.bucket == bucket) + model.columns
            columns = np.append(arcs, [extra + bucket, extra + count + bucket])
            values = np.append(np.ones(len(arcs)), [-1.0, 1.0])
            rows.append(Row(columns, values, float(used[bucket]), float(used[bucket])))
        return rows


def flow_of(model: Model, price: Floats) -> Flow:
    """All arcs, or for each bucket those to the options that prize its cells most."""
    bucket, option = np.nonzero(model.member)
    if len(bucket) > MOST_ARCS:
        shuffled = (bucket * 7919 + option * 104729) % 9973
        order = np.lexsort((shuffled, -price[option], bucket))
        bucket, option = bucket[order], option[order]
        place = np.arange(len(bucket)) - np.searchsorted(bucket, bucket, side="left")
        bucket, option = bucket[place < ARCS_A_BUCKET], option[place < ARCS_A_BUCKET]
    return Flow(model, bucket.astype(np.int64), option.astype(np.int64))


def fitted(master: Master, price: Floats, in_use: Bools, gap: float) -> Floats | None:
    """Columns that serve every choice of the model from about the cells in use; None where no way was found.

    `price` values a cell of each option and `in_use` marks the offers of the plan without windows.
    """
    model = master.model
    flow = flow_of(model, price)
    scale = float(model.steps_per_ah)
    bucket, steps = np.array(model.bucket, dtype=np.int64), np.array(model.steps, dtype=np.float64)
    taken = in_use[np.array(model.cells, dtype=np.int64)]
    count = len(model.masks)
    used = np.bincount(bucket[taken], minlength=count)
    dearer = np.full(count, NOT_FOR_SALE * scale)
    np.minimum.at(dearer, bucket[~taken], steps[~taken])
    saved = np.zeros(count)
    np.maximum.at(saved, bucket[taken], steps[taken])
    cost = np.concatenate([np.zeros(model.columns + len(flow.bucket)), dearer / scale, -saved / scale])
    choices = len(model.choices)
    lower = np.zeros(len(cost))
    lower[:choices] = 1.0
    arcs = np.full(len(flow.bucket), INFINITE)
    upper = np.concatenate([model.upper, arcs, model.supply - used, used]).astype(np.float64)
    rows = [*master.rows, *flow.option_rows(), *flow.bucket_rows(used)]
    answer = ask(Question(cost, lower, upper, rows, model.columns, gap), master.deadline, master.seed)
    master.stopped_early |= answer.stopped_early
    return None if answer.x is None else np.rint(answer.x[: model.columns])
