"""How long each candidate runs against the hours needed, or what each group of a pack holds: as lines and as a PNG.

Only this module of matching imports matplotlib (its Agg canvas alone: no window, no global state).
"""

from __future__ import annotations

import io
import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from straycell.matching.one_project import Match
from straycell.matching.screen.candidates import Candidate
from straycell.matching.screen.demand import Demand
from straycell.matching.screen.limits import UseLimits
from straycell.matching.screen.screening import screen_all
from straycell.matching.screen.shared import Screen
from straycell.projects import Project

MOST_BARS = 24
_INK, _BAR, _BAND, _LINE = "#22303c", "#1d4e89", "#c9d8ea", "#b00020"


@dataclass(frozen=True, slots=True)
class Bar:
    """One candidate or group: what is sure, what is expected, what may be; `chosen` is part of the answer."""

    label: str
    low: float
    expected: float
    high: float
    chosen: bool


@dataclass(frozen=True, slots=True)
class Chart:
    """Bars in one unit against a line."""

    title: str
    unit: str
    bars: tuple[Bar, ...]
    line: float
    line_label: str


def chart_of(
    project: Project, found: Match, cells: Sequence[Candidate], limits: UseLimits, now: datetime
) -> Chart:
    """The groups of a pack beside their even share; else every cell that was run through the device, the best last."""
    chosen = {code for group in found.groups for code in group}
    if found.joining is not None:
        held = {c.code: c.capacity for c in cells}
        bars = []
        for number, group in enumerate(found.groups, 1):
            figures = [figure for code in group if (figure := held.get(code)) is not None]
            value, u = math.fsum(f.value for f in figures), math.fsum(f.expanded for f in figures)
            bars.append(Bar(f"group {number}", value - u, value, value + u, True))
        even = math.fsum(bar.expected for bar in bars) / len(bars)
        return Chart(f"{project.name}: what each group holds", "Ah", tuple(bars), even, "even share")
    screen = Screen(Demand.of(project, limits), limits, now)
    ran = [s for s in screen_all(screen, cells) if s.runtime is not None and math.isfinite(s.runtime.high_h)]
    ran.sort(key=lambda s: (s.candidate.code not in chosen, s.runtime.low_h if s.runtime else 0.0))
    bars = [
        Bar(s.candidate.code, run.low_h, run.expected_h, run.high_h, s.candidate.code in chosen)
        for s in ran[:MOST_BARS]
        if (run := s.runtime) is not None
    ]
    return Chart(f"{project.name}: how long each runs", "h", tuple(bars), project.need.runtime_h, "needed")


def chart_lines(chart: Chart, width: int) -> list[str]:
    """One line a bar: `=` is sure, `-` may be, `|` is the line; the chosen ones are marked with `*`."""
    if not chart.bars:
        return ["nothing to draw: no cell came so far that its run time was counted"]
    label = max(len(bar.label) for bar in chart.bars) + 2
    room = max(10, width - label - 12)
    top = max(*(bar.high for bar in chart.bars), chart.line)
    scale = room / top if top > 0 else 0.0
    at = min(room - 1, round(chart.line * scale))
    lines = []
    for bar in chart.bars:
        sure, may = round(bar.low * scale), round(bar.high * scale)
        drawn = ["=" if k < sure else "-" if k < may else " " for k in range(room)]
        drawn[at] = "|"
        mark = "*" if bar.chosen else " "
        lines.append(f"{bar.label:<{label - 2}}{mark} {''.join(drawn)} {bar.low:.3g} {chart.unit}")
    words, before = f"{chart.line_label} {chart.line:.3g} {chart.unit}", label + at
    lines.append(f"{words:>{before - 1}} |" if before > 0.5 * width else f"{'':<{before}}| {words}")
    return lines


def chart_png(chart: Chart, dpi: int = 150) -> bytes:
    """The same as a picture. Same input, same bytes (for one version of matplotlib)."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    figure = Figure(figsize=(10, 1.6 + 0.34 * max(3, len(chart.bars))), dpi=dpi, layout="constrained")
    FigureCanvasAgg(figure)
    panel = figure.subplots()
    rows = range(len(chart.bars))
    lows = [bar.low for bar in chart.bars]
    panel.barh(rows, [bar.high - bar.low for bar in chart.bars], left=lows, color=_BAND, label="may be")
    colours = [_BAR if bar.chosen else "#8aa6c4" for bar in chart.bars]
    panel.barh(rows, lows, color=colours, label="sure")
    panel.plot([bar.expected for bar in chart.bars], rows, "o", color=_INK, markersize=4, label="expected")
    panel.axvline(chart.line, color=_LINE, linewidth=1.4, linestyle=(0, (6, 4)))
    panel.annotate(
        f"{chart.line_label} {chart.line:.3g} {chart.unit}",
        (chart.line, 1.0),
        xycoords=("data", "axes fraction"),
        xytext=(4, 4),
        textcoords="offset points",
        color=_LINE,
        fontsize=10,
    )
    panel.set_yticks(list(rows), [bar.label for bar in chart.bars], family="monospace")
    panel.invert_yaxis()
    panel.set_xlim(left=0)
    panel.set_xlabel(chart.unit)
    panel.set_title(chart.title, loc="left", fontsize=14, color=_INK, pad=18, parse_math=False)
    panel.spines[["top", "right"]].set_visible(False)
    out = io.BytesIO()
    figure.savefig(out, format="png", metadata={"Software": "straycell"})
    return out.getvalue()
