"""The chain of writes: every hand edit and every removed row is named by the first write that does not fit."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest
from tests.acceptance.bench import NMC
from tests.store.spoiled import by_sql, past_guards
from tests.store.store_bench import NOW, Shelf, found

from straycell.errors import StoreFault
from straycell.store.backup import backup_store
from straycell.store.chain import CONTENT
from straycell.store.schema.models import METADATA
from straycell.store.sqlite.guards import FOR_LIFE
from straycell.store.writer import open_writer

EDITS = {
    "a value": "UPDATE reading SET value = value + 0.1 WHERE id = (SELECT max(id) FROM reading)",
    "a text in place of a number": "UPDATE reading SET value = '3.6 V' WHERE id = (SELECT max(id) FROM reading)",
    "a reason": "UPDATE supersession SET because = 'no reason'",
    "a removed reading": "DELETE FROM reading WHERE id = (SELECT max(id) FROM reading)",
    "a removed supersession": "DELETE FROM supersession",
    "a removed discard": "DELETE FROM condemnation",
    "a discard by hand": (
        "INSERT INTO condemnation (key, code, because, at_us, event_id) SELECT 'A-999', code, 'x', at_us, event_id "
        "FROM condemnation LIMIT 1"
    ),
    "what a cell was born with": "UPDATE cell SET born = '{}'",
    "the time of an event": "UPDATE event SET at_us = at_us - 1 WHERE id = (SELECT max(id) FROM event)",
    "who is on a hand-over": "DELETE FROM handover_cell",
    "a meter": "UPDATE meter SET voltage_gain = 0.5",
    "the key of a write": "UPDATE \"write\" SET key = replace(key, substr(key, 1, 1), 'x') WHERE id = 2",
}


@pytest.mark.parametrize("edit", EDITS.values(), ids=EDITS)
def test_a_hand_edit_is_named_with_its_write(full: Shelf, edit: str) -> None:
    """Past all guards, as another program can do it; the guards are put back and say nothing."""
    by_sql(edit, put_back=True)(full.path)
    with full.reading() as reader:
        faults = reader.check(full.rules)
    assert any(fault.startswith("write A-") and "by hand" in fault for fault in faults), faults


def test_writes_removed_from_the_end_are_missed(full: Shelf) -> None:
    """The bench counted them when it gave out their numbers."""
    full.cells(1)
    with past_guards(full.path, put_back=True) as conn:
        conn.execute("DELETE FROM cell WHERE event_id = (SELECT max(id) FROM event)")
        conn.execute("DELETE FROM event_cell WHERE event_id = (SELECT max(id) FROM event)")
        conn.execute("DELETE FROM verdict WHERE code NOT IN (SELECT code FROM cell)")
        conn.execute("DELETE FROM event WHERE id = (SELECT max(id) FROM event)")
        conn.execute('DELETE FROM "write" WHERE id = (SELECT max(id) FROM "write")')
    with full.reading() as reader:
        assert any("the last writes are missing: write A-4" in fault for fault in reader.check(full.rules))


def test_one_transaction_is_one_write_whatever_it_holds(shelf: Shelf) -> None:
    """Cells, readings and a discard in one go; looking and failing write nothing."""
    with shelf.writing() as writer:
        (cell,) = writer.add_cells(NMC)
        writer.add_readings([found(cell.code, 3.6)])
        writer.discard(cell.code, "sat on")
    with pytest.raises(ZeroDivisionError), shelf.writing() as writer:
        writer.add_cells(NMC)
        raise ZeroDivisionError
    with shelf.writing():
        pass
    with shelf.bare() as conn:
        rows = conn.execute('SELECT bench, number, verb, parents <> "" FROM "write" ORDER BY id').fetchall()
    assert rows == [("A", 1, "store-created", 0), ("A", 2, "cells-added", 1)]
    with shelf.writing(NOW) as writer:
        writer.add_cells(NMC)
    with shelf.bare() as conn:
        (last, before) = conn.execute('SELECT parents, key FROM "write" ORDER BY id DESC LIMIT 2').fetchall()
    assert last[0] == before[1]


def test_numbers_of_a_transaction_that_failed_are_given_out_again(shelf: Shelf) -> None:
    """Nothing was written under them; a number that stands anywhere is never given out twice."""
    (code,) = shelf.cells(1)
    with pytest.raises(ZeroDivisionError), shelf.writing() as writer:
        writer.add_readings([found(code, 3.6)])
        raise ZeroDivisionError
    (made,) = shelf.add(found(code, 3.7))
    assert str(made.id) == "A-1"


def test_a_backup_shows_what_a_store_has_lost(shelf: Shelf) -> None:
    """A store that only went on holds all of it; one that was put back by hand does not."""
    shelf.cells(1)
    copy, old = shelf.path.with_name("copy.sqlite"), shelf.path.with_name("old.sqlite")
    backup_store(shelf.path, old)
    shelf.add(found("A00002M", 3.6))
    backup_store(shelf.path, copy)
    shelf.cells(1)
    with shelf.reading() as reader:
        assert reader.lost_since(copy) == reader.lost_since(old) == []
    shutil.copyfile(old, shelf.path)
    with shelf.reading() as reader:
        (line,) = reader.lost_since(copy)
    assert line.startswith("write A-3 (readings-added") and "not in the store" in line


@pytest.mark.parametrize("name", ["the store itself", "another store"])
def test_only_a_backup_of_this_store_shows_what_it_has_lost(shelf: Shelf, tmp_path: Path, name: str) -> None:
    """Held against itself a store has lost nothing, and another bench's writes were never here."""
    shelf.cells(1)
    other = shelf.path
    if name == "another store":
        other = tmp_path / "other.sqlite"
        with open_writer(other, now=NOW, rules=shelf.rules, bench="B"):
            pass
    with shelf.reading() as reader, pytest.raises(StoreFault, match=name):
        reader.lost_since(other)


def test_every_column_of_a_record_counts_in_the_chain() -> None:
    """A column that is added and forgotten there could be edited unseen, and would not come along in a merge's check."""
    for name, columns in CONTENT.items():
        table = METADATA.tables[name]
        own = {"id", "event_id", "write_id", *(("raw",) if name == "trace" else ())}
        wanted = FOR_LIFE[name][:-1] if name in FOR_LIFE else [c.name for c in table.c if c.name not in own]
        assert sorted(columns) == sorted(wanted), name
    linked = {
        name
        for name, table in METADATA.tables.items()
        if {"event_id", "write_id"} & {c.name for c in table.c}
    }
    assert linked - {"event"} == set(CONTENT)
