"""`straycell export`: the whole store as CSV files, for a spreadsheet or another program."""

from pathlib import Path
from typing import Annotated

from straycell.cli.app import context, output, values, verbs

app = verbs.lone_app()


@app.command()
def export(
    folder: Annotated[Path, values.argument("DIR", "A new folder.")],
) -> None:
    """Write every table as CSV into a new folder, and the files of the traces as they came."""
    # A new folder and never an old one: files of two exports side by side would be read as one store.
    with context.reading() as reader:
        files = reader.export_dir(folder)
    output.emit(
        {"folder": str(folder), "files": [str(file) for file in files]},
        lambda: output.say(f"{folder}: {len(files)} files written"),
    )
