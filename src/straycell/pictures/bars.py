"""Bars in one unit against a line: how long each candidate runs, or what each group of a pack holds.

What is sure is dark, what may be is pale, and at the terminal `=` and `-`: told apart without colours.
"""

from __future__ import annotations

import io
from dataclasses import dataclass

_INK, _BAR, _OTHER, _BAND, _LINE = "#22303c", "#1d4e89", "#8aa6c4", "#c9d8ea", "#b00020"


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
    colours = [_BAR if bar.chosen else _OTHER for bar in chart.bars]
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
