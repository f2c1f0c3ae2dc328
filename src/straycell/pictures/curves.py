"""Curves that belong together: the one asked about, others of its kind pale, what was expected dashed, what a limit allows.

In the terminal the main curve is drawn in dots of braille, all else in characters of their own, so that no colour is needed.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from enum import StrEnum
from itertools import pairwise
from typing import TYPE_CHECKING, Any, ClassVar

from straycell.pictures import figure as shared
from straycell.pictures.field import Frame, legend
from straycell.pictures.figure import INK, LINE, Kind

if TYPE_CHECKING:
    from matplotlib.axes import Axes


Role = StrEnum("Role", "MAIN FAINT GHOST")
"""What a curve is there for."""


@dataclass(frozen=True, slots=True)
class Curve:
    """Points with rising x. `marked`: each of them was measured by itself, and is shown."""

    label: str
    points: tuple[tuple[float, float], ...]
    role: Role = Role.MAIN
    marked: bool = False


@dataclass(frozen=True, slots=True)
class Cone:
    """What a limit leaves open: lowest and highest y by rising x."""

    label: str
    edges: tuple[tuple[float, float, float], ...]


@dataclass(frozen=True, slots=True)
class Curves:
    """All of one picture, x and y in the units named; `level` is a y with a name. `empty` is said without any curve."""

    title: str
    x_unit: str
    y_unit: str
    curves: tuple[Curve, ...]
    cones: tuple[Cone, ...] = ()
    level: tuple[str, float] | None = None
    empty: str = "nothing to draw"
    drawn: ClassVar[str] = "⠿┾│░·╌●"
    """What a terminal must be able to show; else plain characters are used."""

    def lines(self, width: int = 72, height: int = 14, *, plain: bool = False) -> list[str]:
        """`height` lines of plot, one with the x scale, and one for each kind of curve; `plain`: ASCII alone."""
        if not self.curves:
            return [self.empty]
        frame = Frame.around(_corners(self), width, height)
        signs = _PLAIN if plain else _FANCY
        field = [[" "] * frame.across for _ in range(frame.down)]
        for cone in self.cones[:1]:
            _fill(field, frame, cone, signs["cone"])
        # The main curve is drawn last: where curves meet, the one asked about is seen.
        for role in (Role.FAINT, Role.GHOST, Role.MAIN):
            for curve in (each for each in self.curves if each.role is role):
                _trace(field, frame, curve, signs, plain)
        level = frame.line(self.level[1]) if self.level else -1
        rims = [signs["level" if number == level else "rim"] for number in range(frame.down)]
        return [
            *frame.behind_scale(field, self.y_unit, rims),
            *frame.foot(f"{frame.left:.3g}", f"{frame.right:.4g}", self.x_unit),
            *legend(_entries(self, signs, plain), width),
        ]

    def picture(self, kind: Kind = "png", dpi: int = 150) -> bytes:
        """A picture of 10 x 6 inches."""
        figure, panel = shared.canvas(6, dpi)
        for cone, colour in zip(self.cones, _CONES, strict=False):
            x, low, high = zip(*cone.edges, strict=True)
            panel.fill_between(x, low, high, color=colour, linewidth=0, zorder=1, label=cone.label)
        named: set[str] = set()
        for curve in self.curves:
            x, y = zip(*curve.points, strict=True)
            panel.plot(
                x,
                y,
                marker="o" if curve.marked else "",
                markersize=6 if curve.role is Role.MAIN else 3.5,
                label="_" if curve.label in named else curve.label,
                **_STYLES[curve.role],
            )
            named.add(curve.label)
        _dress(panel, self)
        return shared.written(figure, kind, self)


_MAIN, _FAINT = "#1d4e89", "#8d99a3"
_CONES = ("#d9ead3", "#fbe8c8")
_STYLES: dict[Role, dict[str, Any]] = {
    Role.MAIN: {"color": _MAIN, "linewidth": 2.2, "zorder": 5},
    Role.FAINT: {"color": _FAINT, "linewidth": 1.1, "alpha": 0.7, "zorder": 3},
    Role.GHOST: {"color": INK, "linewidth": 1.3, "linestyle": (0, (5, 3)), "zorder": 4},
}


def _dress(panel: Axes, shown: Curves) -> None:
    panel.set_xlabel(shown.x_unit, color=INK)
    panel.set_ylabel(shown.y_unit, color=INK)
    panel.set_title(
        shown.title if shown.curves else f"{shown.title}: {shown.empty}",
        loc="left",
        fontsize=13,
        color=INK,
        pad=12,
        parse_math=False,
    )
    if shown.level is not None:
        name, value = shown.level
        panel.axhline(
            value, color=LINE, linewidth=1.2, linestyle=(0, (6, 4)), label=f"{name} {value:g} {shown.y_unit}"
        )
    if shown.curves:
        legend = panel.legend(loc="best", frameon=False, fontsize=10, labelcolor=INK)
        for text in legend.get_texts():
            text.set_parse_math(False)


# --- in the terminal -------------------------------------------------------------------------------

# Where each of a braille character's 2 x 4 dots is (Unicode 2800 block), by column then row from the top.
_DOTS = ((0x01, 0x02, 0x04, 0x40), (0x08, 0x10, 0x20, 0x80))
_BRAILLE = 0x2800
_FANCY = {"cone": "░", "faint": "·", "ghost": "╌", "mark": "●", "rim": "│", "level": "┾"}
_PLAIN = {"cone": ":", "faint": ".", "ghost": "-", "mark": "o", "rim": "|", "level": "+"}

_Point = tuple[float, float]


def _corners(shown: Curves) -> list[_Point]:
    points = [point for curve in shown.curves for point in curve.points]
    points += [(x, y) for cone in shown.cones[:1] for x, low, high in cone.edges for y in (low, high)]
    return points if shown.level is None else [*points, (points[0][0], shown.level[1])]


def _fill(field: list[list[str]], frame: Frame, cone: Cone, sign: str) -> None:
    for column in range(frame.across):
        x = frame.left + (column + 0.5) * (frame.right - frame.left) / frame.across
        for (x0, low0, high0), (x1, low1, high1) in pairwise(cone.edges):
            if x0 <= x <= x1 and x1 > x0:
                part = (x - x0) / (x1 - x0)
                top = frame.line(high0 + part * (high1 - high0))
                for line in range(top, frame.line(low0 + part * (low1 - low0)) + 1):
                    if 0 <= line < frame.down:
                        field[line][column] = sign


def _trace(field: list[list[str]], frame: Frame, curve: Curve, signs: dict[str, str], plain: bool) -> None:
    """One curve into the field: braille where it is the main one, a character of its kind else."""
    braille = curve.role is Role.MAIN and not plain
    fine_x, fine_y = (2, 4) if braille else (1, 1)
    dots: dict[tuple[int, int], int] = {}
    for x, y in _steps(curve.points, frame, fine_x, fine_y):
        spot = (min(y // fine_y, frame.down - 1), min(x // fine_x, frame.across - 1))
        dots[spot] = dots.get(spot, 0) | (_DOTS[x % 2][y % 4] if braille else 0)
    sign = "*" if curve.role is Role.MAIN else signs[curve.role]
    for (line, column), code in dots.items():
        # A ghost is dashed by leaving out every third character, as in the picture.
        if curve.role is not Role.GHOST or column % 3 < 2:
            field[line][column] = chr(_BRAILLE + code) if braille else sign
    for point in curve.points if curve.marked and curve.role is Role.MAIN else ():
        line, column = frame.spot(*point)
        field[line][column] = signs["mark"]


def _steps(points: Sequence[_Point], frame: Frame, fine_x: int, fine_y: int) -> Iterator[tuple[int, int]]:
    """Every dot on the way from point to point: a steep fall skips lines of dots otherwise."""
    spots = [(frame.column(x, fine_x), frame.line(y, fine_y)) for x, y in points]
    yield from spots[:1]
    for (x0, y0), (x1, y1) in pairwise(spots):
        count = max(abs(x1 - x0), abs(y1 - y0), 1)
        for step in range(1, count + 1):
            yield x0 + (x1 - x0) * step // count, y0 + (y1 - y0) * step // count


def _entries(shown: Curves, signs: dict[str, str], plain: bool) -> list[tuple[str, str]]:
    """What each kind of curve is."""
    main = (
        signs["mark"]
        if any(c.marked and c.role is Role.MAIN for c in shown.curves)
        else "*"
        if plain
        else "⠒"
    )
    drawn = {Role.MAIN: main, Role.FAINT: signs["faint"] * 2, Role.GHOST: signs["ghost"] * 2}
    entries = [(drawn[curve.role], curve.label) for curve in shown.curves]
    entries += [(signs["cone"] * 2, cone.label) for cone in shown.cones[:1]]
    if shown.level is not None:
        entries.append((signs["level"], f"{shown.level[0]} {shown.level[1]:g} {shown.y_unit}"))
    return entries
