"""What the plan without windows gives the plan with them: who was served, at what price, from which buckets."""

from __future__ import annotations

import numpy as np

from straycell.matching.allocate.benders import Result
from straycell.matching.allocate.greedy import dealt
from straycell.matching.allocate.model import Model
from straycell.matching.allocate.read_input import Kind
from straycell.matching.balance.pool import Bools, Floats


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
