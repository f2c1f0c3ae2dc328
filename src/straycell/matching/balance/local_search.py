"""Improving a legal grouping by exchanging cells, one pair at a time, with a short memory against going in circles."""

import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

import numpy as np

from straycell.matching.balance.pool import RATIO_SLACK, Floats, Ints, Pool

Cost = Callable[[Floats], Floats]
Key = tuple[int, ...]
DESCENT_STEPS = 250
ROAM_STEPS = 120


@dataclass(slots=True)
class Clock:
    """Counts the work done; `deadline` (monotonic seconds) only stops it early."""

    deadline: float
    steps: int = 0
    stopped_early: bool = False

    def tick(self) -> bool:
        """Count one step; False once the time is up."""
        self.steps += 1
        if time.monotonic() > self.deadline:
            self.stopped_early = True
        return not self.stopped_early


@dataclass(slots=True)
class Table:
    """A legal grouping that can be changed: which group each cell lies in (`series` means none), sums, limits."""

    pool: Pool
    series: int
    parallel: int
    home: Ints
    members: Ints
    sums: Ints
    low: Floats = field(init=False)
    high: Floats = field(init=False)

    def __post_init__(self) -> None:
        self.low = np.full(self.pool.size, -np.inf)
        self.high = np.full(self.pool.size, np.inf)
        for group in range(self.series):
            self.refresh(group)

    def refresh(self, group: int) -> None:
        """Recompute the sum of a group and, for each member, the ohms that may be in its place."""
        cells = np.sort(self.members[group])
        self.members[group] = cells
        self.sums[group] = self.pool.capacity[cells].sum()
        if self.parallel == 1:
            self.low[cells], self.high[cells] = -np.inf, np.inf
            return
        ohms = self.pool.resistance[cells]
        least = np.full(self.parallel, ohms[0])
        most = np.full(self.parallel, ohms[-1])
        # The ends of a group are bound by its second and last but one, since an exchanged end leaves the group.
        least[0], most[-1] = ohms[1], ohms[-2]
        allowed = self.pool.ratio * (1 + RATIO_SLACK)
        # Low and high are what may stand in for a cell without breaking the ratio of those that stay.
        self.low[cells], self.high[cells] = most / allowed, least * allowed

    def swap(self, inside: int, other: int) -> None:
        """Exchange a grouped cell with a cell of another group or of the shelf."""
        one, two = int(self.home[inside]), int(self.home[other])
        self.members[one][self.members[one] == inside] = other
        if two < self.series:
            self.members[two][self.members[two] == other] = inside
        self.home[inside], self.home[other] = two, one
        self.refresh(one)
        if two < self.series:
            self.refresh(two)
        else:
            self.low[inside], self.high[inside] = -np.inf, np.inf

    def groups(self) -> list[list[int]]:
        return [[int(cell) for cell in row] for row in self.members]


def table_of(pool: Pool, groups: Sequence[Sequence[int]]) -> Table:
    """A table from positions, one list a group, each legal."""
    members = np.array(groups, dtype=np.int64)
    series, parallel = members.shape
    home = np.full(pool.size, series, dtype=np.int64)
    for group, cells in enumerate(members):
        home[cells] = group
    return Table(pool, series, parallel, home, members, np.zeros(series, dtype=np.int64))


@dataclass(slots=True)
class Moves:
    """All legal exchanges of one group: member, partner, and what each would gain (positive is better)."""

    inside: Ints
    other: Ints
    gain: Floats


def moves_of(table: Table, group: int, cost: Cost) -> Moves:
    """Every legal exchange of the group's cells with cells of other groups or of the shelf."""
    pool = table.pool
    inside = table.members[group]
    first = int(np.searchsorted(pool.resistance, table.low[inside].min(), side="left"))
    last = int(np.searchsorted(pool.resistance, table.high[inside].max(), side="right"))
    other = first + np.flatnonzero(table.home[first:last] != group)
    ohms, others = pool.resistance[inside][:, None], pool.resistance[other][None, :]
    legal = (others >= table.low[inside][:, None]) & (others <= table.high[inside][:, None])
    legal &= (ohms >= table.low[other][None, :]) & (ohms <= table.high[other][None, :])
    row, column = np.nonzero(legal)
    one, two = inside[row], other[column]
    change = (pool.capacity[two] - pool.capacity[one]).astype(np.float64)
    # The shelf counts as one more group that costs nothing.
    sums = np.append(table.sums, 0).astype(np.float64)
    own_cost = np.append(cost(sums[:-1]), 0.0)
    where = table.home[two]
    after = cost(sums[group] + change) + np.where(where < table.series, cost(sums[where] - change), 0.0)
    return Moves(one, two, own_cost[group] + own_cost[where] - after)


def descend(table: Table, cost: Cost, clock: Clock) -> None:
    """Best exchange of the worst group that can still improve, until none can or the steps are used up."""
    stuck = np.zeros(table.series, dtype=bool)
    for _ in range(DESCENT_STEPS):
        # A group that found no gain stays stuck until something else moves; the next worst gets its turn.
        worst = np.where(stuck, -1.0, cost(table.sums.astype(np.float64)))
        group = int(worst.argmax())
        if worst[group] <= 0 or not clock.tick():
            return
        moves = moves_of(table, group, cost)
        best = int(moves.gain.argmax()) if len(moves.gain) else -1
        # Relative to the cost: gains of rounding would exchange cells endlessly.
        if best < 0 or moves.gain[best] <= 1e-9 * worst[group]:
            stuck[group] = True
            continue
        table.swap(int(moves.inside[best]), int(moves.other[best]))
        stuck[:] = False


def roamed(table: Table, cost: Cost, key: Callable[[Ints], Key], clock: Clock, seed: int, goal: Key) -> Table:
    """The best grouping met on a walk from this one (which the walk uses up): exchanges go on, worsening when nothing
    improves, with moved cells resting a while."""
    chance = np.random.default_rng(seed)
    rest = np.zeros(table.pool.size, dtype=np.int64)
    best_key, best = key(table.sums), table.groups()
    for step in range(ROAM_STEPS):
        if best_key >= goal or not clock.tick():
            break
        costs = cost(table.sums.astype(np.float64))
        # Mostly the worst group, sometimes any: always the worst would circle between the same cells.
        group = int(costs.argmax()) if chance.random() < 0.6 else int(chance.integers(table.series))
        moves = moves_of(table, group, cost)
        gain = np.where((rest[moves.inside] > step) | (rest[moves.other] > step), -np.inf, moves.gain)
        if not len(gain) or not np.isfinite(gain[pick := int(gain.argmax())]):
            continue
        inside, other = int(moves.inside[pick]), int(moves.other[pick])
        table.swap(inside, other)
        # A random rest breaks cycles of equal length (tabu search).
        rest[inside] = rest[other] = step + int(chance.integers(3, 4 + table.parallel))
        if (now := key(table.sums)) > best_key:
            best_key, best = now, table.groups()
    return table_of(table.pool, best)
