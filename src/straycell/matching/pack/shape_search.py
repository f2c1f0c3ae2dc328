"""Which shapes a project's pack may take, and the search over them: each kind of cell in each number left open."""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from statistics import fmean

from straycell.cells import Chemistry
from straycell.matching.pack.kinds import PackKind, by_kind, least_capacity
from straycell.matching.pack.plan import PackPlan, Refusal, plan_of
from straycell.matching.screen import Candidate, Demand, Screen, Screened, UseLimits, screen_all, usable
from straycell.projects import Project

MOST_TRIED = 14
"""Numbers of cells in parallel that are tried from the first that could do it: beyond it is not a lack of cells."""


def in_series(project: Project, chemistries: Sequence[Chemistry], limits: UseLimits) -> list[int]:
    """Numbers of cells in series to try: the file's, or those whose voltage window holds the device's cut-off.

    Fewer cells do not reach the cut-off; with more, the device stops below what a cell may be emptied to, and
    was made for less voltage.
    """
    if project.pack.series is not None:
        return [project.pack.series]
    found: set[int] = set()
    for chemistry in chemistries:
        full_v, empty_v = limits.full_v[chemistry], limits.cell_cutoff_v[chemistry]
        least = math.floor(project.need.cutoff_v / full_v + 1e-9) + 1
        found.update(range(least, max(least, math.floor(project.need.cutoff_v / empty_v + 1e-9)) + 1))
    return sorted(found)


def chemistries_of(project: Project, cells: Sequence[Candidate], limits: UseLimits) -> list[Chemistry]:
    """The chemistries that fit the project and lie on the shelf; all that fit where none does."""
    wanted = [c for c in project.pack.chemistries if c in limits.full_v]
    there = {c.facts.chemistry for c in cells}
    return [c for c in wanted if c in there] or wanted


def in_parallel(first: int, most: int) -> Iterator[int]:
    """Numbers of cells in parallel to try from the first that could do it, ever wider apart."""
    step, count = 1, first
    for tried in range(MOST_TRIED):
        if count > most:
            return
        yield count
        step = 1 if tried < MOST_TRIED // 2 else 2 * step
        count += step


def shape_words(series: int, parallel: int) -> str:
    """`2 in series, each of 2 in parallel (4 cells)`."""
    cells = series * parallel
    if parallel == 1:
        return f"{series} cells in series"
    if series == 1:
        return f"{parallel} cells in parallel"
    return f"{series} groups in series, each of {parallel} cells in parallel ({cells} cells)"


# Short of the usual cell's least capacity by no more than this, a group may still last by a lower resistance.
LIKELY = 0.97
# Up to so many cells in parallel every number is tried.
FEW_WIDTHS = 8


@dataclass(slots=True)
class Tried:
    """One shape as tried: the screen of its cells, what there is of each kind, and how each kind fared.

    `screened` holds each cell's way through the tests, where one cell alone is asked for.
    """

    screen: Screen
    kinds: dict[PackKind, list[Candidate]]
    plan: PackPlan | None
    refusals: dict[PackKind, Refusal]
    screened: Sequence[Screened] = ()

    @property
    def proven(self) -> bool:
        """True where it is proven that these cells make no pack of this shape: too few of each kind, or all tested."""
        return all(refusal.proven for refusal in self.refusals.values())

    @property
    def longest_h(self) -> float:
        """The longest run that any of its cells or groups was found to last, enough or not."""
        alone = [s.run.steady.low_h for s in self.screened if s.run is not None]
        return max([*alone, *(refusal.longest_h for refusal in self.refusals.values())], default=0.0)

    @property
    def cells(self) -> int:
        return self.screen.demand.cells


