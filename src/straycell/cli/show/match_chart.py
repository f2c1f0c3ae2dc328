"""The chart of a match: every cell that was run through the device, or the groups of a pack."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from straycell.bench.candidates import candidates
from straycell.bench.context import Bench
from straycell.matching import Match, UseLimits
from straycell.matching.screen.demand import Demand, Screen
from straycell.matching.screen.screening import screen_all
from straycell.pictures.bars import Bar, Chart
from straycell.projects import Project

if TYPE_CHECKING:
    from straycell.store.reader import Reader

# What a screen shows without scrolling.
MOST_BARS = 24


def chart_of(bench: Bench, reader: Reader, project: Project, found: Match) -> Chart:
    """The groups of a pack beside their even share; else every cell that was run through the device, the best last."""
    cells, limits = candidates(reader, bench.rules, bench.now), UseLimits.from_rules(bench.rules)
    chosen = {code for group in found.groups for code in group}
    if found.joining is not None:
        held = {c.code: c.capacity for c in cells}
        bars = []
        for number, group in enumerate(found.groups, 1):
            figures = [figure for code in group if (figure := held.get(code)) is not None]
            value, u = math.fsum(f.value for f in figures), math.fsum(f.expanded for f in figures)
            bars.append(Bar(f"group {number}", value - u, value, value + u, "*"))
        # A string ends with its weakest group, so the distance from the even share is what balancing left.
        even = math.fsum(bar.expected for bar in bars) / len(bars)
        return Chart(f"{project.name}: what each group holds", "Ah", tuple(bars), even, "even share")
    screen = Screen(Demand.of(project, limits), limits, bench.now)
    ran = [s for s in screen_all(screen, cells) if s.runtime is not None and math.isfinite(s.runtime.high_h)]
    # The chosen ones nearest to the axis, where the eye begins on a chart drawn upwards.
    ran.sort(key=lambda s: (s.candidate.code not in chosen, s.runtime.low_h if s.runtime else 0.0))
    bars = [
        Bar(
            s.candidate.code, run.low_h, run.expected_h, run.high_h, "*" if s.candidate.code in chosen else ""
        )
        for s in ran[:MOST_BARS]
        if (run := s.runtime) is not None
    ]
    title = f"{project.name}: how long each runs"
    empty = "nothing to draw: no cell came so far that its run time was counted"
    return Chart(title, "h", tuple(bars), project.need.runtime_h, "needed", empty)
