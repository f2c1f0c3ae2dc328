"""Versions and migrations: models and migrations agree, newer stores are refused, guards come back."""

from __future__ import annotations

import os
import re
import sqlite3
import subprocess
import sys
from pathlib import Path

import pytest
from sqlalchemy import Connection
from tests.store.store_bench import CHILD_ENV, NOW, Shelf

from straycell.errors import StoreFault
from straycell.store.schema import create as schema
from straycell.store.schema.compare import schema_faults
from straycell.store.sqlite.engine import connected, writing_engine
from straycell.store.sqlite.guards import recreate_triggers


def normalised(path: Path) -> dict[tuple[str, str], str]:
    """Every table, index and trigger with its text, blanks and quotes aside; CHECKs are part of the text."""
    with sqlite3.connect(path) as conn:
        rows = conn.execute("SELECT type, name, sql FROM sqlite_master").fetchall()
    conn.close()
    return {(kind, name): re.sub(r'[\s"]+', "", sql or "").lower() for kind, name, sql in rows}


def migrated(path: Path) -> Path:
    """A store made by running every migration on an empty file."""
    with connected(writing_engine(path, create=True)) as door, door.begin():
        schema.upgrade(door)
    return path


def test_models_and_migrations_agree(shelf: Shelf, tmp_path: Path) -> None:
    """A migrated and a fresh store have the same tables, checks, indexes and triggers."""
    fresh = normalised(shelf.empty().path)
    assert normalised(migrated(tmp_path / "migrated.sqlite")) == fresh
    assert any("check(" in text for text in fresh.values())
    assert sum(kind == "trigger" for kind, _ in fresh) > 30


def test_a_new_store_is_laid_out_the_same_whatever_the_hash_seed(tmp_path: Path) -> None:
    """Tables and indexes in one order, so that two new stores can be compared."""
    orders = []
    for seed in ("1", "2"):
        path = tmp_path / f"{seed}.sqlite"
        subprocess.run(
            [sys.executable, "-m", "straycell", "--store", str(path), "store", "init"],
            check=True,
            capture_output=True,
            env={**CHILD_ENV, "PYTHONHASHSEED": seed},
        )
        with sqlite3.connect(path) as conn:
            orders.append(conn.execute("SELECT name FROM sqlite_master ORDER BY rowid").fetchall())
        conn.close()
    assert orders[0] == orders[1] and len(orders[0]) > 40


def test_a_migrated_store_carries_the_same_marks(shelf: Shelf, tmp_path: Path) -> None:
    """user_version, application_id and Alembic's own row."""
    marks = []
    for path in (shelf.empty().path, migrated(tmp_path / "migrated.sqlite")):
        with sqlite3.connect(path) as conn:
            marks.append(
                [conn.execute(f"PRAGMA {name}").fetchone() for name in ("user_version", "application_id")]
                + conn.execute("SELECT * FROM alembic_version").fetchall()
            )
        conn.close()
    assert (
        marks[0]
        == marks[1]
        == [(schema.VERSION,), (schema.APPLICATION_ID,), (schema.revision_of(schema.VERSION),)]
    )


def test_the_newest_migration_is_the_version_of_the_models() -> None:
    """Nobody adds a migration and forgets the number that reading checks."""
    from alembic.script import ScriptDirectory

    from straycell.store.schema.migrations.run import config_for

    heads = ScriptDirectory.from_config(config_for()).get_heads()
    assert heads == [schema.revision_of(schema.VERSION)]


def test_a_migration_puts_lost_triggers_back(full: Shelf) -> None:
    """Batch alteration copies a table and drops its triggers silently."""
    with full.bare() as conn:
        for name in ("reading_no_update", "event_no_delete"):
            conn.execute(f"DROP TRIGGER {name}")
        conn.execute("CREATE TRIGGER stray AFTER INSERT ON box BEGIN SELECT 1; END")
    with connected(writing_engine(full.path)) as door, door.begin():
        assert len(list(schema_faults(door))) == 3
        schema.upgrade(door)
        assert list(schema_faults(door)) == []
        names = door.exec_driver_sql("SELECT name FROM sqlite_master WHERE type = 'trigger'").scalars().all()
    assert "stray" not in names


def test_an_altered_trigger_is_noticed(full: Shelf) -> None:
    """A guard of the right name that guards nothing."""
    with full.bare() as conn:
        conn.execute("DROP TRIGGER reading_no_update")
        conn.execute("CREATE TRIGGER reading_no_update BEFORE UPDATE ON reading BEGIN SELECT 1; END")
    with full.reading() as reader:
        assert reader.check(full.rules) == ["the guard 'reading_no_update' is altered"]
    with connected(writing_engine(full.path)) as door, door.begin():
        recreate_triggers(door)
        assert list(schema_faults(door)) == []


def test_a_newer_store_is_refused_by_both_doors(full: Shelf) -> None:
    """What a later version wrote, this one cannot judge."""
    with full.bare() as conn:
        conn.execute(f"PRAGMA user_version = {schema.VERSION + 1}")
    for door in (full.reading, full.writing):
        with (
            pytest.raises(
                StoreFault, match=f"is of version {schema.VERSION + 1}, this straycell knows {schema.VERSION}"
            ) as caught,
            door(),
        ):
            pass
        assert "newer straycell" in caught.value.remedy


