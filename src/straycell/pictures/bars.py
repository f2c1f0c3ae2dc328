"""Bars in one unit against a line: how long each candidate runs, how near each figure is to its limit, what boxes hold.

What is sure is dark, what may be is pale, and at the terminal `=` and `-`: told apart without colours.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import ClassVar

from straycell.pictures import figure as shared
from straycell.pictures.figure import INK, LINE, Kind
from straycell.quantities import plain

_BAND, _OTHER = "#c9d8ea", "#8aa6c4"
_COLOURS = {"*": "#1d4e89", "!": LINE, "?": "#8a6d00"}
"""By sign; the sign stands beside the label too, so that no colour is needed."""


_SIGNS = {"!": "beyond its line", "?": "too close to call"}


@dataclass(frozen=True, slots=True)
class Bar:
    """One candidate, group, rule or box: what is sure, what is expected, what may be, and its figures in words.

    `sign`: `*` is part of the answer, `!` is beyond its line, `?` is too close to call.
    """

    label: str
    low: float
    expected: float
    high: float
    sign: str = ""
    words: str = ""


@dataclass(frozen=True, slots=True)
class Chart:
    """Bars in one unit against a line (None: nothing to compare with). `empty` is said where there is no bar.

    `sure` and `may` name the dark and the pale part of the bars, for a reader who has nothing but the picture.
    """

    title: str
    unit: str
    bars: tuple[Bar, ...]
    line: float | None
    line_label: str = ""
    empty: str = "nothing to draw"
    sure: str = ""
    may: str = ""
    drawn: ClassVar[str] = ""

    @property
    def signs(self) -> str:
        """What the signs beside the labels mean, those that are there."""
        there = {bar.sign for bar in self.bars if self.line is not None}
        return ", ".join(f"{sign} {words}" for sign, words in _SIGNS.items() if sign in there)

    def words(self, bar: Bar) -> str:
        """What stands at the end of a bar."""
        return bar.words or f"{plain(bar.low, 3)} {self.unit}"

    def lines(self, width: int, *, plain: bool = False) -> list[str]:
        """One line a bar: `=` is sure, `-` may be, `|` is the line; the sign follows the label."""
        return list(_lines(self, width)) if self.bars else [self.empty]

    def picture(self, kind: Kind = "png", dpi: int = 150) -> bytes:
        """10 inches wide, as high as it has bars."""
        figure, panel = shared.canvas(1.6 + 0.34 * max(3, len(self.bars)), dpi)
        rows = range(len(self.bars))
        lows = [bar.low for bar in self.bars]
        panel.grid(axis="y", visible=False)
        panel.barh([0], [0], color=_OTHER, label=self.sure or None)
        panel.barh(
            rows, [bar.high - bar.low for bar in self.bars], left=lows, color=_BAND, label=self.may or None
        )
        panel.barh(rows, lows, color=[_COLOURS.get(bar.sign, _OTHER) for bar in self.bars])
        if self.sure:
            place = (1.0, -0.55 / max(3, len(self.bars)))
            panel.legend(loc="upper right", bbox_to_anchor=place, ncols=2, frameon=False, fontsize=10)
        # A dot on the axis would read as a figure of zero where there is none.
        there = [row for row in rows if self.bars[row].high > 0]
        panel.plot([self.bars[row].expected for row in there], there, "o", color=INK, markersize=4)
        if self.line is not None:
            panel.axvline(self.line, color=LINE, linewidth=1.4, linestyle=(0, (6, 4)))
            panel.annotate(
                f"{self.line_label} {plain(self.line, 3)} {self.unit}",
                (self.line, 1.0),
                xycoords=("data", "axes fraction"),
                xytext=(4, 4),
                textcoords="offset points",
                color=LINE,
                fontsize=10,
                parse_math=False,
            )
        for row, bar in enumerate(self.bars):
            panel.annotate(
                bar.words,
                (1.01, row),
                xycoords=("axes fraction", "data"),
                va="center",
                fontsize=9,
                color=INK,
                parse_math=False,
            )
        panel.set_yticks(
            list(rows), [f"{bar.label} {bar.sign}".rstrip() for bar in self.bars], parse_math=False
        )
        panel.invert_yaxis()
        panel.set_xlim(left=0)
        panel.set_xlabel("; ".join(filter(None, [self.unit, self.signs])), color=INK, loc="left")
        panel.set_title(self.title, loc="left", fontsize=14, color=INK, pad=18, parse_math=False)
        return shared.written(figure, kind, self)


def _lines(chart: Chart, width: int) -> Iterator[str]:
    label = max(len(bar.label) for bar in chart.bars) + 2
    words = max(len(chart.words(bar)) for bar in chart.bars)
    # Figures too long for a narrow screen go below their bar: cut short they would read as others.
    beside = width - label - 2 - words >= _LEAST_ROOM
    room = max(_LEAST_ROOM, width - label - 2 - (words if beside else 0))
    top = max([bar.high for bar in chart.bars] + ([] if chart.line is None else [chart.line]))
    # Shares first: a tiny scale's reciprocal would be infinite.
    top = top if top > 0 else 1.0
    at = -1 if chart.line is None else min(room - 1, round(chart.line / top * room))
    for bar in chart.bars:
        sure, may = round(bar.low / top * room), round(bar.high / top * room)
        drawn = ["=" if k < sure else "-" if k < may else " " for k in range(room)]
        if at >= 0:
            drawn[at] = "|"
        lead = f"{bar.label:<{label - 2}}{bar.sign or ' '} {''.join(drawn)}"
        yield f"{lead} {chart.words(bar)}" if beside else lead.rstrip()
        if not beside:
            yield f"  {chart.words(bar)}"
    if chart.line is not None:
        named, before = f"{chart.line_label} {plain(chart.line, 3)} {chart.unit}", label + at
        yield f"{named:>{before - 1}} |" if before > 0.5 * width else f"{'':<{before}}| {named}"
    parts = [f"{sign} {words}" for sign, words in (("=", chart.sure), ("-", chart.may)) if words]
    if legend := ", ".join(filter(None, [*parts, chart.signs])):
        yield legend


_LEAST_ROOM = 10
