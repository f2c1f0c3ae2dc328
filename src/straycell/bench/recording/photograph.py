"""A photograph kept with its cell. It decides nothing: what it shows is recorded as a look."""

from __future__ import annotations

from pathlib import Path

from straycell.bench.context import Bench
from straycell.store.book.records import Photograph


def keep_photograph(bench: Bench, code: str, file: Path) -> Photograph:
    """Scale a picture file, leave out what the camera added, and keep it with the cell. Raises BadData, StoreFault."""
    from straycell.labels.picture import small_photograph

    # Before the write lock is taken: unpacking a large picture takes a second.
    content = small_photograph(file)
    with bench.writing() as writer:
        return writer.add_photograph(writer.find_code(code), content)
