"""The best groups for one shape from cells of one kind: long enough, no better cells than needed, every share borne.

A group passes or fails by itself, so a pack is a choice of groups that pass and share no cell. What the search by capacity
does not find, every choice of few cells finds, or proves that there is none.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from itertools import combinations, islice
from math import comb

from straycell.matching.pack.groups import cell_limits, equivalent, held, judge_group
from straycell.matching.pack.kinds import PackKind, least_capacity, pools_of, too_weak
from straycell.matching.screen import Candidate, Run, Screen, Why, judge_drop, judge_run, lasts, runs

MOST_GROUPS, MOST_STEPS = 4000, 100_000

Groups = tuple[tuple[Candidate, ...], ...]
# The work of balance_groups is bounded by steps; the time only stops a machine that is far too slow.
SECONDS = 60.0
TRIES = 6
# The goal is met to this share of the run time where cells allow it.
CLOSE = 0.003
TIGHTER = (1.0, 0.7, 0.4, 0.15)
# Up to so many cells are also tried in groups that only the test of their shares can judge.
FEW = 100


@dataclass(frozen=True, slots=True)
class Exact:
    """The groups with their runs, none where there are none; `proven` where every choice was looked at."""

    groups: tuple[tuple[Candidate, ...], ...] = ()
    runs: tuple[Run, ...] = ()
    proven: bool = False


def every_choice(screen: Screen, cells: Sequence[Candidate]) -> Exact:
    """The first pack that passes, of the groups with the least to spare; nothing where they are too many to look at."""
    series, parallel = screen.demand.series, screen.demand.parallel
    if comb(len(cells), parallel) > MOST_GROUPS:
        return Exact()
    ordered = sorted(cells, key=lambda c: c.code)
    subsets = list(combinations(range(len(ordered)), parallel))
    members = [tuple(ordered[k] for k in subset) for subset in subsets]
    found = runs(screen, [equivalent(group, "group") for group in members])
    good = [
        (run.steady.low_h, k)
        for k, (group, run) in enumerate(zip(members, found, strict=True))
        if lasts(screen, run) and all(why.passed for why in judge_group(screen, 1, group))
    ]
    masks = [(sum(1 << cell for cell in subsets[k]), k) for _, k in sorted(good)]
    chosen, complete = _disjoint(masks, series)
    return Exact(tuple(members[k] for k in chosen), tuple(found[k] for k in chosen), complete)


def _disjoint(masks: Sequence[tuple[int, int]], wanted: int) -> tuple[list[int], bool]:
    """(as many groups without a common cell as wanted, or none; whether all choices were looked at)."""
    steps = 0
    stack: list[tuple[int, int, list[int]]] = [(0, 0, [])]
    while stack:
        start, used, chosen = stack.pop()
        if len(chosen) == wanted:
            return chosen, True
        for at in range(len(masks) - 1, start - 1, -1):
            mask, k = masks[at]
            if not mask & used:
                stack.append((at + 1, used | mask, [*chosen, k]))
        steps += 1
        if steps > MOST_STEPS:
            return [], False
    return [], True


@dataclass(frozen=True, slots=True)
class PackPlan:
    """A pack that does it. Capacities in Ah; `gap` is the share by which it may be off the best."""

    kind: PackKind
    groups: Groups
    reasons: tuple[Why, ...]
    runs: tuple[Run, ...]
    spread_ah: float
    bound_spread_ah: float
    gap: float

    @property
    def low_h(self) -> float:
        """How long the weakest group surely runs."""
        return min(run.low_h for run in self.runs)

    @property
    def codes(self) -> frozenset[str]:
        return frozenset(c.code for group in self.groups for c in group)

    @property
    def held_ah(self) -> float:
        return held([c for group in self.groups for c in group]).value


@dataclass(slots=True)
class Refusal:
    """Why no pack of this shape was found in a kind: `reason` in words, the cells behind it, the longest run there is.

    `tried` counts the groupings that were tested; `proven` says that every choice there is was, and none passes.
    """

    reason: str = ""
    cells: tuple[str, ...] = ()
    longest_h: float = 0.0
    failed: list[Why] = field(default_factory=list)
    tried: int = 0
    proven: bool = False


def plan_of(screen: Screen, kind: PackKind, cells: Sequence[Candidate]) -> PackPlan | Refusal:
    """The best pack of these cells (all of one kind, passing all but the run time), or why there is none."""
    refusal = Refusal()
    if too_weak(screen, cells):
        refusal.proven = True
        # How long the most even pack of all runs, for the words of the refusal.
        for pool, ratio in islice(pools_of(screen, cells), 1):
            _Search(screen, kind, pool, ratio, refusal).balanced(None)
        return refusal
    for pool, ratio in pools_of(screen, cells):
        found = _within(screen, kind, pool, ratio, refusal)
        if found is not None:
            return found
    # Only where balancing found nothing: every choice is dear, but only it proves that there is none.
    exact = every_choice(screen, cells)
    refusal.proven = exact.proven
    return _of_groups(screen, kind, exact) if exact.groups else refusal


def _of_groups(screen: Screen, kind: PackKind, exact: Exact) -> PackPlan:
    """The plan of groups that were found by looking at every choice; how even they could be was not asked."""
    held_ah = [held(group).value for group in exact.groups]
    spread = max(held_ah) - min(held_ah)
    return PackPlan(
        kind,
        exact.groups,
        group_reasons(screen, exact.groups, exact.runs),
        exact.runs,
        spread,
        0.0,
        spread / max(min(held_ah), 1e-9),
    )


def _bears(screen: Screen, c: Candidate, ratio: float) -> bool:
    """Whether a cell keeps within every limit whatever it is joined with inside this ratio of resistances.

    At worst it is the lowest of its group, and all others have `ratio` times its resistance.
    """
    figure = c.resistance
    if figure is None or figure.value <= 0:
        return False
    # Worst case within the ratio, so that any grouping of such cells passes without being tested.
    share = 1.0 / (1.0 + (screen.demand.parallel - 1) * max(0.0, figure.low) / (ratio * figure.value))
    return all(share * total_a <= most_a for _, _, total_a, most_a in cell_limits(screen, c))


def _within(
    screen: Screen, kind: PackKind, pool: Sequence[Candidate], ratio: float, refusal: Refusal
) -> PackPlan | None:
    """Of cells that bear any share inside the ratio, or a tighter one; else of all, whatever share that gives them.

    A goal of capacity alone picks small cells, of which the lowest resistance of a group then overloads.
    """
    powers = TIGHTER if screen.demand.parallel > 1 else (1.0,)
    parts = [(ratio**power, [c for c in pool if _bears(screen, c, ratio**power)]) for power in powers]
    safe = [(r, part) for r, part in parts if screen.demand.cells <= len(part)]
    if not safe or len(safe[0][1]) < len(pool):
        safe += [(ratio**power, list(pool)) for power in (powers if len(pool) <= FEW else (1.0,))]
    for near, part in safe:
        found = _Search(screen, kind, part, near, refusal).plan()
        if found is None:
            continue
        failed = [why for why in found.reasons if not why.passed]
        if not failed:
            return found
        refusal.failed = failed
        refusal.reason = failed[0].text
    return None


@dataclass(slots=True)
class _Search:
    """Balancing towards the run time: the goal of a group is moved until the weakest just lasts."""

    screen: Screen
    kind: PackKind
    pool: Sequence[Candidate]
    ratio: float
    refusal: Refusal

    def plan(self) -> PackPlan | None:
        """The groups that just last; None with the refusal filled in."""
        if len(self.pool) == self.screen.demand.cells:
            # All are needed: nothing to spare, the most even groups are the best.
            draft = self.balanced(None)
            return self._described(draft) if draft is not None and self._lasts(draft) else None
        # Starting at the least that could last wastes no better cells than the job needs.
        goal_ah = least_capacity(self.screen, self.pool) * self.screen.demand.parallel
        draft, goal_ah = self._aimed(goal_ah)
        if draft is None:
            draft = self._strongest(goal_ah)
        return None if draft is None else self._described(draft)

    def _aimed(self, goal_ah: float) -> tuple[PackPlan | None, float]:
        """Raise a goal that was too low, lower one that left time over; the least that lasts."""
        best: tuple[PackPlan | None, float] = (None, goal_ah)
        need_h = self.screen.demand.project.need.runtime_h
        for _ in range(TRIES):
            draft = self.balanced(goal_ah) if math.isfinite(goal_ah) else None
            if draft is None:
                break
            if self._lasts(draft):
                if best[0] is not None and draft.held_ah >= best[0].held_ah - 1e-9:
                    break
                best = (draft, goal_ah)
                if draft.low_h <= need_h * (1 + CLOSE):
                    break
                goal_ah *= max(need_h / draft.low_h, 0.5) * (1 + CLOSE / 2)
            elif best[0] is not None or draft.low_h <= 0:
                break
            else:
                # Run time grows nearly in proportion to capacity, so the next goal is scaled by what is
                # missing.
                goal_ah *= need_h / draft.low_h * (1 + CLOSE / 2)
        return best

    def _strongest(self, failed_ah: float) -> PackPlan | None:
        """As strong as it goes; where that lasts, down again to between it and the goal that failed."""
        best = self.balanced(None)
        if best is None or not self._lasts(best):
            return None
        reached_ah = min(held(group).value for group in best.groups)
        # Halving: between a goal that failed and one that lasted the least lies somewhere.
        low_ah, high_ah = min(failed_ah, reached_ah), reached_ah
        for _ in range(TRIES if low_ah < high_ah else 0):
            middle_ah = 0.5 * (low_ah + high_ah)
            draft = self.balanced(middle_ah)
            if draft is not None and self._lasts(draft):
                best, high_ah = min(best, draft, key=lambda d: d.held_ah), middle_ah
            else:
                low_ah = middle_ah
        return best

    def balanced(self, target_ah: float | None) -> PackPlan | None:
        """The groups nearest to a target in Ah each (None: the strongest there are), with their runs; None if none is legal."""
        from straycell.matching.balance.deal import NoLegalGrouping, balance_groups

        demand = self.screen.demand
        try:
            plan = balance_groups(
                [c.capacity.value if c.capacity else 0.0 for c in self.pool],
                [c.resistance.value if c.resistance else 0.0 for c in self.pool],
                series=demand.series,
                parallel=demand.parallel,
                target_ah=target_ah,
                resistance_ratio=self.ratio,
                seconds=SECONDS,
            )
        except NoLegalGrouping as fault:
            if fault.cells:
                self.refusal.cells = tuple(self.pool[k].code for k in fault.cells)
                self.refusal.reason = "their resistances keep them apart"
            return None
        self.refusal.tried += 1
        groups = tuple(tuple(self.pool[k] for k in group) for group in plan.groups)
        found = runs(self.screen, [equivalent(g, f"group {n}") for n, g in enumerate(groups, 1)])
        if target_ah is None:
            off = plan.bound_smallest_ah - plan.smallest_ah
            gap = max(off, plan.spread_ah - plan.bound_spread_ah) / max(plan.bound_smallest_ah, 1e-9)
            self.refusal.longest_h = max(self.refusal.longest_h, min(r.steady.low_h for r in found))
            if plan.limited_by:
                self.refusal.cells = tuple(self.pool[k].code for k in plan.limited_by)
                self.refusal.reason = "their resistances keep stronger cells out of the weakest group"
        else:
            over = (plan.surplus_ah or 0.0) - (plan.bound_surplus_ah or 0.0)
            gap = max(over, plan.spread_ah - plan.bound_spread_ah) / max(target_ah * demand.series, 1e-9)
        gap = 0.0 if plan.proven else max(0.0, gap)
        return PackPlan(self.kind, groups, (), tuple(found), plan.spread_ah, plan.bound_spread_ah, gap)

    def _lasts(self, draft: PackPlan) -> bool:
        return all(lasts(self.screen, run) for run in draft.runs)

    def _described(self, draft: PackPlan) -> PackPlan:
        return replace(draft, reasons=group_reasons(self.screen, draft.groups, draft.runs))


def group_reasons(screen: Screen, groups: Groups, found: Sequence[Run]) -> tuple[Why, ...]:
    """Every test of every group, and the run time of the weakest."""
    reasons = [why for number, group in enumerate(groups, 1) for why in judge_group(screen, number, group)]
    name = "group" if len(groups[0]) > 1 else "cell"
    places = [(run.steady.low_h, number) for number, run in enumerate(found)]
    weakest = min(places)[1]
    alike = equivalent(groups[weakest], f"{name} {weakest + 1}")
    reasons.append(judge_run(screen, alike, found[weakest]))
    if found[weakest].peak is not None or found[weakest].dip_v is not None:
        reasons.append(judge_drop(screen, alike, found[weakest]))
    return tuple(reasons)
