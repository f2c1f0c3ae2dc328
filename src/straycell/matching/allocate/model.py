"""The question as a solver sees it: choices (a demand with a kind), their windows of resistance, buckets of cells.

A choice whose parallel groups are bound by a resistance ratio is split into options, one for each window of
resistance; an option takes whole groups. Cells that are eligible for the same options form one bucket.
"""

from collections.abc import Sequence, Set
from dataclasses import dataclass

import numpy as np

from straycell.matching.allocate.highs import Row
from straycell.matching.allocate.market import Kind, Market, Tier
from straycell.matching.balance.pool import RATIO_SLACK, Bools, Floats, Ints

# Closer to 1 a grid would be finer than the resistances themselves.
SMALLEST_GRID_RATIO = 1.02


@dataclass(frozen=True, slots=True)
class Windows:
    """How resistances are cut: on a grid of so many starts per ratio.

    `wider` windows are a grid step wider than the ratio, so that every legal group lies in one: good for bounds.
    """

    ratio: float
    per_ratio: int
    wider: bool = False

    @property
    def allowed(self) -> float:
        # Wider by one grid step, a window holds every legal group wherever its lowest cell lies between two starts.
        step = self.ratio ** (1 / self.per_ratio) if self.wider else 1.0
        return self.ratio * step * (1 + RATIO_SLACK)


@dataclass(frozen=True, slots=True)
class Choice:
    """A demand served with one kind: its column is its place in the list."""

    demand: int
    kind: Kind
    groups: int
    cells: int
    minimum: int


@dataclass(frozen=True, slots=True)
class Model:
    """Columns: one binary a choice, then whole numbers of groups for the options of windowed choices.

    `cells` are offer positions in ascending capacity (`steps`), `bucket` their buckets; option k takes `unit[k]`
    cells for each 1 of its column; `member[b, k]` says whether bucket b may serve option k, `masks` the same in bits.
    """

    choices: list[Choice]
    cells: list[int]
    steps: list[int]
    bucket: list[int]
    masks: list[int]
    member: Bools
    supply: Ints
    unit: Ints
    column: Ints
    owner: Ints
    upper: Floats
    steps_per_ah: int

    @property
    def columns(self) -> int:
        return len(self.upper)

    def needs(self, x: Floats) -> list[int]:
        """Whole cells each option takes at these column values, rounded down."""
        # Column values come back a hair below whole numbers.
        return [int(n) for n in np.floor(self.unit * x[self.column] + 1e-6)]

    def served(self, x: Floats) -> set[tuple[int, Kind]]:
        """Who is served at these column values, with which kind."""
        return {(c.demand, c.kind) for index, c in enumerate(self.choices) if x[index] > 0.5}

    def weights(self, tier: Tier) -> Floats:
        """The tier's weight of each column."""
        return np.append(
            tier.weights(choice.demand for choice in self.choices), np.zeros(self.columns - len(self.choices))
        )

    def minimum_steps(self) -> Floats:
        """For each column, the capacity in steps that its cells must at least have."""
        total = np.zeros(self.columns)
        lowest = np.array([choice.minimum for choice in self.choices], dtype=np.float64)
        np.add.at(total, self.column, self.unit * lowest[self.owner] if len(self.owner) else 0.0)
        return total


def one_kind_each(choices: Sequence[Choice]) -> list[Row]:
    """A demand is served with one of its kinds at most."""
    by_demand: dict[int, list[int]] = {}
    for index, choice in enumerate(choices):
        by_demand.setdefault(choice.demand, []).append(index)
    several = [np.array(indices) for indices in by_demand.values() if len(indices) > 1]
    return [Row(indices, np.ones(len(indices)), 0.0, 1.0) for indices in several]


def eligible(market: Market, demand: int, kind: Kind) -> Bools:
    """Which offers may serve a demand with a kind."""
    fits: Bools = market.fits[demand] & market.of_kind[kind]
    return fits


