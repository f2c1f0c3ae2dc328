"""A pack for a project: the smallest shape that does it, from cells of one kind, with every reason."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime

from straycell.cells import Stage
from straycell.matching.answer_check import check_answer
from straycell.matching.changes import changes, refused_by
from straycell.matching.explain import nearest_of, warnings_for
from straycell.matching.one_project import Match, match_project, plan_hash
from straycell.matching.pack.check import check_pack
from straycell.matching.pack.groups import equivalent, held
from straycell.matching.pack.joining import plan_joining
from straycell.matching.pack.plan import PackPlan, group_reasons
from straycell.matching.pack.shape_search import Tried, best_shape, plan_among, try_shape
from straycell.matching.pack.shapes import chemistries_of, in_series
from straycell.matching.pack.words import (
    missing_of,
    others_of,
    pack_reasons,
    pack_warnings,
    too_few,
)
from straycell.matching.screen.candidates import Candidate, Why
from straycell.matching.screen.demand import Demand
from straycell.matching.screen.limits import UseLimits
from straycell.matching.screen.running import Run, final_runtime, runs
from straycell.matching.screen.screening import Screened, screen_all
from straycell.matching.screen.shared import Screen
from straycell.matching.sheet.data import pack_data
from straycell.physics.run_time.runtime import Runtime
from straycell.projects import Project, finish_faults


def plan_pack(project: Project, candidates: Sequence[Candidate], limits: UseLimits, now: datetime) -> Match:
    """The pack of a project that needs, or may take, more than one cell. Same input, same answer."""
    cells = sorted(candidates, key=lambda c: c.code)
    tried = best_shape(project, cells, limits, now)
    if tried.plan is None:
        return _unserved(project, cells, tried, limits)
    return _served(project, cells, tried.screen, tried.plan, limits)


def serve(
    project: Project,
    candidates: Sequence[Candidate],
    limits: UseLimits,
    *,
    now: datetime,
    planning: bool = False,
) -> Match:
    """The match of any project: one cell where that does it, else a pack; a device without protection is not served.

    With `planning` that is left to the day the build is finished: protection may still be on its way.
    """
    found = match_project(project, candidates, limits, now=now, plan_pack=plan_pack)
    if not planning and not project.protection.fitted:
        found = withheld(project, found)
    return check_answer(project, found, candidates, now, planning=planning)


def withheld(project: Project, found: Match) -> Match:
    """The answer to a project without protection: not served, whatever would suit it."""
    codes = ", ".join(code for group in found.groups for code in group)
    would = (f"with it, {codes} would serve: they can be reserved meanwhile",) if codes else ()
    return replace(
        found,
        served=False,
        groups=(),
        spread_ah=None,
        bound_spread_ah=None,
        gap=None,
        runtime=None,
        why=(),
        plan=None,
        joining=None,
        data=None,
        not_chosen=tuple(
            Why(code, "kept", True, "would do once there is protection") for g in found.groups for code in g
        )
        + found.not_chosen,
        missing=(finish_faults(project)[0], *would, *found.missing),
    )


def pack_match(project: Project, cells: Sequence[Candidate], limits: UseLimits, now: datetime) -> Match:
    """The pack of exactly these cells, in whatever shape of the project takes them all."""
    for series in in_series(project, chemistries_of(project, cells, limits), limits):
        if len(cells) % series == 0 and project.pack.parallel in (None, len(cells) // series):
            tried = try_shape(project, cells, limits, now, (series, len(cells) // series))
            if tried.plan is not None:
                return described(project, tried.screen, tried.plan, limits)
    return Match(project.name, False)


def as_built(
    project: Project, groups: Sequence[Sequence[Candidate]], limits: UseLimits, now: datetime
) -> Match:
    """What holds now of cells that are committed in these groups: every test, passed or not, and their joining."""
    cells = [[replace(c, stage=Stage.SHELVED) for c in group] for group in groups]
    series, parallel = len(cells), len(cells[0])
    screen = Screen(Demand.of(project, limits, series, parallel), limits, now)
    names = tuple(tuple(c.code for c in group) for group in cells)
    failed = tuple(s.last for s in screen_all(screen, [c for group in cells for c in group]) if not s.fits)
    if any(c.capacity is None or c.resistance is None for group in cells for c in group):
        return Match(project.name, False, names, why=failed)
    alike = [equivalent(group, f"group {number}") for number, group in enumerate(cells, 1)]
    found = runs(screen, alike)
    reasons = group_reasons(screen, tuple(tuple(group) for group in cells), found)
    # In a pack how long it lasts is a matter of the group.
    failed = tuple(why for why in failed if not (screen.joined and why.test in ("runtime", "voltage-drop")))
    held_ah = [held(group).value for group in cells]
    return Match(
        project.name,
        all(why.passed for why in (*failed, *reasons)),
        names,
        spread_ah=max(held_ah) - min(held_ah),
        runtime=weakest_run(screen, alike, found),
        why=(*failed, *reasons),
        plan=plan_hash(project, groups),
        joining=plan_joining(cells, limits),
        data=pack_data(project, cells, limits),
    )


def _served(
    project: Project, cells: Sequence[Candidate], screen: Screen, plan: PackPlan, limits: UseLimits
) -> Match:
    others = others_of(screen, plan, cells)
    return described(project, screen, plan, limits, others)


def described(
    project: Project, screen: Screen, plan: PackPlan, limits: UseLimits, others: tuple[Why, ...] = ()
) -> Match:
    """The answer for a plan, checked once more on its own."""
    check_pack(screen, plan.groups)
    alike = [equivalent(group, f"group {number}") for number, group in enumerate(plan.groups, 1)]
    runtime = weakest_run(screen, alike, plan.runs)
    data = pack_data(project, plan.groups, limits)
    warnings = warnings_for(project, limits) + pack_warnings(screen, plan) + data.warnings + runtime.notes
    return Match(
        project=project.name,
        served=True,
        groups=tuple(tuple(c.code for c in group) for group in plan.groups),
        spread_ah=plan.spread_ah,
        bound_spread_ah=plan.bound_spread_ah,
        gap=plan.gap,
        runtime=runtime,
        why=plan.reasons + pack_reasons(screen, plan),
        not_chosen=others,
        warnings=tuple(dict.fromkeys(warnings)),
        plan=plan_hash(project, plan.groups),
        joining=plan_joining(plan.groups, limits),
        data=data,
    )


def weakest_run(screen: Screen, alike: Sequence[Candidate], found: Sequence[Run]) -> Runtime:
    """The run time of the pack as it is reported, the same on every page: that of its weakest group."""
    each = [final_runtime(screen, c, run) for c, run in zip(alike, found, strict=True)]
    weakest = min(each, key=lambda runtime: runtime.low_h)
    return replace(
        weakest,
        expected_h=min(runtime.expected_h for runtime in each),
        high_h=min(runtime.high_h for runtime in each),
        margin_h=(),
    )


def _unserved(project: Project, cells: Sequence[Candidate], tried: Tried, limits: UseLimits) -> Match:
    screened = screen_all(tried.screen, cells)
    failing = sorted(
        (s for s in screened if not s.fits),
        key=lambda s: (-s.steps, s.last.relative_shortfall, s.candidate.code),
    )
    fitting = [s for s in screened if s.fits]
    shape = (tried.screen.demand.series, tried.screen.demand.parallel)

    def serves(some: Sequence[Candidate]) -> bool:
        return plan_among(project, some, limits, tried.screen.now, shape) is not None

    lacks = missing_of(tried.screen, fitting, failing, tried.kinds, tried.refusals, serves)
    other = _changes(project, cells, tried, limits, failing)
    count = sum(refusal.tried for refusal in tried.refusals.values())
    note = f"not found in {count} groupings; that no choice of cells does it is not proven"
    open_end = () if tried.proven or lacks.open_end else (note,)
    return Match(
        project.name,
        False,
        not_chosen=tuple(too_few(s) for s in fitting) + tuple(s.last for s in failing),
        warnings=warnings_for(project, limits),
        missing=lacks.wanted + lacks.stock + lacks.more + other + open_end,
        lacks=lacks,
        nearest=nearest_of(failing),
        proven=tried.proven,
    )


def _changes(
    project: Project, cells: Sequence[Candidate], tried: Tried, limits: UseLimits, failing: Sequence[Screened]
) -> tuple[str, ...]:
    """What change of the project would serve it with the cells at hand, in this shape or wider."""
    demand, now = tried.screen.demand, tried.screen.now
    shape = (demand.series, demand.parallel)

    def retry(changed: Project) -> float | None:
        plan = try_shape(changed, cells, limits, now, shape).plan
        return None if plan is None else min(run.promised.low_h for run in plan.runs)

    whys = [why for refusal in tried.refusals.values() for why in refusal.failed] + [s.last for s in failing]
    longest_h = max((refusal.longest_h for refusal in tried.refusals.values()), default=0.0)
    kinds = chemistries_of(project, cells, limits)
    found = changes(project, refused_by(project, whys, limits, kinds, shape, longest_h), retry)
    for more in (demand.parallel + 1, demand.parallel + 2) if project.pack.parallel is not None else ():
        if demand.series * more <= len(cells):
            wider = try_shape(project, cells, limits, now, (demand.series, more))
            if wider.plan is not None:
                return (*found, f"parallel = {more} would be served by the cells at hand")
    return found
