"""The cells to be dealt into groups, as whole numbers of a capacity step, sorted by resistance."""

import math
import operator
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from straycell.errors import BadData, UsageFault

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
