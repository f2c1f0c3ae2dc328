"""Small shelves: every legal group that matters is listed, and the best set of disjoint ones found and proven."""

from collections.abc import Iterable
from dataclasses import dataclass, field
from math import inf

from straycell.matching.balance.local_search import Clock
from straycell.matching.balance.pool import Pool

# Combinations grow with the width of a group; beyond this a full list would take too long.
LARGEST_PARALLEL = 8
MOST_SERIES = 60
MOST_GROUPS = 12_000
MOST_NODES = 10_000


class TooLong(Exception):
    """The search used up its steps before it could prove anything."""


@dataclass(slots=True)
class Listing:
    """The legal groups with sums from `least` to `most`.

    Bit k of a mask is the k-th largest cell, and `groups[k]` holds the groups whose largest cell it is.
    """

    series: int
    parallel: int
    clock: Clock
    order: list[int]
    steps: list[int]
    least: float
    most: float
    groups: list[list[tuple[int, int]]]
    listed: int = 0
    nodes: int = 0
    dead: set[tuple[int, int, int]] = field(default_factory=set)

    def sums(self) -> list[int]:
        """The distinct sums, ascending."""
        return sorted({total for at in self.groups for _, total in at})

    def count(self) -> None:
        self.nodes += 1
        if self.nodes > MOST_NODES or not self.clock.tick():
            raise TooLong

    def extend(self, cells: list[int], at: int, mask: int, total: int, left: int) -> None:
        """List every way to fill `left` more places from `cells` (largest first) from index `at` on."""
        self.count()
        if left == 0:
            if self.least <= total <= self.most:
                self.groups[(mask & -mask).bit_length() - 1].append((mask, total))
                self.listed += 1
            if self.listed > MOST_GROUPS:
                raise TooLong
            return
        for index in range(at, len(cells) - left + 1):
            # Cells come largest first: if even the next ones do not reach the least sum, no later ones do.
            if total + sum(self.steps[cell] for cell in cells[index : index + left]) < self.least:
                return
            with_this = total + self.steps[cells[index]]
            smallest_rest = sum(self.steps[cell] for cell in cells[len(cells) - left + 1 :])
            if with_this + smallest_rest <= self.most:
                self.extend(cells, index + 1, mask | 1 << cells[index], with_this, left - 1)

    def cells_of(self, masks: Iterable[int]) -> list[list[int]]:
        """Masks as lists of pool positions."""
        return [sorted(self.order[k] for k in range(mask.bit_length()) if mask >> k & 1) for mask in masks]


def listing_of(
    pool: Pool, series: int, parallel: int, clock: Clock, least: float, most: float = inf
) -> Listing | None:
    """The legal groups of a pool with sums from `least` to `most`, None where they are too many to list."""
    if parallel > LARGEST_PARALLEL or series > MOST_SERIES:
        return None
    # Largest first, so that bit 0 is the strongest cell and a mask's lowest bit names its group's leader.
    order = sorted(range(pool.size), key=lambda cell: (-int(pool.capacity[cell]), cell))
    rank = {cell: k for k, cell in enumerate(order)}
    steps = [int(pool.capacity[cell]) for cell in order]
    listing = Listing(series, parallel, clock, order, steps, least, most, [[] for _ in order])
    try:
        for low, end in enumerate(pool.reach):
            cells = sorted(rank[cell] for cell in range(low + 1, int(end)))
            listing.extend(cells, 0, 1 << rank[low], steps[rank[low]], parallel - 1)
    except TooLong:
        return None
    # Listing and search have a budget each: a long listing must not leave the search without one.
    listing.nodes = 0
    return listing


def disjoint_groups(listing: Listing, least: int, most: int) -> list[int] | None:
    """Masks of `series` disjoint groups with sums from `least` to `most`, or None if there are none."""
    inside = [[mask for mask, total in at if least <= total <= most] for at in listing.groups]
    listing.dead.clear()
    return place(listing, inside, least, 0, 0, listing.series)


def place(
    listing: Listing, inside: list[list[int]], least: int, at: int, used: int, left: int
) -> list[int] | None:
    """The groups still to place, largest cells first; remembers the states that lead nowhere."""
    if left == 0:
        return []
    # Cells before `at` are decided, so states that differ only there are one state.
    state = (at, used >> at, left)
    if state in listing.dead:
        return None
    listing.count()
    for top in range(at, len(listing.steps)):
        if used >> top & 1:
            continue
        # Largest cells first: skipping a cell gives it up, and too many given up cannot be made good.
        if not enough_left(listing, least, top, used, left):
            break
        for mask in inside[top]:
            if mask & used == 0:
                rest = place(listing, inside, least, top + 1, used | mask, left - 1)
                if rest is not None:
                    return [mask, *rest]
    listing.dead.add(state)
    return None


