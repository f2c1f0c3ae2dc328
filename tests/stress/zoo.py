"""Stores that are broken in every way: each command says so in plain words, and none makes it worse."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

from tests.stress.rig import Rig, rig

LOOKS = (
    *(
        "cell list",
        "cell show A00002M",
        "verdict list",
        "due",
        "store check",
        "store info",
        "stock",
        "export out",
    ),
    *("store backup copy.sqlite", "store salvage bench.sqlite new.sqlite", "completion words -- cell show A"),
)
WRITES = (
    "cell add --form 18650",
    "reading add A00002M --as-found-voltage 3.6V",
    "discard A00002Z --because dented",
    "label sheet --out a.pdf",
)


def run(count: int, seed: int) -> str:
    """`count` broken stores: every named defect, then bytes at random; a line that sums them up."""
    told = 0
    with rig(seed) as used:
        used.do("teardown", "add", "lamp", "--kind", "lamp")
        used.do(
            *["cell", "add", "--teardown", "AT1", "--form", "18650", "--chemistry", "nmc", "--count", "12"]
        )
        used.do(*["reading", "add", "A00002M", "--as-found-voltage", "3.7V", "--look", "clean"])
        whole = used.store.read_bytes()
        for number in range(count):
            used.store.write_bytes(whole)
            if number < len(DEFECTS):
                DEFECTS[number](used.store)
            else:
                _bytes_at_random(used)
            told += _visit(used)
    return f"{count} broken stores, {told} answers, each in plain words"


def _visit(used: Rig) -> int:
    for line in LOOKS:
        before = used.store.read_bytes() if used.store.is_file() else b""
        used.run(*line.split())
        journal = used.store.with_name("bench.sqlite-journal")
        after = used.store.read_bytes() if used.store.is_file() else b""
        assert after == before or journal.exists(), ("looking changed the file", line)
        for name in ("a.pdf", "copy.sqlite", "new.sqlite"):
            (used.folder / name).unlink(missing_ok=True)
        for file in (used.folder / "out").glob("*"):
            file.unlink()
    for line in WRITES:
        used.run(*line.split())
    used.store.with_name("bench.sqlite-journal").unlink(missing_ok=True)
    if used.store.is_dir():
        used.store.rmdir()
    return len(LOOKS) + len(WRITES)


def _bytes_at_random(used: Rig) -> None:
    raw = bytearray(used.store.read_bytes())
    for _ in range(used.dice.choice((1, 3, 30))):
        place = used.dice.randrange(len(raw))
        length = used.dice.choice((1, 4, 100, 4096))
        raw[place : place + length] = used.dice.randbytes(min(length, len(raw) - place))
    used.store.write_bytes(raw)


def _sql(*statements: str) -> Callable[[Path], object]:
    def apply(store: Path) -> None:
        with closing(sqlite3.connect(store, isolation_level=None)) as conn:
            conn.execute("PRAGMA writable_schema = ON")
            conn.execute("PRAGMA ignore_check_constraints = ON")
            for (name,) in conn.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall():
                conn.execute(f'DROP TRIGGER "{name}"')
            for statement in statements:
                conn.execute(statement)

    return apply


def _cut(share: float) -> Callable[[Path], object]:
    return lambda store: store.write_bytes(store.read_bytes()[: int(store.stat().st_size * share)])


def _folder(store: Path) -> None:
    store.unlink()
    store.mkdir()


def _strange_journal(store: Path) -> None:
    store.with_name(store.name + "-journal").write_bytes(b"\xd9\xd5\x05\xf9\x20\xa1\x63\xd7" + b"x" * 600)


DEFECTS: list[Callable[[Path], object]] = [
    lambda store: store.write_bytes(b""),
    lambda store: store.write_bytes(b"my notes\n"),
    lambda store: store.write_bytes(b"SQLite format 3\0"),
    *(_cut(0.1), _cut(0.5), _cut(0.99), _folder, _strange_journal),
    _sql("PRAGMA user_version = 999"),
    _sql("PRAGMA user_version = 1"),
    _sql("PRAGMA user_version = -5"),
    _sql("DROP TABLE verdict"),
    _sql("DROP TABLE bench"),
    _sql("DELETE FROM bench"),
    _sql("UPDATE bench SET letter = 'xyz'"),
    _sql("UPDATE cell SET stage = 'lost'"),
    _sql("UPDATE cell SET chemistry = 'gold'"),
    _sql("UPDATE cell SET form = 7"),
    _sql("UPDATE cell SET code = 'NONSENSE' WHERE code = 'A00003X'"),
    _sql("UPDATE reading SET value = 'much'"),
    _sql("UPDATE reading SET value = NULL"),
    _sql("UPDATE reading SET at_us = 9223372036854775807"),
    _sql("UPDATE reading SET quantity = 'colour'"),
    _sql("UPDATE reading SET look = 'shiny'"),
    _sql("UPDATE verdict SET body = '{'"),
    _sql("UPDATE verdict SET body = '[]'"),
    _sql("UPDATE event SET detail = 'no json'"),
    _sql("UPDATE event SET at_us = -9223372036854775808"),
    _sql("UPDATE teardown SET found_on = 'soon'"),
    _sql("DROP INDEX IF EXISTS reading_code"),
    _sql("CREATE TABLE other (x)", "CREATE TRIGGER odd AFTER INSERT ON cell BEGIN DELETE FROM reading; END"),
]
