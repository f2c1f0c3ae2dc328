"""The cells to be dealt into groups, as whole numbers of a capacity step, and bounds that hold for every legal grouping.

They are sorted by resistance. If some cells can be split into legal groups at all, then cutting them in that order into
runs of `parallel` is legal too (two cells a ratio apart, with k full groups before and the rest after, would need one
group more than there are). So the best total of all groups is a walk along the resistance axis, and the weakest
group is at most that total divided by the number of groups.
"""

import math
import operator
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import numpy.typing as npt

from straycell.errors import BadData, UsageFault

# Low enough that no sum of groups reaches it, high enough that adding to it does not overflow 64 bits.
NEVER = -(2**61)
# Window entries the exact walk may hold (8 bytes each); beyond it the bound falls back to the plain sum.
LARGEST_WALK = 6_000_000
Ints = npt.NDArray[np.int64]
Floats = npt.NDArray[np.float64]
Bools = npt.NDArray[np.bool_]

# Room for the rounding of binary fractions: 45 mohm beside 30 mohm is a ratio of 1.5, not of 1.5 and a bit.
RATIO_SLACK = 1e-9
LARGEST_CAPACITY_AH = 1e6
# Whole numbers up to 2^52 are exact in floating point, with a bit to spare for sums of two.
EXACT_INTEGERS = 2**52


@dataclass(frozen=True, slots=True)
class Pool:
    """Cells in ascending resistance; `capacity` counts steps of 1 / `steps_per_ah` ampere-hours."""

    capacity: Ints
    resistance: Floats
    original: Ints
    steps_per_ah: int
    ratio: float
    reach: Ints

    @property
    def size(self) -> int:
        return len(self.capacity)

    def ah(self, steps: int) -> float:
        """Steps as ampere-hours, correctly rounded."""
        return int(steps) / self.steps_per_ah


def pool_of(capacity_ah: Sequence[float], resistance_ohm: Sequence[float], ratio: float) -> Pool:
    """Read, check and sort the cells. Raises BadData naming the first cell at fault, UsageFault for the ratio."""
    checked_ratio = checked_resistance_ratio(ratio)
    capacities = checked_figures(capacity_ah, "capacity_ah", LARGEST_CAPACITY_AH)
    resistances = checked_figures(resistance_ohm, "resistance_ohm", math.inf)
    if len(capacities) != len(resistances):
        raise BadData(
            f"{len(capacities)} capacities but {len(resistances)} resistances",
            "give one capacity and one resistance for each cell",
        )
    steps_per_ah = steps_per_ah_of(capacities)
    steps = np.rint(np.array(capacities, dtype=np.float64) * steps_per_ah).astype(np.int64)
    ohms = np.array(resistances, dtype=np.float64)
    # Capacity and position break ties of resistance, so that equal cells come in the same order each time.
    order = np.lexsort((np.arange(len(steps)), steps, ohms)).astype(np.int64)
    return sorted_pool(steps[order], ohms[order], order, steps_per_ah, checked_ratio)


def sorted_pool(capacity: Ints, resistance: Floats, original: Ints, steps_per_ah: int, ratio: float) -> Pool:
    """A pool from cells already in ascending resistance; `reach[i]` ends the run that may join cell i."""
    reach = np.searchsorted(resistance, resistance * (ratio * (1 + RATIO_SLACK)), side="right")
    return Pool(capacity, resistance, original, steps_per_ah, ratio, reach.astype(np.int64))


def part_of(pool: Pool, kept: Ints) -> Pool:
    """The pool of some of its positions, given in ascending order."""
    return sorted_pool(
        pool.capacity[kept], pool.resistance[kept], pool.original[kept], pool.steps_per_ah, pool.ratio
    )


def steps_per_ah_of(capacities_ah: Sequence[float]) -> int:
    """The coarsest decimal step from 1 mAh down that all figures are whole multiples of, else a far finer one."""
    if not capacities_ah:
        return 1000
    figures = np.array(capacities_ah, dtype=np.float64)
    # A step of 1 mAh is what most testers show; finer ones only where the figures need them.
    for steps in (10**3, 10**4, 10**5, 10**6):
        scaled = figures * steps
        if np.all(np.abs(scaled - np.rint(scaled)) <= 1e-6):
            return steps
    finest = 10**12
    while finest > 10**3 and float(figures.sum()) * finest > EXACT_INTEGERS:
        finest //= 10
    return finest


