"""A picture where the person wants it: drawn in the terminal, or as a PNG or SVG file."""

from __future__ import annotations

from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

from straycell.cli.app import options, output, values
from straycell.cli.app.files import Force as Force
from straycell.cli.app.files import write_whole

if TYPE_CHECKING:
    from straycell.bench.paper.prints import Drawing

Out = Annotated[
    Path | None,
    values.option("--out", "Draw it into this file, .png or .svg.", metavar="FILE"),
]


def draw(drawing: Drawing, out: Path | None, force: bool, document: Any = None) -> None:
    """Into the file, or in the terminal's width; with --json what is drawn, as figures."""
    if out is not None:
        write(drawing, out, force)
        output.emit({"files": [out], "count": 1}, lambda: output.say(str(out)))
        return

    def page() -> None:
        output.say_wrapped(drawing.title)
        say(drawing, options.current().columns)

    output.emit(asdict(drawing) if document is None else document, page)


def write(drawing: Drawing, out: Path, force: bool) -> None:
    """Into a file of the kind that its name asks for; any other suffix is refused where it is written."""
    write_whole(out, drawing.picture("svg" if out.suffix.lower() == ".svg" else "png"), force=force)


def say(drawing: Drawing, width: int) -> None:
    """As a part of a page."""
    output.say(*drawing.lines(width, plain=not output.can_show(drawing.drawn)))
