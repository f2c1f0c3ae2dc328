"""`store check` falls last: whatever a hand or a disk did to a row, it is named and nothing fails inside."""

from __future__ import annotations

import pytest
from tests.store.spoiled import by_sql
from tests.store.store_bench import Shelf

BROKEN = {
    "a text in a number": ("UPDATE reading SET value = '3.6 V' WHERE key = 'A-2'", "reading A-2: value"),
    "no number at all": ("UPDATE reading SET at_us = NULL WHERE key = 'A-2'", "reading"),
    "the year 9999": (
        "UPDATE reading SET at_us = 253370764800000000 WHERE key = 'A-2'",
        "reading A-2: at_us",
    ),
    "an unknown look": (
        "UPDATE reading SET look = 'sparkling' WHERE quantity = 'look'",
        "'sparkling' is not",
    ),
    "an unknown stage": ("UPDATE cell SET stage = 'lost'", "cell A00002M: stage"),
    "an unknown chemistry": ("UPDATE cell SET chemistry = 'unobtainium'", "cell A00002M: chemistry"),
    "broken JSON of a birth": (
        "UPDATE cell SET born = '{' WHERE code = 'A00003K'",
        "cell A00003K: born is not JSON",
    ),
    "broken JSON of an event": ("UPDATE event SET detail = 'x' WHERE id = 2", "event 2: detail is not JSON"),
    "a broken verdict": (
        "UPDATE verdict SET body = '{}' WHERE id = (SELECT max(id) FROM verdict)",
        "verdict",
    ),
    "a better head": ("UPDATE verdict SET outcome = 'pack' WHERE outcome = 'discard'", "head of the verdict"),
    "a wrong project": ("UPDATE project SET body = 'name = '", "project 'gauge'"),
    "a counter set back": ("UPDATE bench SET last_reading = 1", "the bench counts only to 1"),
    "no bench": ("DELETE FROM bench", "bench is missing"),
    "a stage of its own": ("UPDATE cell SET stage = 'shelved' WHERE code = 'A00005G'", "cell A00005G"),
    "a strange trigger": ("CREATE TRIGGER x AFTER INSERT ON box BEGIN SELECT 1; END", "guard 'x' is not one"),
    "a strange table": ("CREATE TABLE notes (words)", "table 'notes' is not one"),
    "another index": (
        "DROP INDEX ix_reading_code_id;; CREATE INDEX ix_reading_code_id ON reading (id, code)",
        "index 'ix_reading_code_id' is altered",
    ),
    "a lost table": (
        "PRAGMA foreign_keys = OFF;; DROP TABLE finding_fell",
        "table 'finding_fell' is missing",
    ),
}


@pytest.mark.parametrize(("sql", "told"), BROKEN.values(), ids=BROKEN)
def test_what_is_broken_is_named(full: Shelf, sql: str, told: str) -> None:
    """With its row, past all guards; never an internal fault."""
    if "NULL" in sql:
        swap = "replace(sql, '    at_us INTEGER NOT NULL', '    at_us INTEGER')"
        by_sql(f"UPDATE sqlite_master SET sql = {swap} WHERE name = 'reading'")(full.path)
    by_sql(*sql.split(";; "), put_back=True)(full.path)
    with full.reading() as reader:
        faults = reader.check(full.rules)
    assert any(told in fault for fault in faults), faults


def test_looking_through_a_store_changes_nothing(full: Shelf) -> None:
    """The check opens it for writing, so that constraints count, and can write nothing."""
    before = full.path.read_bytes()
    with full.reading() as reader:
        assert reader.check(full.rules) == []
    assert full.path.read_bytes() == before
