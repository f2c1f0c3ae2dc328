"""The match of one project: the smallest shape that does it, one cell being a pack of 1S1P, with every reason."""

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime

from straycell.cells import Stage
from straycell.matching.answer_check import check_answer, check_pack
from straycell.matching.changes import changes, refused_by
from straycell.matching.explain import nearest_first, nearest_of, seen_of, wanted_cell, warnings_for
from straycell.matching.one_project import Match, plan_hash
from straycell.matching.pack.groups import equivalent, held
from straycell.matching.pack.joining import plan_joining
from straycell.matching.pack.plan import PackPlan, group_reasons
from straycell.matching.pack.shape_search import (
    Tried,
    best_shape,
    chemistries_of,
    in_series,
    try_shape,
)
from straycell.matching.pack.words import (
    others_of,
    pack_reasons,
    pack_warnings,
    too_few,
    wanted_pack,
)
from straycell.matching.screen import (
    Candidate,
    Demand,
    Run,
    Screen,
    Screened,
    UseLimits,
    Why,
    final_runtime,
    runs,
    screen_all,
)
from straycell.matching.sheet.data import pack_data
from straycell.physics.run_time.runtime import Runtime
from straycell.projects import Project, finish_faults


def match_project(
    project: Project, candidates: Sequence[Candidate], limits: UseLimits, *, now: datetime
) -> Match:
    """The match of a project: one cell where that does it, else the smallest pack.

    Same input, same answer, in whatever order the candidates come.
    """
    cells = sorted(candidates, key=lambda c: c.code)
    shape = project.pack
    tried = [try_shape(project, cells, limits, now, (1, 1))] if shape.one_cell else []
    if (shape.series, shape.parallel) != (1, 1) and not (tried and tried[0].plan):
        tried.append(best_shape(project, cells, limits, now))
    last = tried[-1]
    if last.plan is None:
        return _unserved(project, cells, tried, limits)
    others = others_of(last.screen, last.plan, last.screened or screen_all(last.screen, cells))
    return described(project, last.screen, last.plan, limits, others)


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
    found = match_project(project, candidates, limits, now=now)
    if not planning and not project.protection.fitted:
        found = withheld(project, found)
    return check_answer(project, found, candidates, now, planning=planning)


def withheld(project: Project, found: Match) -> Match:
    """The answer to a project without protection: not served, whatever would suit it."""
    codes = ", ".join(code for group in found.groups for code in group)
    would = (f"with it, {codes} would serve, and can be reserved meanwhile",) if codes else ()
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
    """The pack of exactly these cells (one cell is one of 1S1P), in whatever shape of the project takes them all."""
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
    screen = Screen(Demand(project, series, parallel), limits, now)
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


def described(
    project: Project, screen: Screen, plan: PackPlan, limits: UseLimits, others: tuple[Why, ...] = ()
) -> Match:
    """The answer for a plan, checked once more on its own."""
    if screen.joined:
        check_pack(screen, plan.groups)
    alike = [equivalent(group, f"group {number}") for number, group in enumerate(plan.groups, 1)]
    runtime = weakest_run(screen, alike, plan.runs)
    data = pack_data(project, plan.groups, limits)
    warnings = (
        warnings_for(project, limits) + pack_warnings(screen, plan, data) + data.warnings + runtime.notes
    )
    return Match(
        project=project.name,
        served=True,
        groups=tuple(tuple(c.code for c in group) for group in plan.groups),
        spread_ah=plan.spread_ah,
        bound_spread_ah=plan.bound_spread_ah,
        gap=plan.gap,
        runtime=runtime,
        why=plan.reasons + (pack_reasons(screen, plan) if screen.joined else ()),
        not_chosen=others,
        warnings=tuple(dict.fromkeys(warnings)),
        plan=plan_hash(project, plan.groups),
        joining=plan_joining(plan.groups, limits),
        data=data,
    )


def weakest_run(screen: Screen, alike: Sequence[Candidate], found: Sequence[Run]) -> Runtime:
    """The run time of the pack as it is reported, the same on every page: that of its weakest group."""
    each = [final_runtime(screen, c, run) for c, run in zip(alike, found, strict=True)]
    if not screen.joined:
        return each[0]
    weakest = min(each, key=lambda runtime: runtime.low_h)
    return replace(
        weakest,
        expected_h=min(runtime.expected_h for runtime in each),
        high_h=min(runtime.high_h for runtime in each),
        margin_h=(),
    )


def _unserved(
    project: Project, cells: Sequence[Candidate], tried: Sequence[Tried], limits: UseLimits
) -> Match:
    """The answer of a project that nothing serves, by what was tried: what one cell lacks, then what a pack lacks."""
    lines: list[str] = []
    counted = False
    refused: list[tuple[list[Screened], list[Screened]]] = []
    for one in tried:
        screened = one.screened or screen_all(one.screen, cells)
        fitting = [s for s in screened if s.fits]
        failing = sorted((s for s in screened if not s.fits), key=nearest_first)
        wanted, counted = _wanted(project, one, fitting, failing, limits)
        lines.append(wanted)
        if not refused:
            lines += seen_of(fitting, failing, joined=one.screen.joined)
        refused.append((fitting, failing))
    last, (fitting, failing) = tried[-1], refused[0]
    lines += _changes(project, cells, last, limits, refused[-1][1])
    # Where the line of the pack already says so, it is said once.
    if not last.proven and not counted:
        count = sum(refusal.tried for refusal in last.refusals.values())
        lines.append(f"not found in {count} groupings; that no choice of cells does it is not proven")
    return Match(
        project.name,
        False,
        not_chosen=tuple(too_few(s) for s in fitting) + tuple(s.last for s in failing),
        warnings=warnings_for(project, limits),
        missing=tuple(dict.fromkeys(lines)),
        nearest=nearest_of(failing),
        proven=last.proven,
    )


def _wanted(
    project: Project,
    tried: Tried,
    fitting: Sequence[Screened],
    failing: Sequence[Screened],
    limits: UseLimits,
) -> tuple[str, bool]:
    """What is missing, and whether that says how many groupings were tried."""
    screen, shape = tried.screen, (tried.screen.demand.series, tried.screen.demand.parallel)
    if not screen.joined:
        return wanted_cell(screen, failing), False

    def serves(some: Sequence[Candidate]) -> bool:
        return try_shape(project, some, limits, screen.now, shape).plan is not None

    return wanted_pack(screen, fitting, tried.kinds, tried.refusals, serves)


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
    wider = tried.screen.joined and project.pack.parallel is not None
    for more in (demand.parallel + 1, demand.parallel + 2) if wider else ():
        if try_shape(project, cells, limits, now, (demand.series, more)).plan is not None:
            return (*found, f"parallel = {more} would be served by the cells at hand")
    return found
