"""The cheapest cells for fixed needs: cells are taken in ascending capacity as long as the rest stays possible.

The sets of cells that can be placed together form a matroid, so taking the smallest first is exact. A cell that
cannot be placed closes the options it leads to, at its capacity: those prices prove the result, for any other needs
too. The plainer way is here as well: each demand in turn takes the smallest cells that serve it (`serve_in_turn`).
"""

from collections.abc import Iterator, Sequence, Set
from dataclasses import dataclass, field

import numpy as np

from straycell.matching.allocate.market import Market
from straycell.matching.allocate.model import Model, eligible
from straycell.matching.balance.pool import Bools, Ints, most_legal_groups, sorted_pool


@dataclass(slots=True)
class Placement:
    """Who holds what: cells per bucket for each option, and the masks of options those buckets lead to."""

    masks: list[int]
    left: list[int]
    open: int
    wanting: int
    held: list[dict[int, int]]
    leads: list[int]
    price: list[int]
    total: int = 0
    taken: list[list[int]] = field(default_factory=list)

    def hold(self, option: int, bucket: int) -> None:
        held = self.held[option]
        held[bucket] = held.get(bucket, 0) + 1
        # The masks of what is held are kept ready: the search below asks for them at every step.
        self.leads[option] |= self.masks[bucket]

    def release(self, option: int, bucket: int) -> None:
        held = self.held[option]
        held[bucket] -= 1
        if held[bucket] == 0:
            del held[bucket]
            leads = 0
            for other in held:
                leads |= self.masks[other]
            self.leads[option] = leads

    def fill(self, option: int) -> None:
        self.left[option] -= 1
        if self.left[option] == 0:
            self.wanting &= ~(1 << option)

    def search(self, mask: int) -> tuple[int, dict[int, int], int]:
        """From the options of a cell: a wanting option (or -1), the way there, and all options seen."""
        seen = frontier = mask
        came: dict[int, int] = {}
        # Breadth first, so that the fewest cells change hands.
        while frontier:
            found = 0
            for option in bits(frontier):
                new = self.leads[option] & self.open & ~seen
                if new:
                    for to in bits(new):
                        came[to] = option
                    seen |= new
                    found |= new
                    if new & self.wanting:
                        return next(bits(new & self.wanting)), came, seen
            frontier = found
        return -1, came, seen

    def push(self, bucket: int, goal: int, came: dict[int, int]) -> None:
        """Give the cell to the first option on the way and pass one cell on along it to the goal."""
        self.fill(goal)
        option = goal
        while option in came:
            giver = came[option]
            passed = next(held for held in self.held[giver] if self.masks[held] >> option & 1)
            self.release(giver, passed)
            self.hold(option, passed)
            option = giver
        self.hold(option, bucket)

    def close(self, seen: int, steps: int) -> None:
        self.open &= ~seen
        # Closed at its capacity: that price is what any further cell for these options would cost at least (duality).
        for option in bits(seen):
            self.price[option] = steps

    def short_set(self) -> int:
        """The options that together want more than there is, as a mask."""
        # By Hall's theorem a lack has a set of options that together want more than their buckets hold: that set is
        # the cut.
        short, before = self.wanting, 0
        while short != before:
            before = short
            for option, leads in enumerate(self.leads):
                if leads & short:
                    short |= 1 << option
        return short


def bits(mask: int) -> Iterator[int]:
    """The places of the set bits, ascending."""
    while mask:
        low = mask & -mask
        yield low.bit_length() - 1
        mask ^= low


def cheapest(model: Model, needs: list[int]) -> Placement:
    """Place the needs with the least total capacity; `wanting` is 0 in the result if all found cells."""
    count = len(needs)
    wanting = sum(1 << option for option, need in enumerate(needs) if need > 0)
    placed = Placement(
        model.masks,
        list(needs),
        (1 << count) - 1,
        wanting,
        [{} for _ in range(count)],
        [0] * count,
        [0] * count,
        taken=[[] for _ in model.masks],
    )
    # Ascending capacity is exact here because placeable sets form a matroid (see above).
    for cell, bucket, steps in zip(model.cells, model.bucket, model.steps, strict=True):
        mask = model.masks[bucket] & placed.open
        if not mask:
            continue
        direct = mask & placed.wanting
        if direct:
            # The lowest bit is the option with the fewest cells (model.py), so scarce options are filled first.
            option = (direct & -direct).bit_length() - 1
            placed.hold(option, bucket)
            placed.fill(option)
        else:
            goal, came, seen = placed.search(mask)
            if goal < 0:
                placed.close(seen, steps)
                continue
            placed.push(bucket, goal, came)
        placed.total += steps
        placed.taken[bucket].append(cell)
    placed.close(placed.open, model.steps[-1] if model.steps else 0)
    return placed


def dealt(placed: Placement) -> list[list[int]]:
    """The offer positions each option holds."""
    at = [0] * len(placed.masks)
    cells: list[list[int]] = []
    for held in placed.held:
        mine: list[int] = []
        for bucket in sorted(held):
            mine += placed.taken[bucket][at[bucket] : at[bucket] + held[bucket]]
            at[bucket] += held[bucket]
        cells.append(mine)
    return cells


def serve_in_turn(market: Market, demands: Sequence[int], ratio: float | None) -> dict[int, list[int]]:
    """Offer positions for every demand that finds its cells when its turn, in the order given, comes."""
    free: Bools = np.ones(len(market.kinds), dtype=np.bool_)
    assignment: dict[int, list[int]] = {}
    for demand in demands:
        for kind in market.demands[demand].kinds:
            cells = cells_for(market, demand, np.flatnonzero(eligible(market, demand, kind) & free), ratio)
            if cells:
                assignment[demand] = cells
                free[cells] = False
                break
    return assignment


def heaviest_first(market: Market, demands: Sequence[int]) -> list[int]:
    return sorted(demands, key=lambda i: (-market.demands[i].weight, i))


def scarcest_first(market: Market, demands: Sequence[int], first: Set[int]) -> list[int]:
    """Those of `first` by how few cells would do for them, then the others by weight."""
    # The scarcest first: whoever has few cells to choose from must not lose them to one who has many.
    able = market.fits.sum(axis=1)
    early = sorted(first, key=lambda i: (able[i], -market.demands[i].parallel, i))
    return [*early, *heaviest_first(market, [i for i in demands if i not in first])]


def cells_for(market: Market, demand: int, able: Ints, ratio: float | None) -> list[int]:
    """The smallest cells that serve a demand, in legal runs under a ratio; none if there are too few."""
    asked = market.demands[demand]
    if len(able) < asked.cells:
        return []
    smallest_first = able[np.lexsort((able, market.capacity[able]))]
    if ratio is None or asked.parallel == 1:
        return [int(cell) for cell in smallest_first[: asked.cells]]
    count = asked.cells
    while True:
        some = smallest_first[:count]
        # In order of resistance a legal group is a run of neighbours, so a greedy walk finds the most groups.
        by_ohms = some[np.lexsort((some, market.resistance[some]))]
        ohms = market.resistance[by_ohms]
        starts = most_legal_groups(
            sorted_pool(market.capacity[by_ohms], ohms, by_ohms, 1, ratio), asked.parallel
        )
        if len(starts) >= asked.groups:
            runs = [by_ohms[start : start + asked.parallel] for start in starts[: asked.groups]]
            return [int(cell) for cell in np.concatenate(runs)]
        if count >= len(able):
            return []
        # Doubling keeps to small cells as long as they suffice, with few repeats.
        count *= 2
