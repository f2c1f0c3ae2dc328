"""Export: everything as plain text, read back here with Python's own csv module."""

from __future__ import annotations

import csv
from datetime import datetime
from pathlib import Path

import pytest
from tests.store.store_bench import Shelf

from straycell.errors import BadData
from straycell.readings import Reading
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
