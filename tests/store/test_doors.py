"""Opening a store: looking creates nothing, bad files are told apart, a write is whole or not at all."""

from __future__ import annotations

import os
import signal
import sqlite3
import subprocess
import sys
import threading
from collections.abc import Callable, Iterator
from datetime import datetime
from functools import partial
from pathlib import Path
from typing import Any

import pytest
from tests.acceptance.bench import NMC
from tests.store.store_bench import CHILD_ENV, NOW, Shelf, found, volts

from straycell.errors import BadData, StoreFault
from straycell.store.reader import open_reader
from straycell.store.sqlite import engine
from straycell.store.writer import open_writer


def files(folder: Path) -> dict[str, bytes]:
    """Every file below a folder with its content."""
    return {str(p.relative_to(folder)): p.read_bytes() for p in folder.rglob("*") if p.is_file()}


def test_reading_a_missing_store_creates_nothing(shelf: Shelf) -> None:
    """A mistyped path is told, not filled with an empty database."""
    with pytest.raises(StoreFault, match="does not exist") as caught, shelf.reading():
        pass
    assert "store init" in caught.value.remedy and caught.value.exit_code == 4
    assert files(shelf.path.parent) == {}


def test_what_all_engines_share_leaves_no_connection_open(monkeypatch: pytest.MonkeyPatch) -> None:
    """From Python 3.13 on a connection that was never closed warns when it is thrown away."""
    made: list[sqlite3.Connection] = []

    class Counted(sqlite3.Connection):
        def __init__(self, *args: Any, **more: Any) -> None:
            super().__init__(*args, **more)
            made.append(self)

    connect = partial(sqlite3.dbapi2.connect, factory=Counted)
    monkeypatch.setattr(sqlite3.dbapi2, "connect", connect)
    engine._shared.__wrapped__()
    assert made
    for each in made:
        with pytest.raises(sqlite3.ProgrammingError, match="closed"):
            each.execute("SELECT 1")


def test_writing_creates_only_when_allowed(shelf: Shelf) -> None:
    """Correcting or superseding needs a store that is there."""
    with pytest.raises(StoreFault, match="does not exist"), shelf.writing(create=False):
        pass
    assert files(shelf.path.parent) == {}
    with shelf.writing():
        pass
    assert list(files(shelf.path.parent)) == [shelf.path.name]


def test_reading_leaves_the_folder_as_it_was(full: Shelf) -> None:
    """No journal, no shared memory, not one byte changed by any question."""
    before = files(full.path.parent)
    with full.reading() as reader:
        code = reader.codes()[0]
        reader.verdicts(full.rules, NOW)
        reader.verdict(code, full.rules, NOW.replace(year=2031))
        reader.evidences()
        reader.history(code)
        reader.check(full.rules)
        assert files(full.path.parent) == before
    assert files(full.path.parent) == before


def test_a_reader_cannot_write_even_by_hand(full: Shelf) -> None:
    """The connection itself is read-only."""
    with pytest.raises(StoreFault, match="cannot be written"), full.reading() as reader, reader._conn.begin():
        reader._conn.exec_driver_sql("UPDATE bench SET letter = 'Z'")


def test_reading_works_in_a_read_only_folder(full: Shelf) -> None:
    """A store on a stick that is write-protected; root may write anywhere, so the mode is only half the test."""
    full.path.chmod(0o444)
    full.path.parent.chmod(0o555)
    try:
        with full.reading() as reader:
            assert len(reader.cells()) == 3
    finally:
        full.path.parent.chmod(0o755)
        full.path.chmod(0o644)


def _folder(path: Path) -> None:
    path.mkdir()


def _prose(path: Path) -> None:
    path.write_text("cells in the biscuit tin: 14\n" * 40)


def _empty(path: Path) -> None:
    path.touch()


def _other_database(path: Path) -> None:
    conn = sqlite3.connect(path)
    conn.execute("CREATE TABLE recipe (name)")
    conn.close()


def _versioned_elsewhere(path: Path) -> None:
    conn = sqlite3.connect(path)
    conn.execute("PRAGMA user_version = 1")
    conn.execute("CREATE TABLE recipe (name)")
    conn.close()


