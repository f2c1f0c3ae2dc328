"""Who gets which cells: the optimiser's plan, tested, and packs of strong and weak cells that it does not see.

The optimiser asks every cell of a pack to last by itself. A pack may also mix: a project that goes without is tried
again with cells of any mixture, and keeps them where the plan of all others beside it is worth more.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from straycell.matching.all_projects_model import Wish, demand_of, offers_of
from straycell.matching.pack.kinds import vagueness_bands
from straycell.matching.pack.match_pack import serve
from straycell.matching.pack.plan import PackPlan
from straycell.matching.pack.shape_search import try_shape
from straycell.matching.screen import Candidate

if TYPE_CHECKING:
    from straycell.matching.allocate.cells import Allocation

Taken = dict[str, tuple[Candidate, ...]]
TRIES, DEPTH = 40, 2
# The work is bounded by turns; time only stops a search for less surplus, and the plan says so.
SECONDS, AGAIN_SECONDS = 10.0, 3.0


@dataclass(slots=True)
class Solved:
    """Cells by project, the surplus spent with its bound (Ah), and the packs as they were planned."""

    taken: dict[str, tuple[Candidate, ...]] = field(default_factory=dict)
    surplus_ah: float = 0.0
    bound_surplus_ah: float = 0.0
    stopped_early: bool = False
    packs: dict[str, PackPlan] = field(default_factory=dict)
    ratio: float | None = None


def solve(wishes: Sequence[Wish], cells: Sequence[Candidate], worth: Mapping[str, float]) -> Solved:
    """Serve the wishes (in order of urgency) by their worth; each wholly or not at all, no cell twice."""
    search = _Search(wishes, cells, worth, TRIES)
    settled: Taken = {}
    # Settling is greedy: each accepted trial is worth more in whole weights, so it ends.
    best = search.around(settled, None)
    while (found := search.better(settled, best, DEPTH)) is not None:
        settled, best = found
    return best


@dataclass(slots=True)
class _Search:
    """Trials of mixed packs, as many as `tries` allows."""

    wishes: Sequence[Wish]
    cells: Sequence[Candidate]
    worth: Mapping[str, float]
    tries: int

    def value(self, solved: Solved) -> float:
        return math.fsum(self.worth[name] for name in solved.taken)

    def better(self, settled: Taken, best: Solved, depth: int) -> tuple[Taken, Solved] | None:
        """What is worth more than the best: one more pack settled, or one that costs nothing and then another."""
        for trial in _trials(self.wishes, self.cells, best, settled):
            if self.tries <= 0:
                return None
            self.tries -= 1
            found = self.around(trial, best.ratio)
            if self.value(found) > self.value(best):
                return trial, found
            if depth > 1 and self.value(found) == self.value(best):
                deeper = self.better(trial, found, depth - 1)
                if deeper is not None:
                    return deeper
        return None

    def around(self, settled: Taken, ratio: float | None) -> Solved:
        """The plan of all others beside what is settled; within one `ratio`, or whichever serves best."""
        held = {c.code for taken in settled.values() for c in taken}
        waiting = [w for w in self.wishes if w.project.name not in settled]
        left = [c for c in self.cells if c.code not in held]
        solved = self.planned(waiting, left, ratio)
        solved.taken.update(settled)
        for wish in self.wishes:
            if wish.project.name not in solved.taken:
                used = frozenset(c.code for taken in solved.taken.values() for c in taken)
                mixed = _mixed(wish, [c for c in self.cells if c.code not in used])
                if mixed is not None:
                    solved.taken[wish.project.name] = mixed
        return solved

    def planned(self, wishes: Sequence[Wish], cells: Sequence[Candidate], only: float | None) -> Solved:
        """The best of the plans with more or less of the ratio left for vague resistances."""
        parallel = [w for w in wishes if w.shape[1] > 1]
        joined = frozenset().union(*(w.fitting for w in parallel))
        limit = wishes[0].screen.limits.resistance_ratio if wishes else 1.0
        best: Solved | None = None
        # The ratio may be spent on true spread or on vague readings: how much of each serves best depends on the
        # stock.
        for ratio, vague in vagueness_bands([c for c in cells if c.code in joined], limit, only):
            seconds = SECONDS if only is None else AGAIN_SECONDS
            found = _planned(wishes, cells, self.worth, (ratio if parallel else None, vague), seconds)
            found.ratio = ratio
            if best is None or self.value(found) > self.value(best):
                best = found
            # Nobody can be served beyond all: further ratios are spared.
            if not parallel or len(best.taken) == len(wishes):
                break
        return best or Solved()


def _mixed(wish: Wish, free: Sequence[Candidate]) -> tuple[Candidate, ...] | None:
    """A pack of any mixture for a project that may have one; None where these cells make none."""
    shape = wish.project.pack
    if shape.series == 1 and shape.parallel == 1:
        return None
    found = serve(wish.project, free, wish.screen.limits, now=wish.screen.now)
    codes = {code for group in found.groups for code in group}
    return tuple(c for c in free if c.code in codes) if found.served else None


def _trials(
    wishes: Sequence[Wish], cells: Sequence[Candidate], solved: Solved, settled: Taken
) -> Iterator[Taken]:
    """Packs of any mixture for projects without cells: of what no better one holds, then of all that is not settled."""
    fixed = frozenset(c.code for taken in settled.values() for c in taken)
    for wish in wishes:
        if wish.project.name in solved.taken:
            continue
        better = frozenset(
            c.code
            for other in wishes
            if other.project.priority <= wish.project.priority
            for c in solved.taken.get(other.project.name, ())
        )
        # First what nobody better needs, then what anybody has: the milder change is tried before the harder.
        for kept in dict.fromkeys((better | fixed, fixed)):
            mixed = _mixed(wish, [c for c in cells if c.code not in kept])
            if mixed is not None:
                yield {**settled, wish.project.name: mixed}


def _planned(
    wishes: Sequence[Wish],
    cells: Sequence[Candidate],
    worth: Mapping[str, float],
    room: tuple[float | None, Collection[str]],
    seconds: float,
) -> Solved:
    """The optimiser's plan within a ratio, without the cells whose resistance is too vague for it."""
    if not wishes:
        return Solved()
    ratio, vague = room
    # A vague resistance may lie anywhere within its U: among cells in parallel it counts as unfit, alone it harms
    # nobody.
    may_have = [w.fitting.difference(vague) if w.shape[1] > 1 else w.fitting for w in wishes]
    answer, useful = _allocated(wishes, cells, worth, may_have, ratio, seconds)
    taken = {
        w.project.name: tuple(useful[k] for k in sorted(places))
        for w, places in zip(wishes, answer.assignment, strict=True)
        if places
    }
    solved = Solved(taken, answer.surplus_ah, answer.bound_surplus_ah, answer.stopped_early)
    _drop_unsound(wishes, solved)
    return solved


