"""The stock as capacity over resistance: the strong cells upper left, each outcome with a sign of its own."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, ClassVar

from straycell.acceptance import Outcome
from straycell.pictures import figure as shared
from straycell.pictures.field import Frame, legend
from straycell.pictures.figure import INK, Kind
from straycell.quantities import count_of

if TYPE_CHECKING:
    from matplotlib.axes import Axes

# Shapes first, since a printer knows no colours; the colours are apart for colour-blind eyes (Okabe and Ito 2008).
_SIGNS: dict[Outcome, tuple[str, str, bool]] = {
    Outcome.PACK: ("s", "#0072B2", True),
    Outcome.SOLO: ("o", "#009E73", True),
    Outcome.LIGHT: ("^", "#56B4E9", False),
    Outcome.HOLD: ("D", "#8a6d00", False),
    Outcome.DISCARD: ("X", "#b00020", True),
}
_LETTERS = {
    Outcome.PACK: ("\u25a0", "P"),
    Outcome.SOLO: ("\u25cf", "S"),
    Outcome.LIGHT: ("\u25b3", "L"),
    Outcome.HOLD: ("\u25c7", "h"),
    Outcome.DISCARD: ("\u2715", "x"),
}
"""The signs of the picture as characters, and for a terminal that has ASCII alone."""


@dataclass(frozen=True, slots=True, order=True)
class Point:
    """One cell: capacity in Ah and resistance in ohm, both as counted today."""

    capacity_ah: float
    resistance_ohm: float
    outcome: Outcome


@dataclass(frozen=True, slots=True)
class Scatter:
    """Cells by both figures; `unmeasured` more lack one and are counted in words."""

    points: tuple[Point, ...]
    unmeasured: int
    drawn: ClassVar[str] = "".join(sign for sign, _ in _LETTERS.values())

    @property
    def title(self) -> str:
        """What is drawn, and how many cells cannot be."""
        missing = f", {self.unmeasured} more lack one of the two" if self.unmeasured else ""
        return f"Capacity over resistance: {count_of(len(self.points), 'cell')}{missing}"

    def lines(self, width: int = 72, height: int = 18, *, plain: bool = False) -> list[str]:
        """In the terminal; where cells lie on one another, the one that may do most is shown."""
        if not self.points:
            return ["no cell has both a capacity and a resistance that count today"]
        spots = [(math.log10(1e3 * each.resistance_ohm), 1e3 * each.capacity_ah) for each in self.points]
        frame = Frame.around([*spots, (spots[0][0], 0.0)], width, height)
        field = [[" "] * frame.across for _ in range(frame.down)]
        for each, spot in sorted(zip(self.points, spots, strict=True), key=lambda pair: pair[0].outcome):
            line, column = frame.spot(*spot)
            field[line][column] = _LETTERS[each.outcome][plain]
        left, right = (f"{10**edge:.4g}" for edge in (frame.left, frame.right))
        counts = Counter(each.outcome for each in self.points)
        entries = [
            (_LETTERS[outcome][plain], f"{outcome.word} ({counts[outcome]})")
            for outcome in sorted(counts, reverse=True)
        ]
        return [
            *frame.behind_scale(field, "mAh", ["|" if plain else "\u2502"] * frame.down),
            *frame.foot(left, right, "mohm"),
            *legend(entries, width),
        ]

    def picture(self, kind: Kind = "png", dpi: int = 150) -> bytes:
        """10 x 6 inches. Same cells in any order, same bytes (for one version of matplotlib)."""
        figure, panel = shared.canvas(6, dpi)
        _dress(panel, self.points)
        for outcome in sorted(_SIGNS, reverse=True):
            _scatter(panel, [point for point in self.points if point.outcome is outcome], outcome)
        panel.set_title(self.title, loc="left", fontsize=13, color=INK)
        if self.points:
            panel.legend(loc="upper right", frameon=False, fontsize=11, labelcolor=INK)
        return shared.written(figure, kind, (sorted(self.points), self.unmeasured))


def _dress(panel: Axes, points: Sequence[Point]) -> None:
    from matplotlib.ticker import FuncFormatter, LogLocator, NullFormatter

    panel.set_xlabel("resistance / mohm", color=INK)
    panel.set_ylabel("capacity / mAh", color=INK)
    if points:
        # Resistances of sound and worn cells lie a decade apart: only a logarithm shows both.
        panel.set_xscale("log")
        panel.xaxis.set_major_locator(LogLocator(subs=(1.0, 2.0, 5.0)))
        panel.xaxis.set_major_formatter(FuncFormatter(lambda mohm, _: f"{mohm:g}"))
        panel.xaxis.set_minor_formatter(NullFormatter())
        panel.set_ylim(0, 1.1e3 * max(point.capacity_ah for point in points))


def _scatter(panel: Axes, points: Sequence[Point], outcome: Outcome) -> None:
    if not points:
        return
    marker, colour, filled = _SIGNS[outcome]
    panel.scatter(
        [1e3 * point.resistance_ohm for point in points],
        [1e3 * point.capacity_ah for point in points],
        s=70,
        marker=marker,
        facecolors=colour if filled else "white",
        edgecolors=colour,
        linewidths=1.6,
        label=f"{outcome.word} ({len(points)})",
        zorder=3,
    )
