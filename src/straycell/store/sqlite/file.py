"""The file as such: its marks and definitions, whether it is whole, and copies of it."""

import sqlite3
import time
from collections.abc import Callable, Iterable
from contextlib import closing
from pathlib import Path
from typing import NamedTuple

from sqlalchemy import Connection
from sqlalchemy.exc import DBAPIError

from straycell.errors import StoreFault
from straycell.store.sqlite.engine import (
    BUSY_S,
    be_patient,
    patiently,
    raw_connection,
    sqlite_code,
    store_faults,
)

MAGIC = b"SQLite format 3\0"
APPLICATION_ID_AT = 68  # sqlite.org/fileformat2.html, the database header
READ_FAULTS = (DBAPIError, sqlite3.Error)
"""What reading a damaged file raises."""
_UNREADABLE = (sqlite3.SQLITE_NOTADB, sqlite3.SQLITE_CORRUPT)
_HOT_JOURNAL = (sqlite3.SQLITE_READONLY_ROLLBACK, sqlite3.SQLITE_READONLY_RECOVERY, sqlite3.SQLITE_CANTOPEN)


# --- marks and definitions -------------------------------------------------------------------------


class Marks(NamedTuple):
    """What the header says: whose file it is, and its version; how much is defined in it."""

    application: int
    version: int
    definitions: int


def marks(conn: Connection) -> Marks:
    """The marks of a file: they answer for every kind of file without knowing a table."""
    asked = "application_id, user_version, (SELECT count(*) FROM sqlite_master)"
    found = conn.exec_driver_sql(f"SELECT {asked} FROM pragma_application_id, pragma_user_version").one()
    return Marks(*map(int, found))


def bears(path: Path, application: int, version: int) -> bool:
    """Whether a file has these marks; False where a killed writer's journal has to be rolled back first."""
    # The header alone takes a twentieth of the time of reading what is defined, and each write asks.
    with store_faults(path), closing(raw_connection(path, "ro")) as conn:

        def look(patience_s: float) -> list[tuple[int]]:
            conn.execute(f"PRAGMA busy_timeout = {round(patience_s * 1000)}")
            return [conn.execute(f"PRAGMA {name}").fetchone() for name in ("application_id", "user_version")]

        try:
            found = patiently(path, look)
        except sqlite3.Error as fault:
            if sqlite_code(fault) not in _HOT_JOURNAL:
                raise
            return False
    return found == [(application,), (version,)]


def mark(conn: Connection, application: int, version: int) -> None:
    """Write the marks."""
    conn.exec_driver_sql(f"PRAGMA application_id = {application}")
    conn.exec_driver_sql(f"PRAGMA user_version = {version}")


def definitions(conn: Connection) -> dict[tuple[str, str], str]:
    """The statement of each table, index and trigger, by kind and name."""
    rows = conn.exec_driver_sql("SELECT type, name, sql FROM sqlite_master WHERE sql IS NOT NULL")
    return {(kind, name): sql for kind, name, sql in rows.all()}


def first_pages(statements: Iterable[str]) -> dict[str, int]:
    """The first page of each table in a file that is made by these statements."""
    with closing(sqlite3.connect(":memory:")) as conn:
        for statement in statements:
            conn.execute(statement)
        return dict(conn.execute("SELECT name, rootpage FROM sqlite_master WHERE type = 'table'"))


# --- is it whole -----------------------------------------------------------------------------------


def file_faults(conn: Connection, most: int) -> list[str]:
    """What is wrong with pages, indexes and, unless the connection is read-only, values; at most so many lines."""
    lines = conn.exec_driver_sql(f"PRAGMA integrity_check({most})").scalars().all()
    return [line for line in lines if line != "ok"]


def loose_rows(conn: Connection) -> list[str]:
    """Rows that point to what is not there."""
    rows = conn.exec_driver_sql("PRAGMA foreign_key_check").all()
    return [f"row {row} of {table} points to a row of {of} that is not there" for table, row, of, _ in rows]


def is_database(path: Path) -> bool:
    """Whether a file can be read as a database. Raises what SQLite says of one that is locked or out of reach."""
    if path.stat().st_size == 0:
        return False
    try:
        with closing(raw_connection(path, "rw")) as conn:
            return bool(conn.execute("PRAGMA quick_check(1)").fetchone() == ("ok",))
    except sqlite3.DatabaseError as fault:
        # Busy or unreadable by permission is not damage: such a store must not be called lost.
        if fault.sqlite_errorcode & 0xFF in _UNREADABLE:
            return False
        raise


# --- journals and copies ---------------------------------------------------------------------------


def recover(path: Path, conn: Connection) -> None:
    """Finish what a killed writer left: a hot journal can only be rolled back by a connection that may write.

    Nothing is created by it; the file goes back to the last complete write.
    """

    def look(patience_s: float) -> None:
        be_patient(conn, patience_s)
        with conn.begin():
            conn.exec_driver_sql("SELECT count(*) FROM sqlite_master")
        be_patient(conn)

    try:
        patiently(path, look)
    # A read-only connection may not roll a hot journal back (sqlite.org/lockingv3.html), so a writing one
    # does it.
    except DBAPIError as fault:
        if sqlite_code(fault) not in _HOT_JOURNAL:
            raise
        conn.rollback()
        be_patient(conn)
        with closing(raw_connection(path, "rw")) as other:
            other.execute("BEGIN IMMEDIATE")
            other.execute("ROLLBACK")


def roll_back(path: Path) -> None:
    """Let a journal beside a file put it back, if it still can."""
    try:
        with closing(raw_connection(path, "rw")) as conn:
            conn.execute("SELECT count(*) FROM sqlite_master")
    except sqlite3.Error:
        pass  # then the file is read as it is


def copy_store(source: Path, target: Path) -> None:
    """Copy one complete state of a store into an empty file. Raises StoreFault when it stays locked."""
    # SQLite's own backup copies a consistent state while others read (sqlite.org/backup.html); a file copy
    # may not.
    with closing(raw_connection(source, "ro")) as old, closing(raw_connection(target, "rw")) as new:
        old.backup(new, progress=_patience(source))


def _patience(path: Path) -> Callable[[int, int, int], None]:
    """SQLite's copy waits for ever on a locked file; this gives up as any other access does."""
    deadline = time.monotonic() + BUSY_S

    def give_up(status: int, remaining: int, total: int) -> None:
        if status in (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED) and time.monotonic() > deadline:
            raise StoreFault("is locked by another program", "try again when it has finished", file=path)

    return give_up
