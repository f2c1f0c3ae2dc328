"""What a filed project gets from the stock as it is now, and cells promised to it by the plan that was read."""

from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass
from functools import partial

from straycell.acceptance import Outcome
from straycell.bench.candidates import candidates
from straycell.bench.context import Bench, Reader
from straycell.builds import Build
from straycell.errors import BadData, NegativeAnswer
from straycell.matching import Match, StockPlan, UseLimits, as_built, device_answers, match_all, serve
from straycell.projects import Project, parse_project
from straycell.safety.due.gather import unfit
from straycell.store.book.records import ProjectEntry, ProjectState


def understood(entry: ProjectEntry) -> Project:
    """A filed project, read again from its own text."""
    return parse_project(entry.text, source=entry.name, base=None)


def require_build(reader: Reader, name: str) -> Build:
    """The live build of a project. Raises BadData for one that is not filed or has none."""
    reader.project(name)
    build = reader.live_build(name)
    if build is None:
        raise BadData(f"project '{name}' has no build", f"reserve one with: straycell build reserve '{name}'")
    return build


@dataclass(frozen=True, slots=True)
class Unfit:
    """A cell in a live build that must not stay there: its outcome now, and why."""

    project: str
    outcome: Outcome
    why: str
    finished: bool


def unfit_in(bench: Bench, reader: Reader, builds: Sequence[Build]) -> dict[str, Unfit]:
    """The cells of these builds that must not stay in them, by code."""
    place = {code: build for build in builds for code in build.codes}
    verdicts = reader.verdicts(bench.rules, bench.now, list(place))
    found = {code: (verdicts[code].outcome, unfit(verdicts[code])) for code in place}
    return {
        code: Unfit(place[code].project, outcome, reason.text, place[code].finished_at is not None)
        for code, (outcome, reason) in found.items()
        if reason
    }


def project_solver(
    bench: Bench, reader: Reader, name: str, *, codes: Collection[str] | None = None, planning: bool = False
) -> Callable[[], Match]:
    """What gives the match of one filed project with the stock as it is now, or with the named cells alone.

    It reads nothing more: called when the look is over, it keeps no writer waiting. With `planning` a project without
    protection gets its cells too: they can wait for it together.
    """
    if (dropped := dropped_match(reader, name)) is not None:
        return lambda: dropped
    # Verdicts at this moment: a match of yesterday may name a cell that has failed since.
    project, cells = understood(reader.project(name)), candidates(reader, bench.rules, bench.now, codes)
    limits = UseLimits.from_rules(bench.rules)
    return partial(serve, project, cells, limits, now=bench.now, planning=planning)


def stock_solver(bench: Bench, reader: Reader) -> Callable[[], StockPlan]:
    """What gives the plan of every pending project with the stock as it is now; it reads nothing more."""
    # What is reserved or built is promised: planning over it would take cells out of devices.
    pending = [understood(e) for e in reader.projects() if e.state is ProjectState.PENDING]
    cells = candidates(reader, bench.rules, bench.now)
    return partial(match_all, pending, cells, UseLimits.from_rules(bench.rules), now=bench.now)


def device_answers_of(bench: Bench, project: Project, found: Match | None = None) -> dict[str, object]:
    """What the project's charger and protection ask, in the shape it got."""
    series = len(found.groups) if found is not None else None
    return device_answers(project, UseLimits.from_rules(bench.rules), series or None)


def held_match(bench: Bench, reader: Reader, project: Project, build: Build) -> Match:
    """What holds now of the cells in a live build: every test, passed or not, and their joining."""
    # Each test again with today's verdicts: a cell may have been condemned since it was promised.
    known = {one.code: one for one in candidates(reader, bench.rules, bench.now, build.codes)}
    groups = [[known[code] for code in group] for group in build.groups]
    return as_built(project, groups, UseLimits.from_rules(bench.rules), bench.now)


def dropped_match(reader: Reader, name: str) -> Match | None:
    """The answer to a project that was given up; None for any other."""
    if reader.project(name).state is not ProjectState.DROPPED:
        return None
    again = "it was dropped: no cells are looked for; file it again with: straycell project add FILE"
    return Match(name, False, missing=(again,))


def true_plan(bench: Bench, reader: Reader, name: str, plan: str | None) -> Match:
    """The match of a project as it is now, if `plan` (None: any) is still what comes out, alone or with all projects.

    Raises NegativeAnswer where it is not served, or the plan is no longer true.
    """
    found = project_solver(bench, reader, name, planning=True)()
    # `match --all` shares the stock otherwise, so its plan has another hash and is as true.
    if found.served and plan not in (None, found.plan):
        together = stock_solver(bench, reader)().plans
        found = next((m for m in together if m.project == name and m.plan == plan), found)
    return require_plan(name, found, plan)


def require_plan(name: str, found: Match, plan: str | None) -> Match:
    """The match itself. Raises NegativeAnswer where it serves nobody, or is another than `plan` (None: any)."""
    if not found.served:
        raise NegativeAnswer(f"project '{name}' is not served", found.missing[0] if found.missing else "")
    # Between match and reserve readings may have changed: what was read must be what is reserved.
    if plan is not None and plan != found.plan:
        raise NegativeAnswer(
            f"plan {plan} of project '{name}' is no longer true: cells or readings have changed",
            f"match it again: straycell match '{name}'",
        )
    return found


def reserve_plan(bench: Bench, name: str, plan: str) -> Build:
    """Reserve the cells of the plan that a person read. Raises NegativeAnswer as `true_plan`, BadData, StoreFault."""
    with bench.writing() as writer:
        found = true_plan(bench, writer, name, plan)
        return writer.reserve(name, found.groups, found.plan or "")