def as_number(value: Any) -> float:
    """What a caller gave as a figure; NaN for what is none."""
    try:
        return float(value)
    except (TypeError, ValueError):
        return math.nan


def checked_figures(values: Sequence[float], name: str, largest: float) -> list[float]:
    """Plain finite numbers from 0 to `largest`. Raises BadData naming the first that is not."""
    figures: list[float] = []
    for index, value in enumerate(values):
        figure = as_number(value)
        if not (math.isfinite(figure) and 0.0 <= figure <= largest):
            raise BadData(f"{name}[{index}] is {value!r}", "give a finite number that is not negative")
        figures.append(figure)
    return figures


def checked_count(value: int, name: str, least: int = 1) -> int:
    """A whole number of at least `least`. Raises UsageFault."""
    try:
        count = operator.index(value)
    except TypeError:
        count = least - 1
    # A truth value is a whole number to Python, and never meant as a count.
    if count < least or isinstance(value, bool):
        raise UsageFault(f"{name} is {value!r}", f"give a whole number of at least {least}")
    return count


def checked_resistance_ratio(ratio: float) -> float:
    """A finite ratio of at least 1. Raises UsageFault."""
    return checked_number(ratio, "resistance_ratio", 1.0)


def checked_number(value: float, name: str, least: float) -> float:
    """A finite number of at least `least`. Raises UsageFault."""
    number = as_number(value)
    if not (math.isfinite(number) and number >= least):
        raise UsageFault(f"{name} is {value!r}", f"give a finite number of at least {least:g}")
    return number


@dataclass(frozen=True, slots=True)
class Walk:
    """The exact walk over some cells: `kept` are their positions in the whole pool."""

    pool: Pool
    kept: Ints
    tops: Ints
    series: int
    parallel: int

    def total(self) -> int:
        """The largest total of all groups, in steps."""
        return int(walk(self.tops, self.series, self.pool.size)[-1][-1])

    def groups(self, weight: float = 0.0, level: int = 0) -> list[list[int]]:
        """Groups of large total, in positions of this walk's pool; a shortfall below `level` costs `weight` more."""
        # A penalty on short windows pulls the walk from few strong groups towards many even ones.
        shortfall = np.maximum(0, level - self.tops) * (self.tops > NEVER)
        tops = self.tops - np.rint(shortfall * weight).astype(np.int64)
        ends = walk(tops, self.series, self.pool.size)
        return trace_back(self.pool, tops, ends, self.series, self.parallel)


def most_legal_groups(pool: Pool, parallel: int) -> list[int]:
    """Where the greatest possible number of disjoint legal groups start, taken greedily from the lowest ohm."""
    starts: list[int] = []
    fits = np.flatnonzero(pool.reach - np.arange(pool.size) >= parallel)
    at = 0
    # Greedy from the lowest ohm is exact for runs on a line (interval scheduling).
    while (found := int(np.searchsorted(fits, at))) < len(fits):
        starts.append(int(fits[found]))
        at = int(fits[found]) + parallel
    return starts


def walk_of(pool: Pool, series: int, parallel: int) -> Walk | None:
    """The exact walk for the largest total; None where there are too many cells for it."""
    kept = worth_keeping(pool, series * parallel)
    trimmed = part_of(pool, kept)
    width = int((trimmed.reach - np.arange(trimmed.size)).max(initial=0))
    if width * trimmed.size > LARGEST_WALK:
        return None
    return Walk(trimmed, kept, window_tops(trimmed, parallel, width), series, parallel)


def total_without_ratio(pool: Pool, wanted: int) -> int:
    """The largest total of any `wanted` cells, in steps: a bound even where the exact walk is too long."""
    return int(np.sort(pool.capacity)[::-1][:wanted].sum())


def least_total(pool: Pool, series: int, parallel: int) -> int:
    """A lower bound on the total of all groups, in steps: the same walk with the signs turned."""
    turned = replace(pool, capacity=-pool.capacity)
    walked = walk_of(turned, series, parallel)
    if walked is None:
        return int(np.sort(pool.capacity)[: series * parallel].sum())
    return -walked.total()


