"""Export: everything as plain text, read back here with Python's own csv module."""

from __future__ import annotations

import csv
import errno
import os
from datetime import datetime
from pathlib import Path

import pytest
from sqlalchemy import Connection, Select
from tests.store.store_bench import Shelf

from straycell.errors import BadData
from straycell.readings import Reading
from straycell.store.exchange import export
from straycell.store.schema.models import METADATA

_INNER = {
    "bench",
    "event_cell",
    "blank_code",
}  # numbering and links


def _rows(file: Path) -> list[dict[str, str]]:
    with file.open(newline="", encoding="utf-8") as text:
        return list(csv.DictReader(text))


def test_an_export_holds_every_table_and_every_row(full: Shelf, tmp_path: Path) -> None:
    """Row counts against the database itself."""
    with full.reading() as reader:
        files = {file.stem: file for file in reader.export_dir(tmp_path / "out")}
    names = {"box": "boxes", "condemnation": "discards", "finding_fell": "findings_fell"}
    with full.bare() as conn:
        for table in set(METADATA.tables) - _INNER:
            (count,) = conn.execute(f'SELECT count(*) FROM "{table}"').fetchone()
            assert len(_rows(files[names.get(table, table + "s")])) == count, table


def test_cells_and_readings_stand_as_they_were_recorded(full: Shelf, tmp_path: Path) -> None:
    """Figures to the last bit, times with their zone, a superseded reading with its mistake."""
    with full.reading() as reader:
        reader.export_dir(tmp_path / "out")
        cells = {cell.code: cell for cell in reader.cells()}
        records = {r.item.key: r for code in cells for r in reader.recorded(code)}
    for row in _rows(tmp_path / "out" / "cells.csv"):
        cell = cells.pop(row["code"])
        assert (row["stage"], row["chemistry"], row["form"]) == (
            cell.stage,
            cell.facts.chemistry,
            cell.facts.form,
        )
        assert float(row["rated_capacity_ah"]) == cell.facts.rated_capacity_ah
        assert datetime.fromisoformat(row["added_at"]) == cell.added_at
    for row in _rows(tmp_path / "out" / "readings.csv"):
        record = records.pop(row["key"])
        assert (row["code"], row["mistake"]) == (record.item.cell, record.mistake)
        assert datetime.fromisoformat(row["at"]) == record.item.at
        if isinstance(record.item, Reading):
            assert (float(row["value"]) if row["value"] else None) == record.item.value
    assert not cells and not records


def test_an_export_overwrites_nothing(full: Shelf, tmp_path: Path) -> None:
    """A folder with something in it, or a file of that name."""
    (tmp_path / "out").mkdir()
    with full.reading() as reader:
        reader.export_dir(tmp_path / "out")
        for taken in (tmp_path / "out", full.path):
            with pytest.raises(BadData, match="already"):
                reader.export_dir(taken)


def test_an_export_that_fails_leaves_nothing(
    full: Shelf, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """No folder with half of the tables: the disk fills up at the last of them."""
    real = export._write

    def write(conn: Connection, query: Select[tuple[object, ...]], file: Path) -> Path:
        if file.stem == "events":
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC), str(file))
        return real(conn, query, file)

    monkeypatch.setattr(export, "_write", write)
    before = sorted(tmp_path.iterdir())
    with full.reading() as reader, pytest.raises(BadData, match="No space left"):
        reader.export_dir(tmp_path / "out")
    assert sorted(tmp_path.iterdir()) == before


def test_an_export_appears_when_it_is_whole(
    full: Shelf, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """While tables are written there is no folder of that name."""
    real, seen = export._write, set[bool]()

    def write(conn: Connection, query: Select[tuple[object, ...]], file: Path) -> Path:
        seen.add((tmp_path / "out").exists())
        return real(conn, query, file)

    monkeypatch.setattr(export, "_write", write)
    with full.reading() as reader:
        files = reader.export_dir(tmp_path / "out")
    assert seen == {False} and all(file.is_file() for file in files)


def test_a_folder_name_that_would_steer_a_screen_is_refused(full: Shelf, tmp_path: Path) -> None:
    """It would be printed by every program that lists the folder."""
    for odd in ("a\x1b[2J", "b\u202e"):
        with full.reading() as reader, pytest.raises(BadData, match="the name of the folder"):
            reader.export_dir(tmp_path / odd)
    assert not [path for path in tmp_path.iterdir() if path.is_dir()]
