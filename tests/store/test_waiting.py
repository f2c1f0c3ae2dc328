"""Several writers at once: they wait for each other, say so when it takes long, and none is refused."""

from __future__ import annotations

import subprocess
import sys
import time
from pathlib import Path

import pytest
from tests.acceptance.bench import NMC
from tests.store.store_bench import CHILD_ENV, NOW, Shelf

from straycell.errors import StoreFault
from straycell.store import engine

WRITER = """
import sys
from datetime import datetime
from pathlib import Path
from straycell.acceptance import load_rules
from straycell.cells import CellFacts
from straycell.store.writer import open_writer
rules, now = load_rules(), datetime.fromisoformat(sys.argv[2])
for _ in range(int(sys.argv[3])):
    with open_writer(Path(sys.argv[1]), now=now, rules=rules, create=False) as writer:
        writer.add_cells(CellFacts())
"""
WRITERS, EACH = 8, 5


def test_eight_writers_at_once_see_no_refusal_and_double_nothing(shelf: Shelf) -> None:
    """Each cell once, one chain, no fault."""
    shelf.empty()
    arguments = [sys.executable, "-c", WRITER, str(shelf.path), NOW.isoformat(), str(EACH)]
    running = [
        subprocess.Popen(arguments, env=CHILD_ENV, stderr=subprocess.PIPE, text=True) for _ in range(WRITERS)
    ]
    faults = [process.communicate()[1] for process in running]
    assert faults == [""] * WRITERS
    with shelf.reading() as reader:
        assert len(reader.codes()) == WRITERS * EACH
        assert reader.check(shelf.rules) == []


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
