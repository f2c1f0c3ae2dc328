"""Every pending project at once: each wholly or not at all, no cell twice, the most urgent first."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime

from straycell.matching.asked import Screen
from straycell.matching.candidates import FREE, Candidate, Why
from straycell.matching.demand import Demand
from straycell.matching.everyone_model import Question, Wish, in_order, worths
from straycell.matching.limits import UseLimits
from straycell.matching.pack_plan import PackPlan, vagueness_band
from straycell.matching.packs import described, pack_match, plan_among, serve
from straycell.matching.screening import screen_all
from straycell.matching.single import Match, match_single
from straycell.matching.verify import UnsoundPlan
from straycell.projects import Project

ROUNDS = 12
SECONDS = 10.0
TOLD = 40
"""How many of the cells not chosen a project tells of here; `match NAME` tells of all."""


@dataclass(frozen=True, slots=True)
class StockPlan:
    """Who gets which cells. `objective` and `bound` in the weights of the priorities, `gap` as a share of the bound.

    `surplus_ah` is the capacity spent beyond the least that would do, `bound_surplus_ah` its lower bound as far as
    the optimiser proved one. `cells` tells of every cell what became of it. `stopped_early` where time ended the
    search for less surplus.
    """

    plans: tuple[Match, ...]
    unserved: tuple[Match, ...]
    objective: float
    bound: float
    gap: float
    surplus_ah: float
    bound_surplus_ah: float
    cells: tuple[Why, ...]
    stopped_early: bool = False

    def to_json(self) -> dict[str, object]:
        """With the keys of the command `match --all`."""
        return {
            "plans": [plan.to_json() for plan in self.plans],
            "unserved": [plan.to_json() for plan in self.unserved],
            "objective": self.objective,
            "bound": self.bound,
            "gap": self.gap,
            "surplus_ah": self.surplus_ah,
            "bound_surplus_ah": self.bound_surplus_ah,
            "stopped_early": self.stopped_early,
            "cells": [why.to_json() for why in self.cells],
        }


@dataclass(slots=True)
class _Solved:
    taken: dict[str, tuple[Candidate, ...]] = field(default_factory=dict)
    surplus_ah: float = 0.0
    bound_surplus_ah: float = 0.0
    stopped_early: bool = False
    packs: dict[str, PackPlan] = field(default_factory=dict)


def match_all(
    projects: Sequence[Project], candidates: Sequence[Candidate], limits: UseLimits, *, now: datetime
) -> StockPlan:
    """Serve the projects: by priority, then the most, then the earliest due, then the least surplus spent.

    Same input, same answer. Every plan is put through the tests of its cells once more before it is told.
    """
    cells = sorted(candidates, key=lambda c: c.code)
    asked = in_order(projects)
    alone = {p.name: serve(p, cells, limits, now=now) for p in asked}
    wishes = [_wish(p, alone[p.name], cells, limits, now) for p in asked if alone[p.name].served]
    worth = worths(asked)
    solved, bound = _solve(wishes, cells, worth)
    _use_what_is_left(wishes, cells, solved)
    matches = {w.project.name: _told(w, cells, solved) for w in wishes if w.project.name in solved.taken}
    verify_all(list(matches.values()))
    wish_of = {w.project.name: w for w in wishes}
    unserved = tuple(
        _outbid(wish_of[p.name], alone[p.name], cells, solved) if p.name in wish_of else alone[p.name]
        for p in asked
        if p.name not in matches
    )
    objective = math.fsum(worth[name] for name in matches)
    bound = max(bound, objective)
    return StockPlan(
        plans=tuple(matches[p.name] for p in asked if p.name in matches),
        unserved=tuple(_shortened(m) for m in unserved),
        objective=objective,
        bound=bound,
        gap=(bound - objective) / bound if bound > 0 else 0.0,
        surplus_ah=solved.surplus_ah,
        bound_surplus_ah=solved.bound_surplus_ah,
        cells=_cells(cells, wishes, matches, solved),
        stopped_early=solved.stopped_early,
    )


def _wish(p: Project, alone: Match, cells: Sequence[Candidate], limits: UseLimits, now: datetime) -> Wish:
    """The project in the shape it would have with the whole stock to itself."""
    series, parallel = len(alone.groups), len(alone.groups[0])
    screen = Screen(Demand.of(p, limits, series, parallel), limits, now)
    return Wish(p, screen, {s.candidate.code: s for s in screen_all(screen, cells)})


def _solve(
    wishes: Sequence[Wish], cells: Sequence[Candidate], worth: Mapping[str, float]
) -> tuple[_Solved, float]:
    """(the plan, the most any plan could be worth): the optimiser's answer, tested, and told apart where it was wrong."""
    if not wishes:
        return _Solved(), 0.0
    from straycell.matching.allocate import allocate_cells

    useful = frozenset().union(*(w.fitting for w in wishes))
    parallel = [w for w in wishes if w.shape[1] > 1]
    question = Question(wishes, [c for c in cells if c.code in useful], worth)
    limit = wishes[0].screen.limits.resistance_ratio
    if not any(wish.screen.joined for wish in wishes):
        # Single cells lose nothing by being told apart at once; packs would lose partners.
        for wish in wishes:
            question.split(wish, _let_in_wrongly(question, wish))
    ratio, vague = _ratio(parallel, question.cells, limit)
    for wish in parallel:
        question.split(wish, vague)
    solved = _Solved()
    for _ in range(ROUNDS):
        answer = allocate_cells(
            question.offers(), question.demands(), resistance_ratio=ratio, seconds=SECONDS
        )
        taken = {
            w.project.name: tuple(question.cells[k] for k in sorted(places))
            for w, places in zip(wishes, answer.assignment, strict=True)
            if places
        }
        solved = _Solved(taken, answer.surplus_ah, answer.bound_surplus_ah, answer.stopped_early)
        if not _told_apart(question, wishes, solved):
            break
    _drop_unsound(wishes, solved)
    return solved, _most(wishes, cells, worth, solved)


