"""The stock as capacity over resistance: the strong cells upper left, each outcome with a sign of its own."""

from __future__ import annotations

import hashlib
import io
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from straycell.acceptance.reasons import Outcome

if TYPE_CHECKING:
    from matplotlib.axes import Axes

Kind = Literal["png", "svg"]
_INK, _GRID = "#22303c", "#d5dbe0"
# Shapes first, since a printer knows no colours; the colours are apart for colour-blind eyes (Okabe and Ito 2008).
_SIGNS: dict[Outcome, tuple[str, str, bool]] = {
    Outcome.PACK: ("s", "#0072B2", True),
    Outcome.SOLO: ("o", "#009E73", True),
    Outcome.LIGHT: ("^", "#56B4E9", False),
    Outcome.HOLD: ("D", "#8a6d00", False),
    Outcome.DISCARD: ("X", "#b00020", True),
}


@dataclass(frozen=True, slots=True, order=True)
class Point:
    """One cell: capacity in Ah and resistance in ohm, both as counted today."""

    capacity_ah: float
    resistance_ohm: float
    outcome: Outcome


def stock_picture(points: Sequence[Point], unmeasured: int, kind: Kind = "png", dpi: int = 150) -> bytes:
    """A picture of 10 x 6 inches. `unmeasured` cells lack a figure and are counted in words.

    Same input, same bytes (for one version of matplotlib).
    """
    import matplotlib as mpl
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    figure = Figure(figsize=(10, 6), dpi=dpi, facecolor="white", layout="constrained")
    FigureCanvasAgg(figure)
    panel = figure.subplots()
    _dress(panel, points)
    for outcome in sorted(_SIGNS, reverse=True):
        _scatter(panel, [point for point in points if point.outcome is outcome], outcome)
    panel.set_title(
        f"{len(points)} cells" + (f", {unmeasured} more without both figures" if unmeasured else ""),
        loc="left",
        fontsize=13,
        color=_INK,
    )
    if points:
        panel.legend(loc="upper right", frameon=False, fontsize=11, labelcolor=_INK)
    out = io.BytesIO()
    with mpl.rc_context({"svg.hashsalt": "straycell"}):
        shown = digest(points, unmeasured)
        png = {"Software": "straycell", "Description": shown}
        metadata = png if kind == "png" else {"Date": None, "Creator": "straycell", "Description": shown}
        figure.savefig(out, format=kind, metadata=metadata)
    return out.getvalue()


def digest(points: Sequence[Point], unmeasured: int) -> str:
    """What a picture shows, in 16 characters; it is in the file, so that an old picture is known as one."""
    return hashlib.sha256(repr((sorted(points), unmeasured)).encode()).hexdigest()[:16]


def _dress(panel: Axes, points: Sequence[Point]) -> None:
    from matplotlib.ticker import FuncFormatter, LogLocator, NullFormatter

    panel.set_xlabel("resistance / mohm", color=_INK)
    panel.set_ylabel("capacity / mAh", color=_INK)
    if points:
        # Resistances of sound and worn cells lie a decade apart: only a logarithm shows both.
        panel.set_xscale("log")
        panel.xaxis.set_major_locator(LogLocator(subs=(1.0, 2.0, 5.0)))
        panel.xaxis.set_major_formatter(FuncFormatter(lambda mohm, _: f"{mohm:g}"))
        panel.xaxis.set_minor_formatter(NullFormatter())
        panel.set_ylim(0, 1.1e3 * max(point.capacity_ah for point in points))
    panel.grid(color=_GRID, linewidth=0.8)
    panel.set_axisbelow(True)
    panel.tick_params(colors=_INK)
    for side in ("top", "right"):
        panel.spines[side].set_visible(False)


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