def enough_left(listing: Listing, least: int, at: int, used: int, left: int) -> bool:
    """Whether the largest free cells from `at` on could still fill the groups if resistances did not matter."""
    places, total = left * listing.parallel, 0
    for cell in range(at, len(listing.steps)):
        if not used >> cell & 1:
            total += listing.steps[cell]
            places -= 1
            if places == 0:
                return total >= left * least
    return False


@dataclass(frozen=True, slots=True)
class Exact:
    """Positions of the groups (None where nothing better was found), whether they are proven best, and for the
    strongest groups the bound on the weakest."""

    groups: list[list[int]] | None
    proven: bool
    bound: int = 0


class Probe:
    """Asks for plans within limits, each question with its own budget; an unanswered one counts as unknown."""

    def __init__(self, listing: Listing) -> None:
        self.listing = listing
        self.sure = True

    def ask(self, least: int, most: int) -> list[int] | None:
        """Groups within the limits; None when there are none or, `sure` being False, none were found in time."""
        self.listing.nodes = 0
        self.sure = True
        try:
            return disjoint_groups(self.listing, least, most)
        except TooLong:
            self.sure = False
            return None


def largest_weakest(listing: Listing) -> Exact:
    """The largest weakest group, then the smallest spread, as far as the budget allows."""
    probe, best, reached = Probe(listing), None, -1
    sums = listing.sums()
    low, high = 0, len(sums)
    while low < high:
        middle = (low + high) // 2
        found = probe.ask(sums[middle], sums[-1])
        if found is not None:
            best, reached = found, middle
        # An unanswered question counts as possible, so that the bound stays a bound.
        if found is not None or not probe.sure:
            low = middle + 1
        else:
            high = middle
    bound = sums[low - 1] if low else 0
    # The bound was reached by no plan that was found: nothing about its spread can be proven.
    if best is None or reached != low - 1:
        return Exact(None if best is None else listing.cells_of(best), False, bound)
    best, sure = least_spread(probe, best, bound)
    return Exact(listing.cells_of(best), sure, bound)


def least_spread(probe: Probe, best: list[int], smallest: int) -> tuple[list[int], bool]:
    """Groups of at least `smallest` with the smallest largest one found, and whether that is proven."""
    sums = [total for total in probe.listing.sums() if total >= smallest]
    low, high, sure = 0, len(sums) - 1, True
    while low < high:
        middle = (low + high) // 2
        found = probe.ask(smallest, sums[middle])
        sure = sure and probe.sure
        if found is None:
            low = middle + 1
        else:
            best, high = found, middle
    return best, sure


@dataclass(slots=True)
class Thrift:
    """The search for the least total, then the least spread, of groups that all reach a target."""

    listing: Listing
    inside: list[list[tuple[int, int]]]
    cheapest: int
    total: float
    spread: float
    chosen: list[int] = field(default_factory=list)
    best: list[int] | None = None

    def search(self, at: int, used: int, left: int, total: int, least: int, most: int) -> None:
        if left == 0:
            self.best, self.total, self.spread = list(self.chosen), total, most - least
            return
        self.listing.count()
        for top in range(at, len(self.listing.steps)):
            if used >> top & 1:
                continue
            for mask, size in self.inside[top]:
                # A plan that cannot beat the best in total or spread is not followed (branch and bound).
                if mask & used or not self.better(total + size, left - 1, min(least, size), max(most, size)):
                    continue
                self.chosen.append(mask)
                self.search(top + 1, used | mask, left - 1, total + size, min(least, size), max(most, size))
                self.chosen.pop()

    def better(self, total: int, left: int, least: int, most: int) -> bool:
        """Whether a plan begun like this can still beat the best one."""
        return (total + left * self.cheapest, most - least) < (self.total, self.spread)


def least_surplus(listing: Listing, target: int, known_total: float, known_spread: float) -> Exact:
    """Groups that all reach the target with the least total, then spread; None where nothing beats the known."""
    inside = [sorted((g for g in at if g[1] >= target), key=lambda g: (g[1], g[0])) for at in listing.groups]
    reaching = [total for at in inside for _, total in at]
    if not reaching:
        return Exact(None, True)
    thrift = Thrift(listing, inside, min(reaching), known_total, known_spread)
    try:
        thrift.search(0, 0, listing.series, 0, max(reaching), 0)
    except TooLong:
        return Exact(None if thrift.best is None else listing.cells_of(thrift.best), False)
    return Exact(None if thrift.best is None else listing.cells_of(thrift.best), True)