def _most(
    wishes: Sequence[Wish], cells: Sequence[Candidate], worth: Mapping[str, float], solved: _Solved
) -> float:
    """The most any plan could be worth, of whatever cells and groups; all wishes together where all are served."""
    if len(solved.taken) == len(wishes):
        return math.fsum(worth[w.project.name] for w in wishes)
    from straycell.matching.allocate import allocate_cells

    useful = frozenset().union(*(w.fitting for w in wishes))
    question = Question(wishes, [c for c in cells if c.code in useful or _joinable(c, wishes)], worth)
    ratio = wishes[0].screen.limits.resistance_ratio if any(w.shape[1] > 1 for w in wishes) else None
    answer = allocate_cells(
        question.offers(), question.demands(loosely=True), resistance_ratio=ratio, seconds=SECONDS
    )
    return answer.bound_weight


def _joinable(c: Candidate, wishes: Sequence[Wish]) -> bool:
    return any(w.screen.joined and w.screened[c.code].steps > 2 for w in wishes) and c.stage in FREE


def _let_in_wrongly(question: Question, wish: Wish) -> list[str]:
    """Cells within the limits of one project that its tests refuse."""
    demand = question.demands()[list(question.wishes).index(wish)]
    fitting = wish.fitting
    least_ah, most_ohm, rank = (demand[k] for k in ("min_capacity_ah", "max_resistance_ohm", "min_rank"))
    assert isinstance(least_ah, float) and isinstance(most_ohm, float) and isinstance(rank, int)
    return [
        c.code
        for c in question.cells
        if c.code not in fitting
        and (c.capacity.value if c.capacity else 0.0) >= least_ah
        and (c.resistance.value if c.resistance else 0.0) <= most_ohm
        and int(c.outcome) >= rank
    ]


def _ratio(
    parallel: Sequence[Wish], cells: Sequence[Candidate], limit: float
) -> tuple[float | None, list[str]]:
    """(the ratio to plan with, cells too vague for it): what room the usual vagueness of the resistances leaves."""
    if not parallel:
        return None, []
    joined = frozenset().union(*(w.fitting for w in parallel))
    return vagueness_band(
        [c for c in cells if c.code in joined], limit, max(w.screen.demand.cells for w in parallel)
    )


def _told_apart(question: Question, wishes: Sequence[Wish], solved: _Solved) -> bool:
    """Whether a project got a cell that its tests refuse; such cells are told apart for the next round."""
    again = False
    for wish in wishes:
        wrong = [c.code for c in solved.taken.get(wish.project.name, ()) if c.code not in wish.fitting]
        again = question.split(wish, wrong) or again
    return again


def _drop_unsound(wishes: Sequence[Wish], solved: _Solved) -> None:
    """What does not hold by the tests is not planned: its cells are free again."""
    for wish in wishes:
        taken = solved.taken.get(wish.project.name)
        if taken is None:
            continue
        plan: PackPlan | None = None
        if wish.screen.joined:
            limits, now = wish.screen.limits, wish.screen.now
            plan = plan_among(wish.project, taken, limits, now, wish.shape)
        if plan is not None:
            solved.packs[wish.project.name] = plan
        elif wish.screen.joined or any(c.code not in wish.fitting for c in taken):
            del solved.taken[wish.project.name]