def try_shape(
    project: Project, cells: Sequence[Candidate], limits: UseLimits, now: datetime, shape: tuple[int, int]
) -> Tried:
    """Plan one shape from every kind there is; the one that spends the least wins."""
    series, parallel = shape
    screen = Screen(Demand(project, series, parallel), limits, now)
    if not screen.joined:
        return _one_cell(screen, cells)
    kinds = by_kind(usable(screen, cells))
    tried = Tried(screen, kinds, None, {})
    need_h = project.need.runtime_h
    best: tuple[float, float, PackKind] | None = None
    for kind, members in kinds.items():
        if len(members) < screen.demand.cells:
            continue
        found = plan_of(screen, kind, members)
        if isinstance(found, Refusal):
            tried.refusals[kind] = found
            continue
        spare_h = min(run.promised.low_h for run in found.runs) - need_h
        rank = (round(spare_h / need_h, 3), found.held_ah, kind)
        if best is None or rank < best:
            best, tried.plan = rank, found
    return tried


def _one_cell(screen: Screen, cells: Sequence[Candidate]) -> Tried:
    """A pack of 1S1P: nothing is joined, so kinds and shares do not matter, and the least cell that lasts is it."""
    need_h = screen.demand.project.need.runtime_h

    def least_first(s: Screened) -> tuple[int, float, float, str]:
        assert s.runtime is not None and s.candidate.capacity is not None
        # A solo cell before one that may go into packs, then least surplus: the better cell stays for harder work.
        surplus_h = s.runtime.low_h - need_h
        return int(s.candidate.outcome), surplus_h, s.candidate.capacity.value, s.candidate.code

    screened = screen_all(screen, cells)
    fitting = sorted((s for s in screened if s.fits), key=least_first)
    tried = Tried(screen, {}, None, {}, [*fitting, *(s for s in screened if not s.fits)])
    if fitting and (run := fitting[0].run) is not None:
        c = fitting[0].candidate
        tried.plan = PackPlan(PackKind.of(c), ((c,),), fitting[0].reasons, (run,), 0.0, 0.0, 0.0)
    return tried


def best_shape(project: Project, cells: Sequence[Candidate], limits: UseLimits, now: datetime) -> Tried:
    """The first shape that does it, in order of how many cells it takes; else the one worth explaining."""
    last: Tried | None = None
    served: list[Tried] = []
    for series in in_series(project, chemistries_of(project, cells, limits), limits):
        counts = _parallels(project, cells, limits, now, series)
        for parallel in counts:
            if project.pack.one_cell and series * parallel == 1:
                continue  # one cell alone was tried before
            if served and series * parallel >= min(t.cells for t in served):
                break
            tried = try_shape(project, cells, limits, now, (series, parallel))
            if tried.plan is not None:
                served.append(tried)
                break
            last = last or tried
    if served:
        return min(served, key=lambda t: (t.cells, t.screen.demand.series))
    shape = (project.pack.series or 1, project.pack.parallel or 2)
    return last or try_shape(project, cells, limits, now, shape)


def _parallels(
    project: Project, cells: Sequence[Candidate], limits: UseLimits, now: datetime, series: int
) -> list[int]:
    """Numbers of cells in parallel to try: the file's, or from the first at which good cells could do it."""
    if project.pack.parallel is not None:
        return [project.pack.parallel]
    most = max(1, len(cells) // series)
    if most <= FEW_WIDTHS:
        return list(range(1, most + 1))
    return list(in_parallel(_first_possible(project, cells, limits, now, series, most), most)) or [most]


def _first_possible(
    project: Project,
    cells: Sequence[Candidate],
    limits: UseLimits,
    now: datetime,
    series: int,
    most: int,
) -> int:
    """The least number in parallel at which the best cells there are would do it on average, found by bisection."""

    def could(parallel: int) -> bool:
        screen = Screen(Demand(project, series, parallel), limits, now)
        for members in by_kind(usable(screen, cells)).values():
            best = sorted((c.capacity.value for c in members if c.capacity), reverse=True)[
                : screen.demand.cells
            ]
            if len(best) == screen.demand.cells and fmean(best) >= LIKELY * least_capacity(screen, members):
                return True
        return False

    low, high = 0, 1
    while high < most and not could(high):
        low, high = high, min(most, 2 * high)
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if could(middle) else (middle, high)
    return high
