"""Every pending project at once: each wholly or not at all, no cell twice, the most urgent first."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime

from straycell.matching.all_projects_model import Wish, in_order, worths
from straycell.matching.all_projects_solve import Solved, bound_of, solve
from straycell.matching.answer_check import check_answer
from straycell.matching.one_project import Match
from straycell.matching.pack.match_pack import described, pack_match, serve
from straycell.matching.screen import Candidate, Demand, Screen, UseLimits, Why, screen_all
from straycell.matching.verify import UnsoundPlan
from straycell.projects import Project

MOST_LISTED = 40
"""How many of the cells not chosen are listed for a project here; `match NAME` lists them all."""


@dataclass(frozen=True, slots=True)
class StockPlan:
    """Who gets which cells. `objective` and `bound` in the weights of the priorities, `gap` as a share of the bound.

    `surplus_ah` is the capacity spent beyond the least that would do, `bound_surplus_ah` its lower bound as far as
    the optimiser proved one. `cells` gives the fate of every cell. `stopped_early` where time ended the
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


def match_all(
    projects: Sequence[Project], candidates: Sequence[Candidate], limits: UseLimits, *, now: datetime
) -> StockPlan:
    """Serve the projects: by priority, then the most, then the earliest due, then the least surplus spent.

    Same input, same answer. Every plan is put through the tests of its cells again before it is returned.
    """
    # By code, so that the order in which candidates come cannot change an answer.
    cells = sorted(candidates, key=lambda c: c.code)
    asked = in_order(projects)
    alone = {p.name: serve(p, cells, limits, now=now) for p in asked}
    # A project that the whole stock cannot serve is settled, and would only burden the optimiser.
    wishes = [_wish(p, alone[p.name], cells, limits, now) for p in asked if alone[p.name].served]
    worth = worths(asked)
    solved = solve(wishes, cells, worth)
    bound = bound_of(wishes, cells, worth, solved)
    matches = {w.project.name: _match_of(w, cells, solved) for w in wishes if w.project.name in solved.taken}
    verify_all(list(matches.values()))
    wish_of = {w.project.name: w for w in wishes}
    unserved = tuple(
        _outbid(wish_of[p.name], alone[p.name], cells, solved) if p.name in wish_of else alone[p.name]
        for p in asked
        if p.name not in matches
    )
    objective = math.fsum(worth[name] for name in matches)
    # What was only not found may still be there: its worth belongs into the bound.
    bound = max(bound, objective) + math.fsum(worth[m.project] for m in unserved if not m.proven)
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
    screen = Screen(Demand(p, series, parallel), limits, now)
    return Wish(p, screen, {s.candidate.code: s for s in screen_all(screen, cells)})


# --- telling ---------------------------------------------------------------------------------------


def _match_of(wish: Wish, cells: Sequence[Candidate], solved: Solved) -> Match:
    """The match of one served project with the cells it got."""
    taken = solved.taken[wish.project.name]
    limits, now = wish.screen.limits, wish.screen.now
    plan = solved.packs.get(wish.project.name)
    if plan is not None:
        found = described(wish.project, wish.screen, plan, limits)
    else:
        found = pack_match(wish.project, taken, limits, now)
    if not found.served:
        raise UnsoundPlan([f"project {wish.project.name}: its cells do not serve it"])
    # An independent check of the answer itself, cell by cell (answer_check.py).
    check_answer(wish.project, found, taken, wish.screen.now)
    return _shortened(replace(found, not_chosen=_others(wish, cells, solved)))


def _others(wish: Wish, cells: Sequence[Candidate], solved: Solved) -> tuple[Why, ...]:
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
    # The nearest failures tell more than the first by code: they show what little is missing.
    nearest.sort(key=lambda s: (-s.steps, s.candidate.code))
    return (*would[:MOST_LISTED], *(s.last for s in nearest[: max(0, MOST_LISTED - len(would))]))


def _shortened(found: Match) -> Match:
    return replace(found, not_chosen=found.not_chosen[:MOST_LISTED])


def _outbid(wish: Wish, alone: Match, cells: Sequence[Candidate], solved: Solved) -> Match:
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
    cells: Sequence[Candidate], wishes: Sequence[Wish], matches: Mapping[str, Match], solved: Solved
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
        return Why(c.code, "not-asked", True, "no project that can be served asks for it")
    nearest = max(wishes, key=lambda w: (w.screened[c.code].steps, -wishes.index(w)))
    last = nearest.screened[c.code].last
    return replace(last, text=f"for '{nearest.project.name}': {last.text}")


def verify_all(matches: Sequence[Match]) -> None:
    """Raise UnsoundPlan where a cell is in two plans. Each plan was put through its tests when it was made."""
    used = [code for match in matches for group in match.groups for code in group]
    twice = sorted({code for code in used if used.count(code) > 1})
    if twice:
        raise UnsoundPlan([f"{', '.join(twice)} in more than one plan"])
