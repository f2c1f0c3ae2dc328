"""`straycell demo`: an invented workshop built in a store of its own, and the whole flow walked on it."""

import os
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from datetime import datetime
from pathlib import Path
from typing import Annotated

from straycell.cli.app import clock, context, options, output, values, verbs
from straycell.cli.nouns.keep import demo_story
from straycell.errors import BadData
from straycell.store.sample.text import read_sample

app = verbs.lone_app()


@app.command()
def demo(
    keep: Annotated[
        Path | None,
        values.option("--keep", "Keep the sample store here.", metavar="FILE"),
    ] = None,
) -> None:
    """Show the whole flow on an invented workshop, from tear-downs to a matched project and labels.

    It makes a store of its own; yours is not touched.
    """
    from straycell.store.sample.build import build_sample

    # Both places are checked before the sample is built, which takes seconds.
    store, labels = _places(keep)
    sample = read_sample()
    with workshop(store, sample.now):
        try:
            build_sample(store, context.rules(), sample)
            story = demo_story.live(sample.now, store, labels)
        except BaseException:
            store.unlink(missing_ok=True)  # it was not there before: no half workshop stays behind
            raise
        output.emit(demo_story.document(story), lambda: demo_story.show(story))


def _places(keep: Path | None) -> tuple[Path, Path]:
    """Where the store and the label sheet go. Raises BadData when something is there already."""
    if keep is None:
        folder = Path(tempfile.mkdtemp(prefix="straycell-demo-"))
        return folder / "workshop.sqlite", folder / "labels.pdf"
    labels = keep.with_name(f"{keep.stem}-labels.pdf") if keep.name else keep
    for path in (keep, labels):
        if path.exists() or path.is_symlink():
            raise BadData(f"there is something at {path} already", "name a FILE that does not exist yet")
    if not keep.parent.is_dir():
        raise BadData(f"there is no folder {keep.parent}", "make it first, or name another FILE")
    return keep, labels


@contextmanager
def workshop(store: Path, now: datetime) -> Iterator[None]:
    """Commands inside work on this store, on the workshop's day, under the shipped rules."""
    current = options.current()
    # A person's own rules would change what the story says.
    env = {name: value for name, value in current.env.items() if name != context.RULES_VARIABLE}
    before = os.environ.get(clock.PIN)
    os.environ[clock.PIN] = now.isoformat()
    try:
        with options.use(replace(current, store=str(store), env=env)):
            yield
    finally:
        os.environ.pop(clock.PIN)
        if before is not None:
            os.environ[clock.PIN] = before
