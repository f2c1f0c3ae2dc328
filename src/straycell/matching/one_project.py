"""The least cell that does a project's job with margin, and why every other one was not taken."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime

from straycell.cells import position_name
from straycell.matching.changes import changes, refused_by
from straycell.matching.explain import Lacks, kept, missing_for, nearest_of, warnings_for
from straycell.matching.pack.joining import Joining
from straycell.matching.screen.candidates import Candidate, Why
from straycell.matching.screen.demand import Demand
from straycell.matching.screen.limits import UseLimits
from straycell.matching.screen.running import final_runtime
from straycell.matching.screen.screening import Screen, Screened, screen_all
from straycell.matching.sheet.data import PackData, pack_data
from straycell.matching.words import finite
from straycell.physics.run_time.runtime import Runtime
from straycell.projects import Project

# 64 bits of a hash: two plans of one store never share them by chance.
PLAN_LENGTH = 16
NO_PACKS = "not served yet: it wants more than one cell, and only single cells were looked at"


@dataclass(frozen=True, slots=True)
class Match:
    """What a project gets. `groups` lists the codes of each parallel group in series order.

    `why` holds the tests the chosen cells passed, `not_chosen` the first one each other cell failed (nearest
    first); an unserved match has its `missing` (`lacks` is what of it was found in the stock), and the `nearest` cell.
    `joining` says how a pack's cells come together, `data` what the pack is in figures. `proven` is False where an
    unserved pack was only not found. Capacities in Ah.
    """

    project: str
    served: bool
    groups: tuple[tuple[str, ...], ...] = ()
    spread_ah: float | None = None
    bound_spread_ah: float | None = None
    gap: float | None = None
    runtime: Runtime | None = None
    why: tuple[Why, ...] = ()
    not_chosen: tuple[Why, ...] = ()
    warnings: tuple[str, ...] = ()
    missing: tuple[str, ...] = ()
    lacks: Lacks | None = None
    nearest: Why | None = None
    plan: str | None = None
    joining: Joining | None = None
    data: PackData | None = None
    proven: bool = True

    def to_json(self) -> dict[str, object]:
        """With the keys of the command `match`."""
        return {
            "project": self.project,
            "served": self.served,
            "groups": [list(group) for group in self.groups],
            "positions": positions(self.groups),
            "spread_ah": self.spread_ah,
            "bound_spread_ah": self.bound_spread_ah,
            "gap": self.gap,
            "runtime_h": _runtime_json(self.runtime),
            "runtime_basis": self.runtime.basis if self.runtime else None,
            "runtime_stop": self.runtime.stop if self.runtime else None,
            "why": [why.to_json() for why in self.why],
            "not_chosen": [why.to_json() for why in self.not_chosen],
            "warnings": list(self.warnings),
            "missing": list(self.missing),
            "nearest": self.nearest.to_json() if self.nearest else None,
            "plan": self.plan,
            "joining": self.joining.to_json() if self.joining else None,
            "proven": self.proven,
            "pack": self.data.to_json() if self.data else None,
        }


def positions(groups: Sequence[Sequence[str]]) -> dict[str, str]:
    """Where each cell sits, by code: `1a` in the first place of the first group."""
    return {
        code: position_name(number, place)
        for number, group in enumerate(groups, 1)
        for place, code in enumerate(group, 1)
    }


def _runtime_json(runtime: Runtime | None) -> dict[str, float | None] | None:
    if runtime is None:
        return None
    hours = (("expected", runtime.expected_h), ("low", runtime.low_h), ("high", runtime.high_h))
    # JSON knows no infinity, and a run without end has none of these numbers.
    return {end: finite(value_h) for end, value_h in hours}


def match_single(
    project: Project, candidates: Sequence[Candidate], limits: UseLimits, *, now: datetime
) -> Match:
    """The match of a project that one cell can serve; any other is answered as not served yet.

    Same input, same answer, in whatever order the candidates come.
    """
    warnings = warnings_for(project, limits)
    if not project.pack.one_cell:
        return Match(project.name, False, warnings=warnings, missing=(NO_PACKS,))
    screen = Screen(Demand.of(project, limits), limits, now)
    screened = screen_all(screen, sorted(candidates, key=lambda c: c.code))
    fitting = sorted((s for s in screened if s.fits), key=lambda s: _least_first(s, project))
    failing = sorted((s for s in screened if not s.fits), key=_nearest_first)
    not_chosen = tuple(kept(s, project.need.runtime_h) for s in fitting[1:]) + tuple(s.last for s in failing)
    if not fitting:
        # Only when nothing fits: a search for the least sufficient cell runs the model dozens of times.
        lacks = missing_for(screen, failing)
        return Match(
            project.name,
            False,
            not_chosen=not_chosen,
            warnings=warnings,
            missing=lacks.wanted + lacks.stock + lacks.more,
            lacks=lacks,
            nearest=nearest_of(failing),
        )
    chosen = fitting[0]
    assert chosen.run is not None
    runtime = final_runtime(screen, chosen.candidate, chosen.run)
    data = pack_data(project, ((chosen.candidate,),), limits)
    return Match(
        project=project.name,
        served=True,
        groups=((chosen.candidate.code,),),
        spread_ah=0.0,
        bound_spread_ah=0.0,
        gap=0.0,
        runtime=runtime,
        why=chosen.reasons,
        not_chosen=not_chosen,
        warnings=warnings + warnings_for(project, limits, chosen) + data.warnings + runtime.notes,
        plan=plan_hash(project, ((chosen.candidate,),)),
        data=data,
    )


PackPlanner = Callable[[Project, Sequence[Candidate], UseLimits, datetime], Match]


def match_project(
    project: Project,
    candidates: Sequence[Candidate],
    limits: UseLimits,
    *,
    now: datetime,
    plan_pack: PackPlanner | None = None,
) -> Match:
    """The match of any project: one cell where that does it, else what `plan_pack` finds.

    Without a planner a project that needs more than one cell is answered as not served yet.
    """
    answer = match_single(project, candidates, limits, now=now)
    several = project.pack.series != 1 or project.pack.parallel != 1
    if answer.served or plan_pack is None:
        return answer
    if not several:
        return replace(answer, missing=(*answer.missing, *_changes(project, answer, candidates, limits, now)))
    packed = plan_pack(project, candidates, limits, now)
    if packed.served or not project.pack.one_cell:
        return packed
    # Both ways failed: what one cell lacks comes first, then what a pack lacks; the stock is told once, and packs
    # were looked at by now.
    one, packs = answer.lacks, packed.lacks
    alone = (*one.wanted, *one.stock) if one else answer.missing
    told = {*alone, *(packs.stock if packs else ())}
    return replace(answer, missing=(*alone, *(line for line in packed.missing if line not in told)))


def _changes(
    project: Project, answer: Match, candidates: Sequence[Candidate], limits: UseLimits, now: datetime
) -> tuple[str, ...]:
    """What change of the project one cell at hand would serve."""

    def retry(changed: Project) -> float | None:
        screen = Screen(Demand.of(changed, limits), limits, now)
        fitting = [s for s in screen_all(screen, candidates) if s.fits]
        if not fitting:
            return None
        chosen = min(fitting, key=lambda s: _least_first(s, changed))
        assert chosen.run is not None
        return final_runtime(screen, chosen.candidate, chosen.run).low_h

    whys = [why for why in answer.not_chosen if not why.passed]
    return changes(project, refused_by(project, whys, limits, project.pack.chemistries, (1, 1)), retry)


def _least_first(screened: Screened, project: Project) -> tuple[int, float, float, str]:
    candidate, runtime = screened.candidate, screened.runtime
    assert runtime is not None and candidate.capacity is not None
    surplus_h = runtime.low_h - project.need.runtime_h
    # A solo cell before one that may go into packs, then least surplus: the better cell stays for harder work.
    return int(candidate.outcome), surplus_h, candidate.capacity.value, candidate.code


def _nearest_first(screened: Screened) -> tuple[int, float, str]:
    return -screened.steps, screened.last.relative_shortfall, screened.candidate.code


def plan_hash(project: Project, groups: Sequence[Sequence[Candidate]]) -> str:
    """A short hash over the project and its cells' figures: another one when the plan is no longer true."""
    content = {"project": project.to_json(), "groups": [[_figures(c) for c in group] for group in groups]}
    # Sorted keys: the same project must give the same hash whichever way its fields were read.
    text = json.dumps(content, sort_keys=True, separators=(",", ":"))
    return hashlib.sha256(text.encode()).hexdigest()[:PLAN_LENGTH]


def _figures(candidate: Candidate) -> list[object]:
    capacity, resistance = candidate.capacity, candidate.resistance
    return [
        candidate.code,
        candidate.outcome.word,
        str(candidate.facts.chemistry),
        str(candidate.facts.form),
        [capacity.value, capacity.u] if capacity else None,
        [resistance.value, resistance.u, str(candidate.resistance_method)] if resistance else None,
        # A trace changes the run time, so a plan made before it was added is no longer the same.
        repr(candidate.own_trace) if candidate.own_trace else None,
    ]
