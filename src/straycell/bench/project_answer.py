"""What one filed project is told: the cells it gets or has, what its device asks, what they weigh, and the picture of it."""

import math
from dataclasses import dataclass
from typing import Any

from straycell.bench.candidates import candidates
from straycell.bench.context import Bench
from straycell.bench.paper.build_sheet import mass_words
from straycell.bench.project_match import device_answers_of, dropped_match, held_match, understood
from straycell.builds import Build
from straycell.matching import Candidate, Match, UseLimits, serve
from straycell.matching.screen import Demand, Screen, screen_all
from straycell.pictures.bars import Bar, Chart
from straycell.projects import Project

# What a screen shows without scrolling.
MOST_BARS = 24


@dataclass(frozen=True, slots=True)
class ProjectAnswer:
    """`found` is a new match, or how the cells of `build` do where it has one; `mass` is in words, empty without cells."""

    found: Match
    device: dict[str, Any]
    mass: str
    build: Build | None = None
    drawn: Chart | None = None

    def to_json(self) -> dict[str, Any]:
        """The keys of the match, of its device and its mass."""
        return self.found.to_json() | self.device | ({"mass": self.mass} if self.mass else {})


def project_answer(bench: Bench, name: str, *, drawn: bool = False) -> ProjectAnswer:
    """What a project gets from the stock as it is now, `drawn` where that is wanted. Raises BadData for none of this name."""
    with bench.reading() as reader:
        build, project = reader.live_build(name), understood(reader.project(name))
        # A project that has its cells is asked whether they are still fit, not for others.
        found = held_match(bench, reader, project, build) if build else dropped_match(reader, name)
        cells = candidates(reader, bench.rules, bench.now, build.codes if build else None)
    # Solved when the look is over, which keeps writers waiting.
    found = found or serve(project, cells, UseLimits.from_rules(bench.rules), now=bench.now)
    codes = {code for group in found.groups for code in group}
    chosen = [c for c in cells if c.code in codes]
    # The same checks as for a charger on its own: one charger gets one answer everywhere.
    device = device_answers_of(bench, project, found)
    chart = _chart(bench, project, found, cells) if drawn and build is None else None
    return ProjectAnswer(found, device, mass_words([chosen]) if chosen else "", build, chart)


def _chart(bench: Bench, project: Project, found: Match, cells: list[Candidate]) -> Chart:
    """The groups of a pack beside their even share; else every cell that was run through the device, the best last."""
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
    screen = Screen(Demand(project), UseLimits.from_rules(bench.rules), bench.now)
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
