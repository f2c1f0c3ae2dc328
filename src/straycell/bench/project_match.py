"""What a filed project gets from the stock as it is now."""

from __future__ import annotations

from collections.abc import Collection
from typing import TYPE_CHECKING

from straycell.bench.candidates import candidates
from straycell.bench.context import Bench
from straycell.builds import Build
from straycell.matching import Match, StockPlan, UseLimits, as_built, device_answers, match_all, serve
from straycell.projects import Project, parse_project
from straycell.store.book.records import ProjectEntry, ProjectState

if TYPE_CHECKING:
    from straycell.store.reader import Reader


def understood(entry: ProjectEntry) -> Project:
    """A filed project, read again from its own text."""
    return parse_project(entry.text, source=entry.name, base=None)


def project_match(
    bench: Bench, reader: Reader, name: str, *, codes: Collection[str] | None = None, planning: bool = False
) -> Match:
    """The match of one filed project with the stock as it is now, or with the named cells alone.

    With `planning` a project without protection gets its cells too: they can wait for it together.
    """
    if (dropped := dropped_match(reader, name)) is not None:
        return dropped
    # Verdicts at this moment: a match of yesterday may name a cell that has failed since.
    project, cells = understood(reader.project(name)), candidates(reader, bench.rules, bench.now, codes)
    return serve(project, cells, UseLimits.from_rules(bench.rules), now=bench.now, planning=planning)


def all_projects_match(bench: Bench, reader: Reader) -> StockPlan:
    """The plan of every pending project with the stock as it is now."""
    # What is reserved or built is promised: planning over it would take cells out of devices.
    pending = [understood(e) for e in reader.projects() if e.state is ProjectState.PENDING]
    cells = candidates(reader, bench.rules, bench.now)
    return match_all(pending, cells, UseLimits.from_rules(bench.rules), now=bench.now)


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