@pytest.mark.parametrize(
    ("make", "told"),
    [
        (_folder, "is a folder"),
        (_prose, "is not a straycell store"),
        (_empty, "is empty"),
        (_other_database, "of another kind"),
        (_versioned_elsewhere, "of another kind"),
    ],
)
def test_what_is_no_store_is_told_and_left_alone(
    shelf: Shelf, make: Callable[[Path], None], told: str
) -> None:
    """Each kind of wrong file has its own message, with what to do, through both doors."""
    make(shelf.path)
    before = files(shelf.path.parent)
    with pytest.raises(StoreFault, match=told) as caught, shelf.reading():
        pass
    assert caught.value.remedy
    if make is not _empty:  # an adding command fills an empty file
        with pytest.raises(StoreFault, match=told), shelf.writing():
            pass
    assert files(shelf.path.parent) == before


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="needs named pipes")
def test_a_pipe_is_no_store(shelf: Shelf) -> None:
    """Opening one would wait for ever."""
    os.mkfifo(shelf.path)
    for door in (shelf.reading, shelf.writing):
        with pytest.raises(StoreFault, match="device or a pipe"), door():
            pass


def test_a_name_the_system_cannot_take_is_told(shelf: Shelf) -> None:
    """Three hundred letters."""
    long = Shelf(shelf.path.with_name("x" * 300))
    for door in (long.reading, long.writing):
        with pytest.raises(StoreFault, match="cannot be reached"), door():
            pass


@pytest.mark.parametrize("name", ["50% of #7?.sqlite", "Zellen & mehr.sqlite", "ü b.sqlite", "a=b;c.sqlite"])
def test_any_file_name_will_do(shelf: Shelf, name: str) -> None:
    """Signs that mean something in an URI mean nothing here."""
    Shelf(shelf.path.with_name(name)).empty()
    assert list(files(shelf.path.parent)) == [name]


def test_two_who_make_the_store_at_once_make_one(shelf: Shelf) -> None:
    """Both writes are kept, whoever was first."""
    start = threading.Barrier(4)
    faults: list[BaseException] = []

    def make(name: str) -> None:
        try:
            start.wait(10)
            with shelf.writing() as writer:
                writer.add_box(name)
        except BaseException as fault:
            faults.append(fault)

    threads = [threading.Thread(target=make, args=(name,)) for name in "abcd"]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert faults == []
    with shelf.reading() as reader:
        assert [box.name for box in reader.boxes()] == list("abcd") and reader.check(shelf.rules) == []


def test_a_missing_folder_is_not_made_for_a_mistyped_path(shelf: Shelf) -> None:
    """Only the user's own data folder is made."""
    lost = Shelf(shelf.path.parent / "benhc" / "cells.sqlite")
    with pytest.raises(StoreFault, match="folder of store"), lost.writing():
        pass
    assert files(shelf.path.parent) == {}


