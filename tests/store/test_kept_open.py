"""Readers that stay open: they see every write, hold up none, and notice that another file took the place."""

from __future__ import annotations

import os
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest
from tests.store.store_bench import NOW, Shelf

from straycell.errors import BadData, StoreFault
from straycell.store.backup import backup_store, restore_store
from straycell.store.quick.kept_open import MOST_IDLE, KeptReaders


def test_a_kept_reader_sees_each_write_and_holds_up_none(full: Shelf) -> None:
    """Between two looks nothing is locked; the second is of what was written since."""
    kept = KeptReaders(full.path)
    with kept.reading() as reader:
        before = reader.codes()
    for expected in (1, 2):
        full.cells(1)
        with kept.reading() as reader:
            assert len(reader.codes()) == len(before) + expected
    kept.close()


def test_a_restored_store_is_looked_at_and_not_the_replaced_one(full: Shelf, tmp_path: Path) -> None:
    """What stays open still shows the file that was renamed away."""
    backup = tmp_path / "backup.sqlite"
    backup_store(full.path, backup)
    kept = KeptReaders(full.path)
    with kept.reading() as reader:
        before = reader.codes()
    full.cells(2)
    with kept.reading() as reader:
        assert len(reader.codes()) == len(before) + 2
    restore_store(backup, full.path, now=NOW, rules=full.rules)
    with kept.reading() as reader:
        assert reader.codes() == before
    full.path.unlink()
    with pytest.raises(StoreFault, match="does not exist"), kept.reading():
        pass


def test_what_a_killed_writer_left_is_rolled_back_for_a_kept_reader_too(full: Shelf) -> None:
    """Its journal is found beside a store that was opened before."""
    kept = KeptReaders(full.path)
    with kept.reading() as reader:
        before = reader.codes()
    child = os.fork()
    if not child:
        with full.writing() as writer:
            writer._conn.exec_driver_sql("PRAGMA cache_size = 1")
            writer._conn.exec_driver_sql("PRAGMA cache_spill = 1")
            for number in range(300):
                writer.add_box(f"tin {number} " + "x" * 300)
            os._exit(0)
    os.waitpid(child, 0)
    journal = full.path.with_name(full.path.name + "-journal")
    assert journal.exists() and journal.stat().st_size > 0
    with kept.reading() as reader:
        assert reader.codes() == before and len(reader.boxes()) < 300
    assert not journal.exists()
    kept.close()


def test_many_threads_each_look_alone_and_few_stay_open(full: Shelf) -> None:
    """As the page's workers do; a refusal inside a look closes that reader and no other."""
    kept = KeptReaders(full.path)

    def look(number: int) -> int:
        with kept.reading() as reader, reader.snapshot():
            if number % 7 == 0:
                with pytest.raises(BadData):
                    reader.cell("A99999Z")
            return len(reader.cells())

    with ThreadPoolExecutor(12) as pool:
        assert set(pool.map(look, range(60))) == {3}
    assert len(kept._idle) <= MOST_IDLE
    kept.close()
    assert kept._idle == []
