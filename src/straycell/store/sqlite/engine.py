"""Two engines on one SQLite file: one that cannot write, one that takes the write lock first and waits.

Rollback journal, not a write-ahead log: looking leaves no files behind and works in a read-only folder.
"""

import shlex
import sqlite3
import time
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from functools import cache, partial
from pathlib import Path
from typing import Any, TypeVar

from sqlalchemy import Connection, Dialect, Engine, create_engine, event, make_url
from sqlalchemy.exc import DBAPIError
from sqlalchemy.pool import NullPool
from sqlalchemy.util import LRUCache

from straycell.errors import Cure, StoreFault

T = TypeVar("T")
# A large import or merge holds the lock for seconds; failing earlier would lose what a person just typed.
BUSY_S = 30.0
"""How long a writer or reader waits for the lock before it gives up."""
HEARD_S = 0.2
"""Ctrl-C is heard between two calls of SQLite only (docs.python.org, signal), so none waits longer."""
SILENT_S = 2.0
"""How long a program waits before it says so: a person takes a longer silence for a hang (common practice)."""
WAITING: ContextVar[Callable[[Path], None]] = ContextVar("WAITING", default=lambda path: None)
"""Hears of a program that has waited for `SILENT_S`."""


def reading_engine(path: Path, *, any_thread: bool = False) -> Engine:
    """Read-only: creates no file, no journal; a connection of `any_thread` is used by one thread at a time.

    Raises StoreFault when there is no such file.
    """
    # SQLite would make an empty file under a mistyped name, and looking must change nothing.
    require_file(path)
    return _engine(path, "ro", "BEGIN", any_thread)


def writing_engine(path: Path, *, create: bool = False) -> Engine:
    """Reads and writes; every transaction begins with the write lock."""
    if not create:
        require_file(path)
    # IMMEDIATE: two transactions that read first and then write would deadlock, and one fail with
    # SQLITE_BUSY.
    return _engine(path, "rwc" if create else "rw", "BEGIN IMMEDIATE")


@contextmanager
def checking(path: Path) -> Iterator[Connection]:
    """Looks with all constraints in force, which a read-only connection skips in its checks; can write nothing."""
    require_file(path)
    with connected(_engine(path, "rw", "BEGIN")) as conn, conn.begin():
        # query_only keeps the promise that looking changes nothing.
        conn.exec_driver_sql("PRAGMA query_only = ON")
        yield conn


def require_file(path: Path) -> None:
    """Raise StoreFault unless `path` is a file."""
    with os_faults(path):
        if path.is_dir():
            raise StoreFault(
                "is a folder", "name the file in it with --store", file=path, cure=Cure.OTHER_FILE
            )
        if not path.exists():
            # With its name: alone, `store init` would make the usual store and this one still be missing.
            start = f"start one with: straycell --store {shlex.quote(str(path))} store init"
            raise StoreFault("does not exist", start, file=path, cure=Cure.OTHER_FILE)
        if not path.is_file():
            raise StoreFault(
                "is not a file but a device or a pipe",
                "name a file with --store",
                file=path,
                cure=Cure.OTHER_FILE,
            )


@contextmanager
def same_file(path: Path) -> Iterator[Callable[[], None]]:
    """Gives a check, for when the lock is held, that the file opened is still the one under this name.

    A restore renames another file into its place; what was written to the old one would be lost.
    """
    with os_faults(path):
        # Device and inode name the file itself; its path may name another one by the time the lock is
        # granted.
        before = path.stat()

    def require_same() -> None:
        with os_faults(path):
            now = path.stat()
        if (now.st_dev, now.st_ino) != (before.st_dev, before.st_ino):
            raise StoreFault("was replaced by a restore meanwhile", "run the command again", file=path)

    yield require_same


@contextmanager
def os_faults(path: Path) -> Iterator[None]:
    """Turn what the file system says of a path into a StoreFault."""
    try:
        yield
    except OSError as fault:
        raise StoreFault(
            f"cannot be reached: {fault.strerror}", "check the path and its permissions", file=path
        ) from fault


def raw_connection(path: Path, mode: str, any_thread: bool = False) -> sqlite3.Connection:
    """A bare SQLite connection in a URI mode (ro, rw, rwc), autocommit, foreign keys on."""
    uri = f"{path.absolute().as_uri()}?mode={mode}"
    made = sqlite3.connect(
        uri, uri=True, timeout=BUSY_S, isolation_level=None, check_same_thread=not any_thread
    )
    # SQLite leaves foreign keys off for each new connection (sqlite.org/foreignkeys.html).
    made.execute("PRAGMA foreign_keys = ON")
    # Without it REPLACE deletes rows past their delete triggers (sqlite.org/pragma.html).
    made.execute("PRAGMA recursive_triggers = ON")
    # Looking leaves no files behind, and a sort of SQLite's must not either.
    made.execute("PRAGMA temp_store = MEMORY")
    return made


def _engine(path: Path, mode: str, begin: str, any_thread: bool = False) -> Engine:
    dialect, compiled = _shared()
    creator: Any = partial(raw_connection, path, mode, any_thread)
    pool = NullPool(creator, dialect=dialect)
    engine = Engine(pool, dialect, make_url("sqlite://"), execution_options={"compiled_cache": compiled})

    @event.listens_for(engine, "begin")
    def take_lock(conn: Connection) -> None:
        if begin == "BEGIN IMMEDIATE":
            patiently(path, partial(_begin, conn))
        else:
            conn.exec_driver_sql(begin)

    return engine


