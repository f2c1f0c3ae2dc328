"""`straycell export`: the whole store as CSV files, for a spreadsheet or another program."""

from pathlib import Path
from typing import Annotated

import typer

from straycell.cli.app import context, output
from straycell.cli.app.grammar import lone_app

app = lone_app()


@app.command()
def export(
    folder: Annotated[Path, typer.Argument(metavar="DIR", help="A new folder.", show_default=False)],
) -> None:
    """Write every table as CSV into a new folder, and the files of the traces as they came."""
    # A new folder and never an old one: files of two exports side by side would be read as one store.
    with context.reading() as reader:
        files = reader.export_dir(folder)
    document = {"folder": str(folder), "files": [str(file) for file in files]}
    output.emit(document, lambda: output.say(f"{folder}: {len(files)} files written"))
