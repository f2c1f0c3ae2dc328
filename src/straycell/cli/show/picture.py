"""A picture where the person wants it: drawn in the terminal, or as a PNG or SVG file."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from straycell.cli.app import options, output
from straycell.cli.app.files import Force as Force
from straycell.cli.app.files import write_whole

if TYPE_CHECKING:
    from straycell.pictures.bars import Chart
    from straycell.pictures.curves import Curves
    from straycell.pictures.figure import Kind

Out = Annotated[
    Path | None,
    typer.Option("--out", metavar="FILE", help="Draw it into this file, .png or .svg.", show_default=False),
]


def kind_of(path: Path) -> Kind:
    """What a file's name asks for; any other suffix is refused where the file is written."""
    return "svg" if path.suffix.lower() == ".svg" else "png"


def draw(
    title: str,
    lines: Callable[[int], Sequence[str]],
    picture: Callable[[Kind], bytes],
    document: Any,
    out: Path | None,
    force: bool,
) -> None:
    """Into the file, or in the terminal's width; with --json what is drawn, as figures."""
    if out is not None:
        write_whole(out, picture(kind_of(out)), force=force)
        output.emit({"files": [out], "count": 1}, lambda: output.say(str(out)))
        return

    def page() -> None:
        output.say_wrapped(title)
        for line in lines(options.current().columns):
            output.say(line)

    output.emit(document, page)


def draw_chart(chart: Chart, out: Path | None, force: bool, document: Any = None) -> None:
    """Bars, as the file or in the terminal."""
    from straycell.pictures.bars import chart_lines, chart_picture

    shown = asdict(chart) if document is None else document
    draw(
        chart.title,
        lambda width: chart_lines(chart, width),
        lambda kind: chart_picture(chart, kind),
        shown,
        out,
        force,
    )


def draw_curves(curves: Curves, out: Path | None, force: bool) -> None:
    """Curves, as the file or in the terminal."""
    from straycell.pictures.curves import curves_picture

    draw(
        curves.title,
        lambda width: _lines(curves, width),
        lambda kind: curves_picture(curves, kind),
        asdict(curves),
        out,
        force,
    )


def say_curves(curves: Curves) -> None:
    """Curves as a part of a page."""
    for line in _lines(curves, options.current().line):
        output.say(line)


def _lines(curves: Curves, width: int) -> list[str]:
    from straycell.pictures.curves import DRAWN, curves_lines

    return curves_lines(curves, width, plain=not output.can_show(DRAWN))