def test_an_older_store_is_refused_for_reading_and_migrated_by_writing(
    full: Shelf, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A made-up next version whose migration adds a table: reading asks for it, the next write runs it."""
    called: list[str] = []
    monkeypatch.setattr(schema, "VERSION", schema.VERSION + 1)

    def upgrade(conn: Connection) -> None:
        called.append("upgrade")
        schema.seal(conn)

    monkeypatch.setattr(schema, "upgrade", upgrade)
    older = pytest.raises(StoreFault, match=f"older version {schema.VERSION - 1}")
    with older as caught, full.reading():
        pass
    assert "straycell store upgrade" in caught.value.remedy
    with full.writing():
        pass
    assert called == ["upgrade"]
    with full.reading() as reader:
        assert len(reader.codes()) == 3


def test_an_upgrade_migrates_once_and_tells_both_versions(
    full: Shelf, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A made-up next version; the second upgrade finds nothing to do, and a missing store is not made."""
    monkeypatch.setattr(schema, "VERSION", schema.VERSION + 1)
    monkeypatch.setattr(schema, "upgrade", schema.seal)
    assert schema.bring_up(full.path, NOW) == (schema.VERSION - 1, schema.VERSION)
    assert schema.bring_up(full.path, NOW) == (schema.VERSION, schema.VERSION)
    with pytest.raises(StoreFault, match="does not exist"):
        schema.bring_up(full.path.with_name("absent.sqlite"), NOW)
    assert not full.path.with_name("absent.sqlite").exists()


INVENTED = """
from alembic import op
import sqlalchemy as sa

revision = "{new:04d}"
down_revision = "{old:04d}"


def upgrade() -> None:
    with op.batch_alter_table("upset", recreate="always") as table:
        table.add_column(sa.Column("loudness_db", sa.Float()))
"""


def test_a_store_is_brought_from_one_version_to_the_next(
    full: Shelf, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """An invented migration that makes a table again: rows, guards and the chain of writes are as before."""
    from straycell.store.schema.migrations import run

    old, new = schema.VERSION, schema.VERSION + 1
    (tmp_path / "next.py").write_text(INVENTED.format(old=old, new=new), encoding="utf-8")
    monkeypatch.setattr(run, "LOCATIONS", [*run.LOCATIONS, tmp_path])
    monkeypatch.setattr(schema, "VERSION", new)
    with full.bare() as conn:
        before = conn.execute("SELECT key, code, kind FROM upset").fetchall()
    assert schema.bring_up(full.path, NOW) == (old, new)
    with full.bare() as conn:
        assert (
            conn.execute("SELECT key, code, kind FROM upset WHERE loudness_db IS NULL").fetchall() == before
        )
        assert conn.execute("SELECT * FROM alembic_version").fetchall() == [(schema.revision_of(new),)]
    with full.reading() as reader:
        # The statements of a new store do not know the invented column; all else is as it should be.
        assert reader.check(full.rules) == ["the table 'upset' is altered"]
    with full.writing() as writer:
        writer.add_incident("drop", [writer.codes()[1]])


def test_a_store_of_the_trials_is_refused_with_what_to_do(full: Shelf) -> None:
    """Written before anything was released: it can be written out by what wrote it, and taken in as lists."""
    with full.bare() as conn:
        conn.execute(f"PRAGMA application_id = {schema.TRIAL_ID}")
        conn.execute("PRAGMA user_version = 4")
    for door in (full.reading, full.writing):
        with pytest.raises(StoreFault, match="by a trial version") as caught, door():
            pass
        assert "export" in caught.value.remedy


def test_a_migration_that_fails_changes_nothing(full: Shelf, monkeypatch: pytest.MonkeyPatch) -> None:
    """All of it is one transaction."""
    before = normalised(full.path)

    def half(conn: object) -> None:
        conn.exec_driver_sql("DROP TABLE upset")  # type: ignore[attr-defined]
        conn.exec_driver_sql("ALTER TABLE nothing ADD COLUMN x")  # type: ignore[attr-defined]

    monkeypatch.setattr(schema, "VERSION", schema.VERSION + 1)
    monkeypatch.setattr(schema, "upgrade", half)
    with pytest.raises(StoreFault), full.writing():
        pass
    assert normalised(full.path) == before


def test_alembic_is_imported_only_to_migrate(shelf: Shelf) -> None:
    """Making a store, writing and reading do without it."""
    script = (
        "import sys\n"
        "from datetime import datetime\n"
        "from pathlib import Path\n"
        "from straycell.acceptance import load_rules\n"
        "from straycell.store.reader import open_reader\n"
        "from straycell.store.writer import open_writer\n"
        f"path, now = Path({str(shelf.path)!r}), datetime.fromisoformat({NOW.isoformat()!r})\n"
        "with open_writer(path, now=now, rules=load_rules()) as w: w.add_box('tin')\n"
        "with open_reader(path) as r: r.boxes()\n"
        "print([m for m in ('alembic', 'pandas', 'numpy', 'qrcode') if m in sys.modules])\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", script], capture_output=True, text=True, check=True, env=CHILD_ENV
    )
    assert done.stdout == "[]\n"


@pytest.mark.skipif(os.name == "nt", reason="no such permissions")
def test_a_new_store_is_its_owners_alone_and_a_widened_one_stays_so(tmp_path: Path) -> None:
    """Whatever the umask; backups and replaced stores have that mode too, and a chmod of its owner is kept."""
    path = tmp_path / "own.sqlite"
    before = os.umask(0)
    try:
        schema.prepare(path, NOW, create=True, bench="A")
        assert path.stat().st_mode & 0o777 == 0o600
        path.chmod(0o660)
        schema.prepare(path, NOW, create=True, bench="A")
    finally:
        os.umask(before)
    assert path.stat().st_mode & 0o777 == 0o660
