"""Files that commands write (`--out`, `--ics`): as `files.write` has it, and never in the place of the store."""

from contextlib import AbstractContextManager
from pathlib import Path
from typing import Annotated

from straycell.cli.app import context, output, values
from straycell.errors import UsageFault
from straycell.files import write

Force = Annotated[
    bool, values.flag("--force", "Overwrite an existing file of another kind (never a database).")
]


def write_whole(path: Path, content: bytes, *, force: bool = False) -> None:
    """Write a file whole or not at all. Raises BadData for what must not be replaced."""
    write.write_whole(path, content, force=force, kept=_store())


def prepared(path: Path, content: bytes, *, force: bool = False) -> AbstractContextManager[write.Part]:
    """The same in two steps: written beside its place now, placed by the caller once the store has it."""
    return write.prepared(path, content, force=force, kept=_store())


def talk_missing_glyphs(printed: object) -> None:
    """Name on stderr what the embedded face cannot print of a paper's content."""
    from straycell.labels.faces import missing_glyphs

    if lacking := missing_glyphs(printed):
        output.talk(
            f"not in the printed face: {', '.join(lacking)}; printed as its number: write it in other letters"
        )


def _store() -> list[Path]:
    # The store is named by an option or the environment: its name alone must protect it from --out.
    try:
        return [context.store_path()]
    except UsageFault:  # a store that cannot be named cannot be overwritten either
        return []
