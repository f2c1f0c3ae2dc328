"""What the database itself refuses, whoever writes to the file (SQLite: lang_conflict, lang_createtrigger)."""

from __future__ import annotations

import sqlite3

import pytest
from tests.acceptance.bench import FINE
from tests.store.store_bench import NOW, Shelf

from straycell.store.sqlite.guards import APPEND_ONLY, FOR_LIFE, trigger_statements


@pytest.fixture
def full(full: Shelf) -> Shelf:
    """The full store with a photograph, whose file lies beside it and so is not copied with others."""
    with full.writing() as writer:
        writer.add_photograph(writer.codes()[0], b"\xff\xd8\xff")
    return full


def _refused(shelf: Shelf, sql: str, *values: object) -> str:
    with shelf.bare() as conn, pytest.raises(sqlite3.IntegrityError) as caught:
        conn.execute(sql, values)
    return str(caught.value)


def _first_row(shelf: Shelf, table: str) -> dict[str, object]:
    with shelf.bare() as conn:
        conn.row_factory = sqlite3.Row
        row = conn.execute(f'SELECT * FROM "{table}" ORDER BY 1 LIMIT 1').fetchone()
        assert row is not None, f"the full store has no row in {table}"
        return dict(row)


@pytest.mark.parametrize("table", APPEND_ONLY)
def test_append_only_rows_cannot_be_updated_or_deleted(full: Shelf, table: str) -> None:
    """History stays: no column of a row can be changed, no row removed."""
    row = _first_row(full, table)
    for column in row:
        assert "never changed" in _refused(full, f'UPDATE "{table}" SET {column} = {column}')
    assert "never removed" in _refused(full, f"DELETE FROM {table}")
    assert _first_row(full, table) == row


@pytest.mark.parametrize("verb", ["INSERT", "INSERT OR REPLACE", "INSERT OR IGNORE", "REPLACE"])
@pytest.mark.parametrize("table", [*APPEND_ONLY, *FOR_LIFE])
def test_an_existing_row_cannot_be_inserted_over(full: Shelf, table: str, verb: str) -> None:
    """INSERT OR REPLACE removes the old row without a delete trigger; the insert itself is refused."""
    row = _first_row(full, table)
    marks = ", ".join("?" * len(row))
    told = _refused(full, f'{verb} INTO "{table}" ({", ".join(row)}) VALUES ({marks})', *row.values())
    assert "never replaced" in told
    assert _first_row(full, table) == row


def test_a_reading_cannot_be_replaced_through_its_number_for_life(full: Shelf) -> None:
    """A second key of a row is as good a door for REPLACE as its first."""
    row = _first_row(full, "reading") | {"id": 999, "value": 3.9}
    sql = f"REPLACE INTO reading ({', '.join(row)}) VALUES ({', '.join('?' * len(row))})"
    assert "never replaced" in _refused(full, sql, *row.values())


@pytest.mark.parametrize("table", FOR_LIFE)
def test_what_holds_for_life_cannot_be_changed_or_removed(full: Shelf, table: str) -> None:
    """A cell keeps its code, a build its cells; their state may move on."""
    for column in FOR_LIFE[table]:
        assert "for life" in _refused(full, f'UPDATE "{table}" SET {column} = {column}')
    assert "never removed" in _refused(full, f"DELETE FROM {table}")


def test_an_upsert_on_a_reading_is_refused(full: Shelf) -> None:
    """ON CONFLICT DO UPDATE is an insert of an existing number."""
    row = _first_row(full, "reading")
    sql = (
        f"INSERT INTO reading ({', '.join(row)}) VALUES ({', '.join('?' * len(row))}) "
        "ON CONFLICT (id) DO UPDATE SET value = 4.2"
    )
    assert "never replaced" in _refused(full, sql, *row.values())


