"""The generated half of the schema is what the models say; and why it is generated and not worked out each time."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest
from sqlalchemy import Table
from sqlalchemy.dialects import sqlite
from tests.store.store_bench import CHILD_ENV, Shelf

from straycell.store.schema import tables
from straycell.store.schema.generate import FILES
from straycell.store.schema.models import METADATA

SQLITE = sqlite.dialect()
LIGHT = {table.name: table for table in vars(tables).values() if isinstance(table, Table)}


def test_every_table_of_the_schema_can_be_queried() -> None:
    """And no other."""
    assert set(LIGHT) == set(METADATA.tables)


@pytest.mark.parametrize("name", sorted(METADATA.tables))
def test_the_columns_are_those_of_the_schema(name: str) -> None:
    """Names, order, kinds, keys and defaults: a difference would read or write something else."""

    def described(table: Table) -> list[tuple[object, ...]]:
        return [
            (c.name, c.type.compile(SQLITE), c.primary_key, getattr(c.default, "arg", None))
            for c in table.columns
        ]

    assert described(LIGHT[name]) == described(METADATA.tables[name])


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.name)
def test_the_generated_files_are_what_the_models_say(path: Path) -> None:
    """After a change of the models: python -m straycell.store.schema.generate."""
    assert path.read_text(encoding="utf-8") == FILES[path]()


def test_reading_and_writing_load_no_library_they_can_do_without(shelf: Shelf) -> None:
    """They take longer to import than a cell to show."""
    (code,) = shelf.good_cells(1)
    script = f"""
import sys
from straycell.cli.app.app import main
main(["--store", {str(shelf.path)!r}, "cell", "show", {code!r}])
main(["--store", {str(shelf.path)!r}, "reading", "add", {code!r}, "--look", "clean"])
print([name for name in ("sqlmodel", "sqlalchemy.orm", "alembic", "pydantic", "rapidfuzz") if name in sys.modules])
"""
    done = subprocess.run([sys.executable, "-c", script], env=CHILD_ENV, capture_output=True, text=True)
    assert done.stdout.splitlines()[-1] == "[]", done.stdout + done.stderr