def worth_keeping(pool: Pool, wanted: int) -> Ints:
    """Positions that some best plan can be made of: cells that are not outdone on both sides of their ohms.

    Every window that holds a cell holds half a window below or above it; with `wanted` better cells in both
    halves one of them is free to replace it.
    """
    # With few cells the test below would keep them all.
    if pool.size <= 2 * wanted:
        return np.arange(pool.size, dtype=np.int64)
    half = pool.ratio**0.5
    low = np.searchsorted(pool.resistance, pool.resistance / half, side="left")
    high = np.searchsorted(pool.resistance, pool.resistance * half, side="right")
    # Ties by position, so that the same cells are kept in every run.
    best_first = np.lexsort((np.arange(pool.size), -pool.capacity))
    counted = np.zeros(pool.size + 1, dtype=np.int64)
    keep = np.zeros(pool.size, dtype=bool)
    # Coarse blocks of equal rank: counting only whole blocks of better cells keeps cells, never drops too many.
    for block in np.array_split(best_first, max(1, pool.size // max(1, wanted // 8))):
        below = counted[block] - counted[low[block]]
        above = counted[high[block]] - counted[np.minimum(block + 1, pool.size)]
        keep[block] = (below < wanted) | (above < wanted)
        better = np.zeros(pool.size, dtype=np.int64)
        better[block] = 1
        counted[1:] += np.cumsum(better)
    return np.flatnonzero(keep).astype(np.int64)


def window_tops(pool: Pool, parallel: int, width: int) -> Ints:
    """`tops[d, i]`: the sum of the `parallel` largest capacities of cells i to i + d, NEVER where not legal."""
    size = pool.size
    tops = np.full((width + 1, size), NEVER, dtype=np.int64)
    best = np.zeros((parallel, size), dtype=np.int64)
    total = np.zeros(size, dtype=np.int64)
    rows = np.arange(size)
    for taken in range(width):
        live = size - taken
        new = pool.capacity[taken:]
        if taken < parallel:
            best[taken, :live] = gain = new
        else:
            slot = best[:, :live].argmin(axis=0)
            gain = np.maximum(new - best[slot, rows[:live]], 0)
            best[slot, rows[:live]] += gain
        total[:live] += gain
        if taken + 1 >= parallel:
            # A window may be wider than what may be joined; such sums must not be chosen.
            legal = pool.reach[:live] > rows[:live] + taken
            tops[taken + 1, :live][legal] = total[:live][legal]
    return tops


def walk(tops: Ints, series: int, size: int) -> list[Ints]:
    """`ends[k][j]`: the best total of k groups within the first j cells."""
    ends = [np.zeros(size + 1, dtype=np.int64)]
    for _ in range(series):
        before = ends[-1]
        now = np.full(size + 1, NEVER, dtype=np.int64)
        for length in range(1, len(tops)):
            reached = before[: size + 1 - length] + tops[length, : size + 1 - length]
            np.maximum(now[length:], reached, out=now[length:])
        # A group may end earlier than j: the best of all shorter stretches counts.
        ends.append(np.maximum.accumulate(np.maximum(now, NEVER)))
    return ends


def trace_back(pool: Pool, tops: Ints, ends: list[Ints], series: int, parallel: int) -> list[list[int]]:
    """The cells behind the best total, group by group."""
    groups: list[list[int]] = []
    end = pool.size
    for k in range(series, 0, -1):
        # The earliest end with this total leaves the most cells to the groups before it.
        end = int(np.searchsorted(ends[k][: end + 1], ends[k][end], side="left"))
        lengths = np.arange(1, min(end, len(tops) - 1) + 1)
        reached = ends[k - 1][end - lengths] + tops[lengths, end - lengths]
        length = int(lengths[int(np.argmax(reached == ends[k][end]))])
        window = np.arange(end - length, end)
        best = np.lexsort((window, -pool.capacity[window]))[:parallel]
        groups.append(sorted(int(cell) for cell in window[best]))
        end -= length
    return groups[::-1]