@pytest.mark.parametrize(
    ("column", "value"),
    [
        ("quantity", "weight"),
        ("code", "a00001o"),
        ("code", "A0001O"),
        ("value", 5.01),
        ("value", -5.01),
        ("value", "3.7V"),
        ("value", None),
        ("value", float("inf")),
        ("temperature_c", 251.0),
        ("temperature_c", "warm"),
        ("rested_s", -1.0),
        ("where_taken", "somewhere"),
        ("method", "guess"),
        ("cutoff_v", 5.5),
        ("pulse_s", 0.0),
        ("as_group", 2),
        ("look", "clean"),
        ("charge_current_a", 1.0),
        ("at_us", int(NOW.timestamp() * 1e6) + 1),
        ("at_us", 0),
        ("recorded_at_us", "yesterday"),
    ],
)
def test_a_reading_out_of_range_is_refused_by_the_table(full: Shelf, column: str, value: object) -> None:
    """CHECKs repeat what validation said, for whoever comes without it."""
    row = _first_row(full, "reading") | {"id": 999, "key": "A-999"}
    row[column] = value
    sql = f"INSERT INTO reading ({', '.join(row)}) VALUES ({', '.join('?' * len(row))})"
    assert "CHECK constraint failed" in _refused(full, sql, *row.values())


def test_the_row_that_is_varied_is_taken_when_nothing_is_wrong(full: Shelf) -> None:
    """Else the checks above would pass for any other reason."""
    row = _first_row(full, "reading") | {"id": 999, "key": "A-999"}
    with full.bare() as conn:
        conn.execute(
            f"INSERT INTO reading ({', '.join(row)}) VALUES ({', '.join('?' * len(row))})", list(row.values())
        )
        assert conn.execute("SELECT count(*) FROM reading WHERE id = 999").fetchone() == (1,)


@pytest.mark.parametrize(
    "sql",
    [
        "UPDATE cell SET stage = 'lost'",
        "UPDATE project SET state = 'forgotten'",
        "UPDATE project SET priority = -1",
        "UPDATE build SET state = 'half'",
        "UPDATE bench SET letter = 'a'",
        "UPDATE bench SET last_cell = 100000",
        "UPDATE teardown SET objects = 0",
        "UPDATE teardown SET title = '  '",
        "INSERT INTO bench SELECT 2, letter, 0, 0, 0, 0, 0, 0, 0, '', created_at_us FROM bench",
        "INSERT INTO box VALUES ('A-99', 'tin', '', -5.0, 1)",
        "INSERT INTO box VALUES ('tin', 'tin', '', 5.0, 1)",
    ],
)
def test_words_and_ranges_of_other_tables_are_checked(full: Shelf, sql: str) -> None:
    """Stages, states, numbers: only what the trade knows."""
    assert "CHECK constraint failed" in _refused(full, sql)


BUILD_AGAIN = (
    "INSERT INTO build SELECT 'A-77', {}, 'reserved', '', reserved_at_us, NULL, NULL, event_id FROM build"
)


def test_a_cell_is_live_in_one_build_only(full: Shelf) -> None:
    """The partial unique index, against a writer who forgets to look."""
    with full.bare() as conn:
        conn.execute(
            "INSERT INTO project SELECT 'A-78', 'second', body, 1, NULL, state, born, added_at_us, event_id FROM project"
        )
        conn.execute(BUILD_AGAIN.format("'A-78'"))
        insert = "INSERT INTO build_cell SELECT 'A-77', 0, 0, code, ?, event_id FROM build_cell"
        with pytest.raises(sqlite3.IntegrityError, match="UNIQUE"):
            conn.execute(insert, (1,))
        conn.execute(insert, (0,))


def test_a_project_has_one_live_build(full: Shelf) -> None:
    """Two reservations for one device would hold twice the cells."""
    assert "UNIQUE" in _refused(full, BUILD_AGAIN.format("project"))


def test_foreign_keys_are_on_for_every_connection_of_ours(full: Shelf) -> None:
    """SQLite switches them off for each new connection unless told."""
    for _ in range(2):
        with full.reading() as reader:
            assert reader._conn.exec_driver_sql("PRAGMA foreign_keys").scalar_one() == 1
        with full.writing() as writer:
            assert writer._conn.exec_driver_sql("PRAGMA foreign_keys").scalar_one() == 1
            assert writer._conn.exec_driver_sql("PRAGMA journal_mode").scalar_one() == "delete"


def test_every_guard_stands_in_the_file(full: Shelf) -> None:
    """Names and texts as they are made here."""
    with full.bare() as conn:
        made = dict(conn.execute("SELECT name, sql FROM sqlite_master WHERE type = 'trigger'"))
    assert made == trigger_statements()


def test_meters_cannot_be_sharpened_afterwards(full: Shelf) -> None:
    """A reading keeps the uncertainty it was taken with."""
    assert "never changed" in _refused(full, "UPDATE meter SET voltage_gain = 0 WHERE name = ?", FINE.name)
