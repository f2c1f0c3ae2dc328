"""Copies of a store: taken while others read it, checked before they count, put back without a gap."""

import shutil
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path

from straycell.acceptance import RuleSet
from straycell.errors import BadData, Cure, StoreFault
from straycell.files.write import part_file, second_name
from straycell.store.carry import Carried, Former, read_former, restore_into
from straycell.store.photograph_files import bring, folder_of, share
from straycell.store.schema.create import BROKEN_ID, VERSION, store_version
from straycell.store.sqlite.engine import (
    connected,
    os_faults,
    reading_engine,
    require_file,
    store_faults,
    writing_engine,
)
from straycell.store.sqlite.file import (
    APPLICATION_ID_AT,
    MAGIC,
    copy_store,
    file_faults,
    is_database,
    loose_rows,
    recover,
)

Step = Callable[[str], None]
"""Hears the name of each step just done."""


def backup_store(store: Path, file: Path) -> str:
    """Write a complete copy of `store` to the new file `file`; returns what is damaged in it, empty when it is sound.

    A damaged store is copied byte for byte and marked as broken, so that nobody takes the copy for a good one.
    Raises StoreFault (the store is missing or newer), BadData (`file` is there already or cannot be).
    """
    require_file(store)
    damage = _damage(store) if is_database(store) else "it cannot be read as a database"
    # The backup that would be overwritten may be the only good one.
    if file.exists():
        raise BadData(f"{file} is there already", "name a new file: a backup replaces nothing")
    _require_folder(file)
    with store_faults(file):
        if damage:
            _copy_marked(store, file)
        else:
            _copy_to_new(store, file)
    # After the store: what it names is there by now, and one photograph more does no harm.
    bring(folder_of(store), folder_of(file))
    return damage


def _copy_marked(store: Path, file: Path) -> None:
    with part_file(file, mode=0o600) as part, os_faults(file):
        shutil.copyfile(store, part.path)
        with part.path.open("r+b") as copy:
            if copy.read(len(MAGIC)) == MAGIC:
                # Marked in the header, a copy of a damaged store opens nowhere, so nobody restores it by
                # mistake.
                copy.seek(APPLICATION_ID_AT)
                copy.write(BROKEN_ID.to_bytes(4, "big"))
        part.place()


@dataclass(frozen=True, slots=True)
class Restored:
    """Where the replaced store is kept, if there was one; what was carried over from it, if it could be read."""

    aside: Path | None = None
    carried: Carried = field(default_factory=Carried)
    lost: bool = False


def restore_store(
    file: Path, store: Path, *, now: datetime, rules: RuleSet, step: Step = lambda _: None
) -> Restored:
    """Put the backup `file` in the place of `store`, by one rename, with what must not be lost written into it before.

    `step` hears the name of each step just done. Raises StoreFault when `file` is not a sound straycell store, or `store`
    is in use; BadData when it cannot be put there.
    """
    # Checked before the store is touched: a bad backup must not cost the store that still works.
    _require_sound(file)
    if store.is_dir():
        raise StoreFault("is a folder", "name the file in it with --store", file=store, cure=Cure.OTHER_FILE)
    _require_folder(store)
    if store.exists() and store.samefile(file):
        raise BadData(f"{file} is the store itself", "name the backup to bring back")
    # Parts of killed runs are swept with the next part; their journals have names of their own and would
    # stay.
    _sweep_journals(store.parent)
    with part_file(store, mode=0o600) as part, store_faults(store), _held(store) as former:
        copy_store(file, part.path)
        step("copied")
        carried = Carried()
        if former is not None:
            carried = _carry(part.path, former, now, rules)
            step("carried")
        # Those of the replaced store stay in the folder: it is kept too, and may be brought back.
        bring(folder_of(file), folder_of(store))
        step("photographs")
        aside = _set_aside(store) if store.exists() else None
        step("set aside")
        part.place()
        step("placed")
    return Restored(aside, carried, former is not None and former.lost)


def _sweep_journals(folder: Path) -> None:
    """Journals of parts whose run was killed; the parts themselves go with the next one made."""
    for journal in folder.glob(".straycell-*.part-journal"):
        if not journal.with_name(journal.name.removesuffix("-journal")).exists():
            journal.unlink(missing_ok=True)


def _carry(path: Path, former: Former, now: datetime, rules: RuleSet) -> Carried:
    from straycell.store.writer import open_writer

    with open_writer(path, now=now, rules=rules, create=False) as writer:
        return writer.write(restore_into, former)


@contextmanager
def _held(store: Path) -> Iterator[Former | None]:
    """The store that is replaced, read under its write lock: nobody writes to it until it is replaced.

    None when there is none. One that cannot be read as a store is lost with all it knew, and needs no lock.
    """
    if not store.exists():
        yield None
        return
    # A lock needs a readable header; a file without one nobody can be writing through SQLite.
    if not is_database(store):
        yield Former(lost=True)
        return
    with connected(writing_engine(store)) as conn, conn.begin():
        try:
            readable = store_version(conn, store) == VERSION
        except StoreFault:
            readable = False
        yield read_former(conn) if readable else Former(lost=True)


def _set_aside(store: Path) -> Path:
    """A second name for the replaced store, so that its place is never empty; with its photographs and its journal."""
    aside = _free_name(store)
    journal = store.with_name(store.name + "-journal")
    # Its photographs too: it is a store that can be brought back or opened, and must be whole wherever it goes.
    share(folder_of(store), folder_of(aside))
    for source, target in ((store, aside), (journal, aside.with_name(aside.name + "-journal"))):
        if source.exists():
            second_name(source, target)
    # Left behind, SQLite would roll it back into the restored store.
    journal.unlink(missing_ok=True)
    # The copy holds what the store held: readable for its owner alone.
    aside.chmod(0o600)
    return aside


def _require_sound(path: Path) -> None:
    damage = _damage(path)
    if damage:
        raise StoreFault(
            f"is damaged: {damage}", "take another backup; see: straycell store check", file=path
        )


def _damage(path: Path) -> str:
    """What is wrong with the file itself, empty for a sound one. Raises StoreFault when it is not a store of ours."""
    with store_faults(path), connected(reading_engine(path)) as conn:
        recover(path, conn)
        with conn.begin():
            if store_version(conn, path) == 0:
                raise StoreFault("is empty", "there is nothing in it to copy", file=path)
            return next(iter([*file_faults(conn, 1), *loose_rows(conn)]), "")


def _require_folder(file: Path) -> None:
    if not file.parent.is_dir():
        raise BadData(f"the folder {file.parent} does not exist", "make it first, or name another")


def _copy_to_new(source: Path, file: Path) -> None:
    """Under another name first, so that `file` is either whole or not there."""
    with part_file(file, mode=0o600) as part:
        copy_store(source, part.path)
        part.place()


def _free_name(store: Path) -> Path:
    # Replaced stores are kept one beside the other: a second restore must not remove what the first set
    # aside.
    number = 1
    while (name := store.with_name(f"{store.name}.replaced-{number}")).exists():
        number += 1
    return name