def patiently(path: Path, ask: Callable[[float], T]) -> T:
    """What `ask` gives, asked until another program leaves the lock; said after a while in silence.

    `ask` gets the seconds that it may wait. Raises what it raised last when the lock stays taken.
    """
    begun, is_silent = time.monotonic(), True
    while True:
        try:
            return ask(min(HEARD_S, BUSY_S))
        except (DBAPIError, sqlite3.Error) as fault:
            waited_s = time.monotonic() - begun
            if sqlite_code(fault) & 0xFF != sqlite3.SQLITE_BUSY or waited_s >= BUSY_S:
                raise
        if is_silent and waited_s >= SILENT_S:
            is_silent = False
            WAITING.get()(path)


def _begin(conn: Connection, patience_s: float) -> None:
    be_patient(conn, patience_s)
    conn.exec_driver_sql("BEGIN IMMEDIATE")
    be_patient(conn)


def be_patient(conn: Connection, patience_s: float | None = None) -> None:
    """How long this connection waits for a lock from now on; as long as any, unless said."""
    milliseconds = round((BUSY_S if patience_s is None else patience_s) * 1000)
    conn.connection.cursor().execute(f"PRAGMA busy_timeout = {milliseconds}")


@cache
def _shared() -> tuple[Dialect, LRUCache[Any, Any]]:
    """What all engines of a process share: to compile a statement again for each took a third of a small write."""
    first = create_engine("sqlite://")
    with connected(first):  # the dialect asks the library for its version
        return first.dialect, LRUCache(500)


def dialect() -> Dialect:
    """How SQLite is spoken to, the same for all stores of a process."""
    return _shared()[0]


@contextmanager
def connected(engine: Engine) -> Iterator[Connection]:
    """One connection, closed for sure at the end."""
    conn = engine.connect()
    try:
        yield conn
    finally:
        conn.close()
        engine.dispose()


@contextmanager
def attached(conn: Connection, path: Path, name: str) -> Iterator[None]:
    """Another store's tables under `name.`, beside those of this connection; entered outside a transaction."""
    below(conn, "ATTACH ? AS " + name, str(path.absolute()))
    try:
        yield
    finally:
        below(conn, "DETACH " + name)


def below(conn: Connection, statement: str, *values: str) -> None:
    """Run a statement below SQLAlchemy's transaction: inside one SQLite attaches nothing and ignores some pragmas."""
    cursor = conn.connection.cursor()
    cursor.execute(statement, values)
    cursor.close()
    conn.rollback()


def define(conn: Connection, statements: Iterable[str]) -> None:
    """Run statements that define something, inside SQLAlchemy's transaction."""
    # Straight to SQLite: of 150 statements that make a store each would take twice as long by way of SQLAlchemy.
    cursor = conn.connection.cursor()
    for statement in statements:
        cursor.execute(statement)
    cursor.close()


@contextmanager
def foreign_keys_off(conn: Connection) -> Iterator[None]:
    """A table that is altered is copied and dropped; with foreign keys on that would fail."""
    below(conn, "PRAGMA foreign_keys = OFF")
    try:
        yield
    finally:
        below(conn, "PRAGMA foreign_keys = ON")


@contextmanager
def store_faults(path: Path) -> Iterator[None]:
    """Turn whatever SQLite says into a StoreFault that tells what to do."""
    try:
        yield
    except DBAPIError as fault:
        raise _told(path, fault.orig) from fault
    except sqlite3.Error as fault:
        raise _told(path, fault) from fault


_TOLD: dict[int, tuple[str, str, Cure | None]] = {
    sqlite3.SQLITE_BUSY: ("is locked by another program", "try again when it has finished", None),
    sqlite3.SQLITE_LOCKED: ("is locked by another program", "try again when it has finished", None),
    sqlite3.SQLITE_NOTADB: ("is not a straycell store", "name another file with --store", Cure.OTHER_FILE),
    sqlite3.SQLITE_CORRUPT: (
        "is damaged",
        "bring back a copy: straycell store restore FILE; without one: straycell store salvage BROKEN NEW",
        Cure.RESTORE,
    ),
    sqlite3.SQLITE_READONLY: ("cannot be written", "check the permissions of the file and its folder", None),
    sqlite3.SQLITE_CANTOPEN: ("cannot be opened", "check the path and its permissions", None),
    sqlite3.SQLITE_FULL: ("cannot grow: the disk is full", "make room; nothing was half-written", None),
    sqlite3.SQLITE_IOERR: ("cannot be read or written", "check the disk; nothing was half-written", None),
    sqlite3.SQLITE_CONSTRAINT: (
        "refused a row that breaks one of its guards",
        "nothing was written; please report this with --debug",
        None,
    ),
}


def _told(path: Path, fault: BaseException | None) -> StoreFault:
    code = getattr(fault, "sqlite_errorcode", None)
    what, remedy, cure = _TOLD.get(
        code & 0xFF if isinstance(code, int) else -1, ("failed", "run: straycell store check", None)
    )
    return StoreFault(f"{what} ({fault})", remedy, file=path, cure=cure)


def sqlite_code(fault: BaseException | None) -> int:
    """SQLite's extended error code of a driver or SQLAlchemy error, -1 when it has none."""
    inner = fault.orig if isinstance(fault, DBAPIError) else fault
    code = getattr(inner, "sqlite_errorcode", None)
    return code if isinstance(code, int) else -1
