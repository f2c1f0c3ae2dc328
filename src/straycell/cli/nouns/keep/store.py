"""`straycell store`: the one file that holds it all."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from string import ascii_uppercase
from typing import TYPE_CHECKING, Annotated

import typer

from straycell.cli.app import clock, context, output, progress, prompts, values, verbs
from straycell.errors import EXIT_NEGATIVE, BadData, Cure, StoreFault
from straycell.quantities import count_of
from straycell.store.location import mounts, place_warnings

if TYPE_CHECKING:
    from straycell.store.backup import Restored
    from straycell.store.merge.take_in import Merged
    from straycell.store.salvage.fresh_store import Salvaged

app = verbs.noun_app("The file that holds it all: check, backup, restore, merge.")


@contextmanager
def _about(file: Path, remedy: str) -> Iterator[None]:
    """A fault of the file named on the line is not a fault of the store: its remedy names that file."""
    try:
        yield
    except StoreFault as fault:
        # Told to restore the store, a person with a broken backup would overwrite the good one.
        if fault.file != file:
            raise
        instead = {
            None: fault.remedy,
            Cure.OTHER_FILE: remedy,
            Cure.RESTORE: f"it cannot be used; {remedy}",
            Cure.UPGRADE: f"bring it up to date with: straycell --store {file} store upgrade",
        }
        raise StoreFault(f"{file} {fault.fact}", instead[fault.cure]) from fault


@app.command("init")
def init(
    bench: Annotated[
        str | None,
        values.text_option(
            "--bench",
            "First letter of every code made here (default A); two benches need two.",
            metavar="LETTER",
        ),
    ] = None,
) -> None:
    """Make an empty store. The first writing command does the same on bench A."""
    path, letter = context.store_path(), (bench or "A").upper()
    _require_letter(letter)
    # A second init must never empty a store.
    if path.exists():
        raise BadData(f"there is a store already: {path}", "name another file with --store, or use this one")
    with context.writing(create=True, bench=letter):
        pass
    output.emit(
        {"store": str(path), "bench": letter},
        lambda: output.say(f"{path}: a new store, bench {letter}"),
        then="next: straycell intake (asks for one cell after the other), or straycell import cells FILE.csv",
    )


def _require_letter(letter: str) -> None:
    if letter not in ascii_uppercase or len(letter) != 1:
        raise BadData(f"bench letter '{letter[:20]}' is not one of A to Z", "write one letter, like B")


@app.command("check")
def check(
    against: Annotated[
        Path | None,
        values.option(
            "--against", "Also name what this backup holds and the store does not.", metavar="BACKUP"
        ),
    ] = None,
) -> None:
    """Check the whole store. Exit 1 when something is wrong with it."""
    path = context.store_path()
    with context.reading() as reader:
        faults, lost = list(reader.check(context.rules(), clock.now())), list[str]()
        if against is not None:
            with _about(against, "name a file that this wrote: straycell store backup FILE"):
                lost = reader.lost_since(against)
    found = faults + lost
    output.emit({"store": str(path), "ok": not found, "faults": found}, lambda: _tell(path, faults, lost))
    # Exit 1 lets a nightly job notice.
    if found:
        raise typer.Exit(EXIT_NEGATIVE)


def _tell(path: Path, faults: list[str], lost: list[str]) -> None:
    if not faults + lost:
        output.say(f"{path}: no fault")
        return
    output.say(f"{path}: {count_of(len(faults + lost), 'fault')}")
    output.bullets(faults + lost)
    if faults:
        output.talk("keep this file as it is, and restore the last good backup: straycell store restore FILE")
        output.hint("without one: straycell store salvage BROKEN NEW")
    else:
        output.talk("unless a restore left them out, bring these writes back: straycell store merge BACKUP")


@app.command("info")
def info() -> None:
    """Show where the store is, what it holds, and what is wrong with its place."""
    path = context.store_path()
    with context.reading() as reader:
        document = {"store": str(path)} | {k: v for k, v in reader.info().items() if k != "path"}
    # Said and not refused: the signs of a network share or synchroniser can be wrong.
    warnings = place_warnings(path, mounts())
    output.emit(
        document | {"place_warnings": warnings},
        lambda: output.facts((name.replace("_", " "), _words(value)) for name, value in document.items()),
    )
    output.talk(
        *(
            f"move it, with `store backup` and `store restore`, to a disk of this machine: {warning}"
            for warning in warnings
        )
    )


def _words(value: object) -> str:
    if isinstance(value, dict):
        return ", ".join(f"{name} {count}" for name, count in value.items()) or "none"
    return "-" if value is None else str(value)


@app.command("upgrade")
def upgrade() -> None:
    """Bring a store that an older straycell wrote up to date, as a whole or not at all."""
    from straycell.store.schema.create import bring_up

    path = context.store_path()
    before, after = bring_up(path, clock.now())
    document = {"store": str(path), "from_version": before, "version": after, "upgraded": after > before}
    done = f"brought from version {before} to {after}" if after > before else f"is of version {after} already"
    output.emit(document, lambda: output.say(f"{path}: {done}"))


@app.command("backup")
def backup(
    file: Annotated[Path, values.argument("FILE", "Where the copy goes.")],
) -> None:
    """Write a copy of the store, complete and checked, while others may go on reading."""
    from straycell.store.backup import backup_store

    # A damaged store is copied all the same: a marked copy is more than none when the disk dies.
    damage = backup_store(context.store_path(), file)
    size = file.stat().st_size
    output.emit(
        {
            "store": str(context.store_path()),
            "file": str(file),
            "bytes": size,
            "damage": damage or None,
        },
        lambda: output.say(f"{file}: backup written, {size} bytes"),
    )
    if damage:
        output.talk(f"the store is damaged ({damage}): the copy is marked so and cannot be restored")


@app.command("restore")
def restore(
    file: Annotated[Path, values.argument("FILE", "The backup to restore.")],
    yes: Annotated[bool, values.flag("--yes", "Replace the store without asking.")] = False,
) -> None:
    """Put a backup in the place of the store."""
    from straycell.store.backup import restore_store

    path, bench = context.store_path(), context.bench()
    # What was written since the backup leaves the store with it: a person says yes to that.
    if path.exists():
        prompts.confirm(yes, f"replace the store {path} by {file}?")
    with _about(file, "name a file that this wrote: straycell store backup FILE"):
        done = restore_store(file, path, now=bench.now, rules=bench.rules)
    output.emit(
        {
            "store": str(path),
            "file": str(file),
            "former": None if done.aside is None else str(done.aside),
            "discarded": list(done.carried.discarded),
            "held": list(done.carried.held),
            "doubtful": list(done.carried.doubtful),
            "not_in_backup": list(done.carried.unknown),
        },
        lambda: output.say(f"{path}: restored from {file}"),
    )
    if done.aside is not None:
        output.talk(f"the former store is kept: {done.aside}")
        _talk_carried(done)


def _talk_carried(done: Restored) -> None:
    if done.lost:
        output.talk(
            "not all of it could be read: cells of which nothing could are on hold until checked again"
        )
    if done.carried.discarded:
        output.talk(f"out of use in it, and so out of use here too: {', '.join(done.carried.discarded)}")
    if done.carried.doubtful:
        listed = ", ".join(done.carried.doubtful)
        output.talk(
            f"in doubt in it for what this backup does not know, so on hold here until tested again: {listed}"
        )
    if done.carried.unknown:
        listed = ", ".join(done.carried.unknown)
        output.talk(f"out of use in it, and not in this backup: {listed}. They stay out of use")


@app.command("salvage")
def salvage(
    broken: Annotated[Path, values.argument("BROKEN", "The damaged file.")],
    new: Annotated[Path, values.argument("NEW", "The store to make.")],
) -> None:
    """Put what can be read of a damaged store into a fresh one: every cell is on hold, what was lost is listed."""
    from straycell.store.salvage.fresh_store import salvage_store

    bench = context.bench()
    with _about(broken, "name the damaged file"):
        done = salvage_store(broken, new, now=bench.now, rules=bench.rules)
    output.emit(
        {
            "file": str(broken),
            "store": str(new),
            "bench": done.bench,
            "cells": done.cells,
            "readings": done.readings,
            "findings": done.findings,
            "lost": list(done.lost),
        },
        lambda: _salvaged(new, done),
    )
    output.talk("test every cell again: look, rest voltage, resistance and the self-discharge check")
    output.hint(f"{broken} is as it was: keep it, and the last backup, until you are sure of {new}")


def _salvaged(new: Path, done: Salvaged) -> None:
    output.say(
        f"{new}: a new store, bench {done.bench}, with {count_of(done.cells, 'cell')}, {count_of(done.readings, 'reading')}",
        "lost:" if done.lost else "nothing was lost",
    )
    output.bullets(done.lost)


@app.command("bench")
def take_letter(
    letter: Annotated[str, values.text_argument("LETTER", "A letter that none of your benches has.")],
) -> None:
    """Give a fresh copy of a store a letter of its own, so that both can be written to and merged."""
    new = letter.upper()
    _require_letter(new)
    with context.writing(create=False) as writer:
        # Two copies of one letter give out the same numbers and can never be merged again.
        former = writer.take_letter(new)
    output.emit(
        {"store": str(context.store_path()), "bench": new, "from": former},
        lambda: output.say(f"{context.store_path()}: bench {new} from now on, it was {former}"),
        then="what was written before keeps its numbers; do this right after copying, before anything is written",
    )


@app.command("merge")
def merge(
    file: Annotated[Path, values.argument("FILE", "The store of the other bench.")],
) -> None:
    """Take another bench's store into this one: codes and times are kept, nothing comes twice."""
    from straycell.store.merge.take_in import merge_store

    with progress.counting("tables") as tell, _about(file, "name the other bench's store"):
        merged = context.write_long(
            lambda writer: writer.write(merge_store, file, tell), context.size_of(file)
        )
    output.emit(
        {
            "store": str(context.store_path()),
            "file": str(file),
            "bench": merged.bench,
            "cells": merged.cells,
            "readings": merged.readings,
            "events": merged.events,
            "notes": merged.notes,
        },
        lambda: _merged(file, merged),
    )


def _merged(file: Path, merged: Merged) -> None:
    if not merged.events:
        output.say(f"{file}: nothing in it that is not here already")
        return
    cells, readings = count_of(merged.cells, "new cell"), count_of(merged.readings, "new reading")
    output.say(f"{file}: bench {merged.bench}, {cells}, {readings}")
    output.bullets(merged.notes)
