"""Making a store, telling its version, bringing an older one up to date.

The version is in the header of the file, so that reading needs no Alembic; it equals the newest migration.
"""

import os
from datetime import datetime
from pathlib import Path

from sqlalchemy import Connection

from straycell.cells import make_code
from straycell.errors import Cure, StoreFault
from straycell.store import chain
from straycell.store.column_values import to_us
from straycell.store.schema.tables import BENCH, EVENT
from straycell.store.sqlite.engine import (
    connected,
    define,
    foreign_keys_off,
    os_faults,
    reading_engine,
    require_file,
    store_faults,
    writing_engine,
)
from straycell.store.sqlite.file import bears, loose_rows, mark, marks, recover
from straycell.store.sqlite.guards import recreate_triggers

VERSION = 1
APPLICATION_ID = 0x53545243  # "STRC": marks the file as a straycell store
BROKEN_ID = 0x53545242  # "STRB": a copy of a store that was damaged when it was copied
TRIAL_ID = 0x53545259  # "STRY": stores of the trials, before anything was released
_ALEMBIC_TABLE = (
    "CREATE TABLE alembic_version "
    "(version_num VARCHAR(32) NOT NULL, CONSTRAINT alembic_version_pkc PRIMARY KEY (version_num))"
)


def revision_of(version: int) -> str:
    """The Alembic revision that brings a store to this version."""
    return f"{version:04d}"


def store_version(conn: Connection, path: Path) -> int:
    """The version of a store, 0 for an empty file. Raises StoreFault when it is something else or newer."""
    application, version, tables = marks(conn)
    if application == BROKEN_ID:
        raise StoreFault(
            "is the copy of a store that was damaged", "take an older backup: restore FILE", file=path
        )
    if application == TRIAL_ID:
        raise StoreFault(
            "was written by a trial version, which cannot be brought up to date",
            "write it out with that version (straycell export DIR), then import the lists into a new store",
            file=path,
        )
    if application != APPLICATION_ID and (tables or version or application):
        raise StoreFault(
            "is an SQLite file of another kind",
            "name a straycell store with --store",
            file=path,
            cure=Cure.OTHER_FILE,
        )
    # Zero is an empty file's; with tables in it, somebody or something has overwritten the header.
    if version < 0 or (version == 0 and tables):
        raise StoreFault(
            f"says version {version}, which no straycell wrote: its header was changed",
            "bring back a copy: straycell store restore FILE; without one: straycell store salvage BROKEN NEW",
            file=path,
            cure=Cure.RESTORE,
        )
    # A newer version may hold rules and columns that this one would silently drop.
    if version > VERSION:
        raise StoreFault(
            f"is of version {version}, this straycell knows {VERSION}",
            "install the newer straycell it was written with",
            file=path,
        )
    return version


def require_current(conn: Connection, path: Path) -> None:
    """Raise StoreFault unless the store can be read as it is."""
    version = store_version(conn, path)
    if version == 0:
        raise StoreFault(
            "is empty", "remove the empty file, then: straycell store init", file=path, cure=Cure.OTHER_FILE
        )
    if version < VERSION:
        raise StoreFault(
            f"is of the older version {version}",
            "bring it up to date with: straycell store upgrade",
            file=path,
            cure=Cure.UPGRADE,
        )


def prepare(path: Path, now: datetime, *, create: bool, bench: str) -> None:
    """Make the store when it is missing or empty, migrate it when it is older."""
    with os_faults(path):
        there = path.exists()
        if create and not there:
            make_code(bench, 0)  # refuses a letter that is none, before anything is made
        if not create or there:
            require_file(path)
        else:
            _make_room(path)
            # Where cells lie and who got them is nobody else's business; who shares a store widens it by chmod.
            os.close(os.open(path, os.O_CREAT | os.O_WRONLY, 0o600))
    if there and (bears(path, APPLICATION_ID, VERSION) or current_version(path) == VERSION):
        return
    with (
        store_faults(path),
        connected(writing_engine(path, create=create)) as conn,
        foreign_keys_off(conn),
        conn.begin(),
    ):
        version = store_version(conn, path)  # another process may have been first
        if version == 0 and not create:
            raise StoreFault(
                "is empty",
                "remove the empty file, then: straycell store init",
                file=path,
                cure=Cure.OTHER_FILE,
            )
        if version == 0:
            create_fresh(conn, now, bench)
        elif version < VERSION:
            upgrade(conn)


def bring_up(path: Path, now: datetime) -> tuple[int, int]:
    """Migrate an existing store where it is older: (its version before, its version now). Nothing else changes."""
    require_file(path)
    before = current_version(path)
    prepare(path, now, create=False, bench="A")
    return before, current_version(path)


def current_version(path: Path) -> int:
    """The version of an existing file, read without taking the write lock."""
    with store_faults(path), connected(reading_engine(path)) as conn:
        recover(path, conn)
        return store_version(conn, path)


def _make_room(path: Path) -> None:
    if not path.parent.is_dir():
        from straycell.store.location import default_store_path

        # Only our own data folder is made unasked: a mistyped path must not grow folders.
        if path != default_store_path():
            raise StoreFault(f"the folder of store {path} does not exist", f"make it first: {path.parent}")
        path.parent.mkdir(parents=True, exist_ok=True)


def create_fresh(conn: Connection, now: datetime, bench: str) -> None:
    """All tables, indexes and triggers of the newest version, the bench and the first write."""
    from straycell.store.schema.ddl import STATEMENTS

    # A fresh store looks as if all migrations had run, or the first upgrade would repeat them.
    define(conn, (*STATEMENTS, _ALEMBIC_TABLE))
    conn.exec_driver_sql("INSERT INTO alembic_version VALUES (?)", (revision_of(VERSION),))
    seal(conn)
    conn.execute(BENCH.insert().values(id=1, letter=bench, created_at_us=to_us(now)))
    first = chain.begin(conn)
    conn.execute(
        EVENT.insert().values(write_id=first.id, at_us=to_us(now), verb="store-created", subject=bench)
    )
    chain.close(conn, first)


def upgrade(conn: Connection) -> None:
    """Run the migrations that are missing, inside the caller's transaction, then put the triggers back."""
    from straycell.store.schema.migrations.run import upgrade_to

    upgrade_to(conn, revision_of(VERSION))
    # Foreign keys are off while tables are copied, so what broke meanwhile shows only here.
    if loose := loose_rows(conn):
        raise StoreFault(
            f"the migration left {len(loose)} rows without what they point to",
            "nothing was changed; report this",
        )
    seal(conn)


def seal(conn: Connection) -> None:
    """Triggers, and the marks that tell a straycell store and its version."""
    recreate_triggers(conn)
    mark(conn, APPLICATION_ID, VERSION)
