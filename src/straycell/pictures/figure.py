"""What all pictures share: the canvas, its ink, and how it is written. Same input, same bytes (for one version of matplotlib)."""

from __future__ import annotations

import hashlib
import io
import warnings
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

Kind = Literal["png", "svg"]
INK, GRID, LINE = "#22303c", "#d5dbe0", "#b00020"


def sheet(width_in: float, height_in: float, dpi: int) -> Figure:
    """An empty figure."""
    # Loaded here and not above: matplotlib takes longer to import than most commands run.
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    figure = Figure(figsize=(width_in, height_in), dpi=dpi, facecolor="white", layout="constrained")
    # The canvas is attached by hand: pyplot would pick a backend by the display and keep figures in a global list.
    FigureCanvasAgg(figure)
    return figure


def canvas(height_in: float, dpi: int) -> tuple[Figure, Axes]:
    """An empty figure with one panel, dressed like all others."""
    figure = sheet(10.0, height_in, dpi)
    panel = figure.subplots()
    _dressed(panel, 0.8)
    return figure, panel


def _dressed(panel: Axes, grid_width: float) -> None:
    panel.grid(True, color=GRID, linewidth=grid_width)
    panel.set_axisbelow(True)
    panel.tick_params(colors=INK, labelsize=10)
    panel.spines[["top", "right"]].set_visible(False)


def framed(panel: Axes) -> None:
    """The dress of a panel whose axes are read closely: in ink, with larger names."""
    _dressed(panel, 0.7)
    panel.spines[["left", "bottom"]].set_color(INK)
    for axis in (panel.xaxis, panel.yaxis):
        axis.label.set_color(INK)
        axis.label.set_fontsize(11)


def titled(figure: Figure, title: str) -> None:
    """The heading of the whole picture."""
    # Titles hold what a person typed: a dollar sign in a name would be read as mathematics and fail.
    figure.suptitle(title, x=0.01, ha="left", fontsize=17, color=INK, fontweight="bold", parse_math=False)


def written(figure: Figure, kind: Kind, shown: object) -> bytes:
    """The figure as a file; the digest of what it shows is in it, so that an old picture is known as one."""
    import matplotlib as mpl

    description = {"Description": hashlib.sha256(repr(shown).encode()).hexdigest()[:16]}
    png = {"Software": "straycell", **description}
    svg = {"Date": None, "Creator": "straycell", **description}
    out = io.BytesIO()
    with mpl.rc_context({"svg.hashsalt": "straycell"}), warnings.catch_warnings():
        # A name in letters that the library's face lacks is drawn as boxes; that is no reason to warn.
        warnings.filterwarnings("ignore", message="Glyph .* missing")
        figure.savefig(out, format=kind, metadata=png if kind == "png" else svg)
    return out.getvalue()
