"""Copies of a store: taken while others read it, checked before they count, put back without a gap."""

from __future__ import annotations

import sqlite3
import time
from collections.abc import Callable, Mapping
from contextlib import closing
from pathlib import Path
from typing import TYPE_CHECKING

from straycell.errors import BadData, StoreFault
from straycell.store.engine import BUSY_S, connected, raw_connection, reading_engine, recover, store_faults
from straycell.store.schema.create import store_version

if TYPE_CHECKING:
    from straycell.store.writer import Writer

_UNREADABLE = (sqlite3.SQLITE_NOTADB, sqlite3.SQLITE_CORRUPT)


def backup_store(store: Path, file: Path) -> None:
    """Write a complete, checked copy of `store` to the new file `file`.

    Raises StoreFault (the store is missing, damaged or newer), BadData (`file` is there already or cannot be).
    """
    _require_sound(store)
    if file.exists():
        raise BadData(f"{file} is there already", "name a new file: a backup replaces nothing")
    _require_folder(file)
    with store_faults(file):
        _copy_to_new(store, file)


def restore_store(file: Path, store: Path) -> Path | None:
    """Put the backup `file` in the place of `store`; returns where the former store was kept, if there was one.

    Raises StoreFault when `file` is no sound straycell store, or `store` is in use.
    """
    _require_sound(file)
    if store.is_dir():
        raise StoreFault(f"store {store} is a folder", "name the file in it with --store")
    if not store.exists():
        _require_folder(store)
        with store_faults(store):
            _copy_to_new(file, store)
        return None
    if store.samefile(file):
        raise BadData(f"{file} is the store itself", "name the backup to bring back")
    aside = _free_name(store)
    with store_faults(store):
        if _is_database(store):
            _copy_to_new(store, aside)
            with (
                closing(raw_connection(file, "ro")) as source,
                closing(raw_connection(store, "rw")) as target,
            ):
                source.backup(target, progress=_patience(store))
        else:
            _put_aside(store, aside)
            _copy_to_new(file, store)
    return aside


_REPLACED = "was out of use in the store that was replaced: "


def carry_discards(former: Mapping[str, str], writer: Writer) -> list[str]:
    """Discard what was out of use in the replaced store (why by code), and is in use in the restored one."""
    known, gone = set(writer.codes()), writer.out_of_use()
    carried = [code for code in former if code in known and code not in gone]
    for code in carried:
        why = former[code].removeprefix(_REPLACED) or "no reason stands there"
        writer.discard(code, _REPLACED + why)
    return carried


def _require_sound(path: Path) -> None:
    with store_faults(path), connected(reading_engine(path)) as conn:
        recover(path, conn)
        with conn.begin():
            if store_version(conn, path) == 0:
                raise StoreFault(f"store {path} is empty", "there is nothing in it to copy")
            lines = conn.exec_driver_sql("PRAGMA integrity_check(1)").scalars().all()
            loose = conn.exec_driver_sql("PRAGMA foreign_key_check").all()
    if lines != ["ok"] or loose:
        what = lines[0] if lines != ["ok"] else f"{len(loose)} rows point to nothing"
        raise StoreFault(
            f"store {path} is damaged: {what}", "take another backup; see: straycell store check"
        )


def _require_folder(file: Path) -> None:
    if not file.parent.is_dir():
        raise BadData(f"the folder {file.parent} does not exist", "make it first, or name another")


def _copy_to_new(source: Path, file: Path) -> None:
    """Under another name first, so that `file` is either whole or not there."""
    part = file.with_name(file.name + ".part")
    try:
        with closing(raw_connection(source, "ro")) as old, closing(raw_connection(part, "rwc")) as new:
            old.backup(new, progress=_patience(source))
        part.replace(file)
    except OSError as fault:
        raise StoreFault(
            f"{file} cannot be written: {fault.strerror}", "check the path and its permissions"
        ) from fault
    finally:
        part.unlink(missing_ok=True)


def _patience(path: Path) -> Callable[[int, int, int], None]:
    """SQLite's copy waits for ever on a locked file; this gives up as any other access does."""
    deadline = time.monotonic() + BUSY_S

    def give_up(status: int, remaining: int, total: int) -> None:
        if status in (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED) and time.monotonic() > deadline:
            raise StoreFault(f"store {path} is locked by another program", "try again when it has finished")

    return give_up


def _is_database(path: Path) -> bool:
    try:
        with closing(raw_connection(path, "rw")) as conn:
            return bool(conn.execute("PRAGMA quick_check(1)").fetchone() == ("ok",))
    except sqlite3.DatabaseError as fault:
        if fault.sqlite_errorcode & 0xFF in _UNREADABLE:
            return False
        raise


def _free_name(store: Path) -> Path:
    number = 1
    while (name := store.with_name(f"{store.name}.replaced-{number}")).exists():
        number += 1
    return name


def _put_aside(store: Path, aside: Path) -> None:
    """With its journal: left behind, SQLite would roll it back into the restored store."""
    store.replace(aside)
    journal = store.with_name(store.name + "-journal")
    if journal.exists():
        journal.replace(aside.with_name(aside.name + "-journal"))