def model_of(
    market: Market,
    demands: Sequence[int],
    windows: Windows | None,
    only: Set[tuple[int, Kind]] | None = None,
) -> Model:
    """The model of some demands with all their kinds, or `only` with some, with windows where a ratio binds."""
    choices, upper, fits = choices_of(market, demands, only)
    members: list[Bools] = []
    unit: list[int] = []
    column: list[int] = []
    owner: list[int] = []
    for index, choice in enumerate(choices):
        parallel = market.demands[choice.demand].parallel
        cuts = [fits[index]] if windows is None else cut(market.resistance, fits[index], parallel, windows)
        for part in cuts:
            members.append(part)
            owner.append(index)
            unit.append(choice.cells if len(cuts) == 1 else parallel)
            column.append(index if len(cuts) == 1 else len(upper))
            if len(cuts) > 1:
                upper.append(float(min(choice.groups, int(part.sum()) // parallel)))
    return assembled(market, choices, members, unit, column, owner, upper)


def choices_of(
    market: Market, demands: Sequence[int], only: Set[tuple[int, Kind]] | None = None
) -> tuple[list[Choice], list[float], list[Bools]]:
    """Every demand with each kind that has enough cells for it."""
    choices: list[Choice] = []
    fits: list[Bools] = []
    for demand in demands:
        asked = market.demands[demand]
        for kind in asked.kinds:
            if only is not None and (demand, kind) not in only:
                continue
            able = eligible(market, demand, kind)
            if int(able.sum()) >= asked.cells:
                least = int(market.minimum[demand])
                choices.append(Choice(demand, kind, asked.groups, asked.cells, least))
                fits.append(able)
    return choices, [1.0] * len(choices), fits


def cut(resistance: Floats, fits: Bools, parallel: int, windows: Windows) -> list[Bools]:
    """The windows of a choice that hold at least one group, none inside another; one if no ratio binds."""
    allowed = windows.allowed
    ohms = np.unique(resistance[fits])
    # If even the extremes may be joined, the ratio forbids nothing and one window is exact.
    if parallel == 1 or ohms[-1] <= ohms[0] * allowed:
        return [fits]
    parts: list[Bools] = []
    last_reach = -1
    for low in starts(ohms, windows):
        part = fits & (resistance >= low) & (resistance <= low * allowed)
        reach = int(np.searchsorted(ohms, low * allowed, side="right"))
        # A window inside another adds no group: only one that reaches further is worth an option.
        if reach > last_reach and int(part.sum()) >= parallel:
            parts.append(part)
            last_reach = reach
    return parts


def starts(ohms: Floats, windows: Windows) -> list[float]:
    """Where windows begin, ascending: on a grid common to all choices, at every resistance for a ratio near 1."""
    if windows.ratio < SMALLEST_GRID_RATIO:
        return [float(low) for low in ohms]
    # Zero ohm has no logarithm, and joins only with zero ohm.
    positive = ohms[ohms > 0]
    places = np.floor(np.log(positive) / np.log(windows.ratio) * windows.per_ratio + 1e-9)
    grid = np.unique(np.concatenate([places - k for k in range(windows.per_ratio)]))
    zero = [0.0] if len(positive) < len(ohms) else []
    return zero + [float(windows.ratio ** (place / windows.per_ratio)) for place in grid]


def assembled(
    market: Market,
    choices: list[Choice],
    members: list[Bools],
    unit: list[int],
    column: list[int],
    owner: list[int],
    upper: list[float],
) -> Model:
    """Buckets and bit masks; options with few cells get the low bits, so that scarce ones are filled first."""
    table = np.array(members, dtype=np.bool_).reshape(len(members), len(market.kinds)).T
    scarce_first = np.argsort(table.sum(axis=0), kind="stable")
    table = table[:, scarce_first]
    used = np.flatnonzero(table.any(axis=1))
    ascending = used[np.lexsort((used, market.capacity[used]))]
    # Cells with the same bits are interchangeable but for their capacity: thousands of cells become few buckets.
    packed = np.packbits(table[ascending], axis=1, bitorder="little")
    numbers: dict[bytes, int] = {}
    bucket = [numbers.setdefault(row.tobytes(), len(numbers)) for row in packed]
    masks = [int.from_bytes(row, "little") for row in numbers]
    first = np.unique(np.array(bucket, dtype=np.int64), return_index=True)[1]
    return Model(
        choices,
        [int(cell) for cell in ascending],
        [int(steps) for steps in market.capacity[ascending]],
        bucket,
        masks,
        table[ascending[first]],
        np.bincount(np.array(bucket, dtype=np.int64), minlength=len(masks)).astype(np.int64),
        np.array(unit, dtype=np.int64)[scarce_first],
        np.array(column, dtype=np.int64)[scarce_first],
        np.array(owner, dtype=np.int64)[scarce_first],
        np.array(upper, dtype=np.float64),
        market.steps_per_ah,
    )
