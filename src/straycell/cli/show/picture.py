"""A picture where the person wants it: drawn in the terminal, or as a PNG or SVG file."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from straycell.cli.app import options, output
from straycell.cli.app.files import Force as Force
from straycell.cli.app.files import write_whole

if TYPE_CHECKING:
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
        output.say(title)
        for line in lines(options.current().columns):
            output.say(line)

    output.emit(document, page)
