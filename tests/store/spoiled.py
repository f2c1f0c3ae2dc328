"""A store as damage or another program leaves it: past all guards, cut off, or with bytes overwritten."""

from __future__ import annotations

import random
import sqlite3
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager, suppress
from pathlib import Path

from straycell.store.sqlite.guards import trigger_statements

PAGE = 4096


@contextmanager
def past_guards(store: Path, *, put_back: bool = False) -> Iterator[sqlite3.Connection]:
    """A connection without triggers, checks and foreign keys; with `put_back` the guards are there again at the end."""
    with closing(sqlite3.connect(store, isolation_level=None)) as conn:
        for pragma in ("ignore_check_constraints = ON", "writable_schema = ON", "foreign_keys = OFF"):
            conn.execute(f"PRAGMA {pragma}")
        names = conn.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall()
        # One transaction: by itself each of the hundred would be written to the disk.
        conn.executescript("BEGIN;" + "".join(f'DROP TRIGGER "{name}";' for (name,) in names) + "COMMIT;")
        yield conn
        for statement in trigger_statements().values() if put_back else ():
            with suppress(sqlite3.OperationalError):  # of a table that was dropped
                conn.execute(statement)


def by_sql(*statements: str, put_back: bool = False) -> Callable[[Path], None]:
    """What runs these statements on a store, past its guards."""

    def spoil(store: Path) -> None:
        with past_guards(store, put_back=put_back) as conn:
            for statement in statements:
                conn.execute(statement)

    return spoil


def cut_off(share: float) -> Callable[[Path], object]:
    """What leaves this share of the file."""
    return lambda store: store.write_bytes(store.read_bytes()[: int(store.stat().st_size * share)])


def overwritten(whole: bytes, dice: random.Random) -> bytes:
    """The same with bytes, words, rows or pages overwritten in a few places or many."""
    raw = bytearray(whole)
    for _ in range(dice.choice((1, 3, 35))):
        place, length = dice.randrange(len(raw)), dice.choice((1, 4, 100, PAGE))
        length = min(length, len(raw) - place)
        raw[place : place + length] = dice.randbytes(length)
    return bytes(raw)


NOT_STORES: tuple[Callable[[Path], object], ...] = (
    lambda store: store.write_bytes(b""),
    lambda store: store.write_text("my notes\n" * 999),
    lambda store: store.write_bytes(b"SQLite format 3\0"),
)
"""Empty, prose, and a header without anything behind it."""