def test_the_default_folder_is_made(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A newcomer's first command needs no mkdir."""
    path = tmp_path / "share" / "straycell" / "straycell.sqlite"
    monkeypatch.setattr("straycell.store.location.default_store_path", lambda: path)
    assert Shelf(path).empty().path.is_file()


@pytest.mark.parametrize("offset", [4096, 20000, 60000])
def test_a_damaged_store_is_told_not_traced(full: Shelf, offset: int) -> None:
    """Overwritten pages: a StoreFault or a fault from the check, never a raw database error."""
    with full.path.open("r+b") as file:
        file.seek(offset)
        file.write(b"\xff" * 8192)
    try:
        with full.reading() as reader:
            told = reader.check(full.rules)
    except StoreFault as fault:
        told = [fault.what]
        assert fault.remedy
    assert any("damaged" in line for line in told)


def test_a_truncated_store_is_told(full: Shelf) -> None:
    """The half that a full disk left."""
    with full.path.open("r+b") as file:
        file.truncate(30000)
    try:
        with full.reading() as reader:
            told = reader.check(full.rules)
    except StoreFault as fault:
        told = [fault.what]
    assert any("damaged" in line for line in told)


@pytest.fixture
def impatient(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(engine, "BUSY_S", 0.1)


@pytest.fixture
def locked(full: Shelf, impatient: None) -> Iterator[Shelf]:
    """Another program holds the file for itself."""
    with full.bare() as conn:
        conn.execute("BEGIN EXCLUSIVE")
        yield full
        conn.execute("ROLLBACK")


def test_a_locked_store_is_told_after_waiting(locked: Shelf) -> None:
    """Both doors give up with what to do."""
    for door in (locked.reading, locked.writing):
        with pytest.raises(StoreFault, match="locked") as caught, door():
            pass
        assert "try again" in caught.value.remedy


def test_a_writer_waits_for_another_to_finish(full: Shelf) -> None:
    """The lock is taken first, so two writers queue and both are kept."""
    inside, done = threading.Event(), threading.Event()

    def slow() -> None:
        with full.writing() as writer:
            writer.add_box("slow")
            inside.set()
            done.wait(0.3)

    thread = threading.Thread(target=slow)
    thread.start()
    inside.wait(10)
    with full.writing() as writer:
        assert [box.name for box in writer.boxes()] == ["drawer", "slow"]
        writer.add_box("quick")
    done.set()
    thread.join()
    with full.reading() as reader:
        assert [box.name for box in reader.boxes()] == ["drawer", "quick", "slow"]


def test_a_reader_inside_a_write_sees_the_last_whole_write(full: Shelf) -> None:
    """No lock is held between questions, and nothing half-written is seen."""
    with full.reading() as reader:
        with full.writing() as writer:
            writer.add_box("tin")
            assert [box.name for box in reader.boxes()] == ["drawer"]
        assert [box.name for box in reader.boxes()] == ["drawer", "tin"]


def test_an_exception_takes_everything_back(full: Shelf) -> None:
    """One `with` is one transaction: cells, readings, events, verdicts."""
    with full.reading() as reader:
        before = reader.info()
    with pytest.raises(BadData), full.writing() as writer:
        (cell,) = writer.add_cells(NMC)
        writer.add_readings([found(cell.code, 3.6)])
        writer.settle()
        writer.add_readings([volts(cell.code, 37.1)])
    with full.reading() as reader:
        assert reader.info() == before


def test_a_time_without_a_zone_is_refused(shelf: Shelf) -> None:
    """Whose noon it was would be anybody's guess."""
    naive = datetime(2026, 3, 1)  # noqa: DTZ001 - this is the fault that is tested
    with pytest.raises(BadData, match="no zone"), open_writer(shelf.path, now=naive, rules=shelf.rules):
        pass


_CUT_OFF = """
import sys, time
from datetime import datetime
from pathlib import Path
from straycell.acceptance import load_rules
from straycell.cells import CellFacts
from straycell.store.writer import open_writer
with open_writer(Path(sys.argv[1]), now=datetime.fromisoformat(sys.argv[2]), rules=load_rules()) as writer:
    writer._conn.exec_driver_sql("PRAGMA cache_size = 5")  # spills to the file long before the commit
    writer.add_cells(CellFacts(), count=2000)
    writer.add_box("half")
    print("ready", flush=True)
    time.sleep(60)
"""


@pytest.mark.skipif(not hasattr(signal, "SIGKILL"), reason="needs a signal that cannot be caught")
@pytest.mark.parametrize("next_door", ["reading", "writing"])
def test_a_killed_writer_leaves_nothing_half_written(full: Shelf, next_door: str) -> None:
    """Killed between statements with pages already in the file: the next to open it finds the last whole write."""
    with full.reading() as reader:
        before = reader.info()
    process = subprocess.Popen(
        [sys.executable, "-c", _CUT_OFF, str(full.path), NOW.isoformat()],
        stdout=subprocess.PIPE,
        env=CHILD_ENV,
    )
    assert process.stdout is not None
    assert process.stdout.readline() == b"ready\n"
    process.kill()
    process.wait()
    process.stdout.close()
    if next_door == "writing":
        with full.writing() as writer:
            assert [box.name for box in writer.boxes()] == ["drawer"]
    with open_reader(full.path) as reader:
        assert reader.info() == before
        assert reader.check(full.rules) == []
