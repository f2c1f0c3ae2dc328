"""Which shapes a project's pack may take: as its file says, or the smallest first where it says `auto`."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

from straycell.cells import Chemistry
from straycell.matching.screen.candidates import Candidate
from straycell.matching.screen.limits import UseLimits
from straycell.projects import Project

MOST_TRIED = 14
"""Numbers of cells in parallel that are tried from the first that could do it: beyond it is not a lack of cells."""


def in_series(project: Project, chemistries: Sequence[Chemistry], limits: UseLimits) -> list[int]:
    """Numbers of cells in series to try: the file's, or those whose voltage window holds the device's cut-off.

    Fewer cells do not reach the cut-off; with more, the device stops below what a cell may be emptied to, and
    was made for less voltage.
    """
    if project.pack.series is not None:
        return [project.pack.series]
    found: set[int] = set()
    for chemistry in chemistries:
        full_v, empty_v = limits.full_v[chemistry], limits.cell_cutoff_v[chemistry]
        least = math.floor(project.need.cutoff_v / full_v + 1e-9) + 1
        found.update(range(least, max(least, math.floor(project.need.cutoff_v / empty_v + 1e-9)) + 1))
    return sorted(found)


def chemistries_of(project: Project, cells: Sequence[Candidate], limits: UseLimits) -> list[Chemistry]:
    """The chemistries that fit the project and lie on the shelf; all that fit where none does."""
    wanted = [c for c in project.pack.chemistries if c in limits.full_v]
    there = {c.facts.chemistry for c in cells}
    return [c for c in wanted if c in there] or wanted


def in_parallel(first: int, most: int) -> Iterator[int]:
    """Numbers of cells in parallel to try from the first that could do it, ever wider apart."""
    step, count = 1, first
    for tried in range(MOST_TRIED):
        if count > most:
            return
        yield count
        step = 1 if tried < MOST_TRIED // 2 else 2 * step
        count += step


def shape_words(series: int, parallel: int) -> str:
    """`2 in series, each of 2 in parallel (4 cells)`."""
    cells = series * parallel
    if parallel == 1:
        return f"{series} cells in series"
    if series == 1:
        return f"{parallel} cells in parallel"
    return f"{series} groups in series, each of {parallel} cells in parallel ({cells} cells)"
