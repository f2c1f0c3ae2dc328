"""Several writers at once: they wait for each other, say so when it takes long, and none is refused."""

from __future__ import annotations

import shutil
import subprocess
import sys
import time
from pathlib import Path

import pytest
from tests.acceptance.bench import NMC
from tests.store.store_bench import NOW, Shelf, look

from straycell.cells import Look
from straycell.errors import BadData, StoreFault
from straycell.store.long_write import LONG_BYTES, write_long
from straycell.store.merge.take_in import merge_store
from straycell.store.sqlite import engine
from straycell.store.writer import Writer


def test_a_writer_that_waits_says_so_and_then_writes(shelf: Shelf, monkeypatch: pytest.MonkeyPatch) -> None:
    """Not at once: most waits are over before a person looks up."""
    shelf.empty()
    monkeypatch.setattr(engine, "SILENT_S", 0.2)
    heard: list[Path] = []
    token = engine.WAITING.set(heard.append)
    hold = "import sqlite3, sys, time; c = sqlite3.connect(sys.argv[1], isolation_level=None); "
    hold += "c.execute('BEGIN IMMEDIATE'); print('held', flush=True); time.sleep(float(sys.argv[2])); c.rollback()"
    with subprocess.Popen(
        [sys.executable, "-c", hold, str(shelf.path), "1"], stdout=subprocess.PIPE, text=True
    ) as holder:
        assert holder.stdout is not None and holder.stdout.readline() == "held\n"
        with shelf.writing() as writer:
            writer.add_cells(NMC)
    assert heard == [shelf.path]
    with shelf.writing() as writer:
        writer.add_cells(NMC)
    assert len(heard) == 1
    engine.WAITING.reset(token)


def test_others_write_while_a_long_write_is_at_work(shelf: Shelf) -> None:
    """The first time another program wrote meanwhile, so it is done again; nothing of either is lost or doubled."""
    codes, times = shelf.good_cells(2), [0]

    def act(writer: Writer) -> int:
        times[0] += 1
        writer.add_readings([look(codes[0], Look.LEAKING)])
        writer.discard(codes[1], "sat on")
        if times[0] == 1:
            shelf.cells(1)
        return times[0]

    done, _ = write_long(shelf.path, act, now=NOW, rules=shelf.rules, size_bytes=LONG_BYTES)
    assert done == times[0] == 2
    with shelf.reading() as reader:
        assert reader.check(shelf.rules) == []
        assert len(reader.codes()) == 3 and set(reader.out_of_use()) == set(codes)
        assert len([e for e in reader.history(codes[1]) if e.verb == "discarded"]) == 1
    assert [p.name for p in shelf.path.parent.iterdir()] == [shelf.path.name]


def test_a_long_write_that_is_never_alone_is_done_under_the_lock(shelf: Shelf) -> None:
    """It must come to an end; and one that fails leaves nothing."""
    (code,), times = shelf.good_cells(1), [0]

    def act(writer: Writer) -> None:
        times[0] += 1
        writer.add_readings([look(code, Look.CLEAN)])
        if times[0] < 3:
            shelf.cells(1)

    write_long(shelf.path, act, now=NOW, rules=shelf.rules, size_bytes=LONG_BYTES)
    with shelf.reading() as reader:
        assert times[0] == 3 and reader.check(shelf.rules) == [] and len(reader.codes()) == 3
    before = shelf.path.read_bytes()

    def fail(writer: Writer) -> None:
        writer.add_box("drawer")
        writer.discard("A00099X", "is not there")

    with pytest.raises(BadData):
        write_long(shelf.path, fail, now=NOW, rules=shelf.rules, size_bytes=LONG_BYTES)
    assert shelf.path.read_bytes() == before


def test_a_long_write_leaves_what_the_same_write_under_the_lock_leaves(full: Shelf) -> None:
    """Row for row in every table, on a store with builds and hand-overs in it."""
    other = Shelf(Path(shutil.copyfile(full.path, full.path.with_name("other.sqlite"))), full.rules)

    def act(writer: Writer) -> None:
        for code in writer.codes()[1:]:
            writer.add_readings([look(code, Look.SWOLLEN)])
        writer.dismantle("gauge")
        writer.close_handover(writer.handovers()[0].id)
        writer.set_aside_codes(3)
        writer.refresh_verdicts()

    write_long(full.path, act, now=NOW, rules=full.rules, size_bytes=LONG_BYTES)
    write_long(other.path, act, now=NOW, rules=full.rules, size_bytes=0)
    with full.bare() as one, other.bare() as two:
        assert list(one.iterdump()) == list(two.iterdump())


def test_a_writer_gives_up_at_last(shelf: Shelf, monkeypatch: pytest.MonkeyPatch) -> None:
    """With what to do."""
    shelf.empty()
    monkeypatch.setattr(engine, "SILENT_S", 0.1)
    monkeypatch.setattr(engine, "BUSY_S", 0.3)
    with shelf.bare() as conn:
        conn.execute("BEGIN IMMEDIATE")
        began = time.monotonic()
        with pytest.raises(StoreFault, match="locked by another program"), shelf.writing():
            pass
        assert 0.25 < time.monotonic() - began < 5


def test_a_long_merge_still_knows_the_store_it_stands_for(full: Shelf) -> None:
    """The copy is another file; merged with itself the store would say that nothing is new."""
    with pytest.raises(BadData, match="this store itself"):
        write_long(
            full.path,
            lambda writer: writer.write(merge_store, full.path),
            now=NOW,
            rules=full.rules,
            size_bytes=LONG_BYTES,
        )