def _allocated(
    wishes: Sequence[Wish],
    cells: Sequence[Candidate],
    worth: Mapping[str, float],
    may_have: Sequence[Collection[str]],
    ratio: float | None,
    seconds: float,
) -> tuple[Allocation, list[Candidate]]:
    """The optimiser's answer for wishes that may have the cells of these codes, and the cells its places mean."""
    # Imported here: the solver is only loaded where there is something to solve.
    from straycell.matching.allocate.cells import allocate_cells

    wanted = set().union(*may_have)
    useful = [c for c in cells if c.code in wanted]
    demands = [
        demand_of(w, useful, codes, worth[w.project.name]) for w, codes in zip(wishes, may_have, strict=True)
    ]
    return allocate_cells(offers_of(useful), demands, resistance_ratio=ratio, seconds=seconds), useful


def _drop_unsound(wishes: Sequence[Wish], solved: Solved) -> None:
    """What does not hold by the tests is not planned: its cells are free again."""
    for wish in wishes:
        taken = solved.taken.get(wish.project.name)
        if taken is None:
            continue
        plan: PackPlan | None = None
        if wish.screen.joined:
            limits, now = wish.screen.limits, wish.screen.now
            # The optimiser knows limits by kind, the tests know each cell: a pack is planned again from its own
            # cells.
            plan = try_shape(wish.project, taken, limits, now, wish.shape).plan
        if plan is not None:
            solved.packs[wish.project.name] = plan
        elif wish.screen.joined:
            del solved.taken[wish.project.name]


def bound_of(
    wishes: Sequence[Wish], cells: Sequence[Candidate], worth: Mapping[str, float], solved: Solved
) -> float:
    """The most any plan of these shapes could be worth: all together where all are served, else the optimiser's bound.

    It lets a pack have any cell that could be in a group beside the strongest of its kind.
    """
    # All are served: no plan can be worth more, and no bound has to be searched for.
    if len(solved.taken) == len(wishes):
        return math.fsum(worth[w.project.name] for w in wishes)
    ratio = wishes[0].screen.limits.resistance_ratio if any(w.shape[1] > 1 for w in wishes) else None
    answer, _ = _allocated(wishes, cells, worth, [w.helping for w in wishes], ratio, SECONDS)
    return answer.bound_weight