def _use_what_is_left(wishes: Sequence[Wish], cells: Sequence[Candidate], solved: _Solved) -> None:
    """Projects that went without may still be served by cells that nobody took, mixed strong and weak."""
    for wish in wishes:
        if wish.project.name in solved.taken:
            continue
        used = {c.code for taken in solved.taken.values() for c in taken}
        free = [c for c in cells if c.code not in used]
        found = serve(wish.project, free, wish.screen.limits, now=wish.screen.now)
        if found.served:
            codes = {code for group in found.groups for code in group}
            solved.taken[wish.project.name] = tuple(c for c in free if c.code in codes)


# --- telling ---------------------------------------------------------------------------------------


def _told(wish: Wish, cells: Sequence[Candidate], solved: _Solved) -> Match:
    """The match of one served project with the cells it got."""
    taken = solved.taken[wish.project.name]
    limits, now = wish.screen.limits, wish.screen.now
    plan = solved.packs.get(wish.project.name)
    if plan is not None:
        found = described(wish.project, wish.screen, plan, limits)
    elif len(taken) == 1:
        found = match_single(wish.project, taken, limits, now=now)
    else:
        found = pack_match(wish.project, taken, limits, now)
    if not found.served:
        raise UnsoundPlan([f"project {wish.project.name}: its cells do not serve it"])
    return _shortened(replace(found, not_chosen=_others(wish, cells, solved)))


def _others(wish: Wish, cells: Sequence[Candidate], solved: _Solved) -> tuple[Why, ...]:
    """Why this project did not get each other cell, the ones that would do first."""
    owner = {c.code: name for name, taken in solved.taken.items() for c in taken}
    would, nearest = [], []
    for c in cells:
        screened = wish.screened[c.code]
        if owner.get(c.code) == wish.project.name:
            continue
        if not screened.fits:
            nearest.append(screened)
        elif c.code in owner:
            would.append(Why(c.code, "given", True, f"would do: given to '{owner[c.code]}'"))
        else:
            would.append(Why(c.code, "kept", True, "would do: kept for a more demanding project"))
    nearest.sort(key=lambda s: (-s.steps, s.candidate.code))
    return (*would[:TOLD], *(s.last for s in nearest[: max(0, TOLD - len(would))]))


def _shortened(found: Match) -> Match:
    return replace(found, not_chosen=found.not_chosen[:TOLD])


def _outbid(wish: Wish, alone: Match, cells: Sequence[Candidate], solved: _Solved) -> Match:
    """A project that the stock alone would serve, were its cells not given to others."""
    wanted = [code for group in alone.groups for code in group]
    owner = {c.code: name for name, taken in solved.taken.items() for c in taken}
    holders = sorted({owner[code] for code in wanted if code in owner})
    others = ", ".join(f"'{name}'" for name in holders) or "others"
    named = ", ".join(wanted[:12]) + (" and more" if len(wanted) > 12 else "")
    left = [c for c in cells if c.code not in owner]
    found = serve(wish.project, left, wish.screen.limits, now=wish.screen.now)
    lines = (
        *found.missing[:1],
        f"alone it would be served by {named}: more urgent or better suited went before it ({others})",
        *found.missing[1:],
    )
    return replace(found, missing=lines, not_chosen=_others(wish, cells, solved))


def _cells(
    cells: Sequence[Candidate], wishes: Sequence[Wish], matches: Mapping[str, Match], solved: _Solved
) -> tuple[Why, ...]:
    """Of every cell: who has it, who could have had it, or how near it came."""
    owner = {c.code: name for name, taken in solved.taken.items() if name in matches for c in taken}
    return tuple(_fate(c, wishes, owner) for c in cells)


def _fate(c: Candidate, wishes: Sequence[Wish], owner: Mapping[str, str]) -> Why:
    if c.code in owner:
        return Why(c.code, "given", True, f"given to '{owner[c.code]}'")
    fits = [w.project.name for w in wishes if w.screened[c.code].fits]
    if fits:
        listed = ", ".join(f"'{name}'" for name in fits[:3]) + (" and more" if len(fits) > 3 else "")
        return Why(c.code, "kept", True, f"would do for {listed}: kept for a more demanding project")
    if not wishes:
        return Why(c.code, "kept", True, "no project that can be served asks for it")
    nearest = max(wishes, key=lambda w: (w.screened[c.code].steps, -wishes.index(w)))
    last = nearest.screened[c.code].last
    return replace(last, text=f"for '{nearest.project.name}': {last.text}")


def verify_all(matches: Sequence[Match]) -> None:
    """Raise UnsoundPlan where a cell stands in two plans. Each plan was put through its tests when it was made."""
    used = [code for match in matches for group in match.groups for code in group]
    twice = sorted({code for code in used if used.count(code) > 1})
    if twice:
        raise UnsoundPlan([f"{', '.join(twice)} in more than one plan"])
