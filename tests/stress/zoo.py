"""Stores that are broken in every way: each command says so in plain words, and none makes it worse."""

from __future__ import annotations

import traceback
from collections.abc import Callable, Sequence
from functools import partial
from pathlib import Path

from tests.store.spoiled import NOT_STORES, by_sql, cut_off, overwritten
from tests.stress.rig import Rig, draw_plainly, rig

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
    # With no more stores than named defects each defect meets one line of three, and each line one defect of three.
    deal = 3 if count <= len(DEFECTS) else 1
    with rig(seed) as used:
        used.do("teardown", "add", "lamp", "--kind", "lamp")
        used.do(
            *["cell", "add", "--teardown", "AT1", "--form", "18650", "--chemistry", "nmc", "--count", "12"]
        )
        used.do(*["reading", "add", "A00002M", "--as-found-voltage", "3.7V", "--look", "clean"])
        whole = used.store.read_bytes()
        draw_plainly()
        _go_round(used, LOOKS, WRITES)  # nothing ails this one; and each child finds loaded what it needs
        for number in range(count):
            used.store.write_bytes(whole)
            if number < len(DEFECTS):
                DEFECTS[number](used.store)
            else:
                used.store.write_bytes(overwritten(whole, used.dice))
            # A child for each store: what the library under us does with it may end the process.
            looks, writes = LOOKS[number % deal :: deal], WRITES[number % deal :: deal]
            visited = used.end(used.start(partial(_visit, used, looks, writes)), 0.0)
            assert visited.code == 0, (number, visited)
            told += len(looks) + len(writes)
    return f"{count} broken stores, {told} answers, each in plain words"


def _visit(used: Rig, looks: Sequence[str], writes: Sequence[str]) -> int:
    try:
        _go_round(used, looks, writes)
    except BaseException:
        traceback.print_exc()
        return 99
    return 0


def _go_round(used: Rig, looks: Sequence[str], writes: Sequence[str]) -> None:
    for line in looks:
        before = used.store.read_bytes() if used.store.is_file() else b""
        used.here(*line.split())
        journal = used.store.with_name("bench.sqlite-journal")
        after = used.store.read_bytes() if used.store.is_file() else b""
        assert after == before or journal.exists(), ("looking changed the file", line)
        for name in ("a.pdf", "copy.sqlite", "new.sqlite"):
            (used.folder / name).unlink(missing_ok=True)
        for file in (used.folder / "out").glob("*"):
            file.unlink()
    for line in writes:
        used.here(*line.split())
    used.store.with_name("bench.sqlite-journal").unlink(missing_ok=True)
    if used.store.is_dir():
        used.store.rmdir()


def _folder(store: Path) -> None:
    store.unlink()
    store.mkdir()


def _strange_journal(store: Path) -> None:
    store.with_name(store.name + "-journal").write_bytes(b"\xd9\xd5\x05\xf9\x20\xa1\x63\xd7" + b"x" * 600)


DEFECTS: list[Callable[[Path], object]] = [
    *NOT_STORES,
    *(cut_off(0.1), cut_off(0.5), cut_off(0.99), _folder, _strange_journal),
    by_sql("PRAGMA user_version = 999"),
    by_sql("PRAGMA user_version = 1"),
    by_sql("PRAGMA user_version = -5"),
    by_sql("DROP TABLE verdict"),
    by_sql("DROP TABLE bench"),
    by_sql("DELETE FROM bench"),
    by_sql("UPDATE bench SET letter = 'xyz'"),
    by_sql("UPDATE cell SET stage = 'lost'"),
    by_sql("UPDATE cell SET chemistry = 'gold'"),
    by_sql("UPDATE cell SET form = 7"),
    by_sql("UPDATE cell SET code = 'NONSENSE' WHERE code = 'A00003X'"),
    by_sql("UPDATE reading SET value = 'much'"),
    by_sql("UPDATE reading SET value = NULL"),
    by_sql("UPDATE reading SET at_us = 9223372036854775807"),
    by_sql("UPDATE reading SET quantity = 'colour'"),
    by_sql("UPDATE reading SET look = 'shiny'"),
    by_sql("UPDATE verdict SET body = '{'"),
    by_sql("UPDATE verdict SET body = '[]'"),
    by_sql("UPDATE event SET detail = 'no json'"),
    by_sql("UPDATE event SET at_us = -9223372036854775808"),
    by_sql("UPDATE teardown SET found_on = 'soon'"),
    by_sql("DROP INDEX IF EXISTS reading_code"),
    by_sql(
        "CREATE TABLE other (x)", "CREATE TRIGGER odd AFTER INSERT ON cell BEGIN DELETE FROM reading; END"
    ),
]
