"""What a filed project gets from the stock as it is now."""

from __future__ import annotations

from collections.abc import Collection
from typing import TYPE_CHECKING

from straycell.bench.candidates import candidates
from straycell.bench.context import Bench
from straycell.matching import Match, UseLimits, as_built, serve
from straycell.projects import Project, parse_project

if TYPE_CHECKING:
    from straycell.builds import Build
    from straycell.store.book.records import ProjectEntry
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


def held_match(bench: Bench, reader: Reader, project: Project, build: Build) -> Match:
    """What holds now of the cells in a live build: every test, passed or not, and their joining."""
    known = {one.code: one for one in candidates(reader, bench.rules, bench.now, build.codes)}
    groups = [[known[code] for code in group] for group in build.groups]
    return as_built(project, groups, UseLimits.from_rules(bench.rules), bench.now)


def dropped_match(reader: Reader, name: str) -> Match | None:
    """The answer to a project that was given up; None for any other."""
    from straycell.store.book.records import ProjectState

    if reader.project(name).state is not ProjectState.DROPPED:
        return None
    again = "it was dropped: no cells are looked for; file it again with: straycell project add FILE"
    return Match(name, False, missing=(again,))
