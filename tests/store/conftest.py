"""A fresh store for every test."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest
from tests.store.store_bench import NOW, Shelf, charge, found, new_trace

from straycell.builds import GroupVoltage
from straycell.store.schema.tables import CHARGER, FINDING, FINDING_FELL
from straycell.store.writer import Writer


@pytest.fixture
def shelf(tmp_path: Path) -> Shelf:
    """A store that does not exist yet."""
    return Shelf(tmp_path / "shelf.sqlite")


@pytest.fixture(scope="session")
def filled(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A store with at least one row in every table that must not be rewritten; copied, never opened."""
    shelf = Shelf(tmp_path_factory.mktemp("filled") / "shelf.sqlite")
    good, other, spare = shelf.good_cells(3)
    with shelf.writing() as writer:
        writer.add_teardown("garden lantern", "lamp")
        writer.set_aside_codes(1)
        writer.add_box("drawer", limit_wh=90.0)
        writer.add_charge(charge(good))
        (wrong,) = writer.add_readings([found(other, 3.1)])
        writer.add_trace(new_trace(good))
        writer.supersede(wrong.id, "bad-contact", "the clip hung by one tooth")
        writer.add_incident("drop", [other])
        writer.discard(spare, "sat on")
        writer.add_handover("recycling yard")
        writer.compare_meter("fine", NOW.date())
        writer.add_project("gauge", "name = 'gauge'", 1)
        writer.reserve("gauge", [[good]], "plan")
        writer.inspect_groups("gauge", [GroupVoltage(3.8, 0.004, 0.0003, "fine")], ())
        writer.correct_cell(other, {"maker": "unknown"}, "read it again")
        _a_row_each(writer, other)
    return shelf.path


def _a_row_each(writer: Writer, code: str) -> None:
    """A finding that no rule made, its fall, and a charger: only so that each of these tables holds a row."""
    pen, digest = writer._pen, "0" * 64
    charger = {"name": "four-bay", "end_current_a": 0.05, "measured_at_us": pen.now_us}
    pen.conn.execute(CHARGER.insert().values(**charger, event_id=pen.event("charger-added")))
    row = {
        "digest": digest,
        "code": code,
        "rule": "look",
        "basis": "[]",
        "words": "seen",
        "at_us": pen.now_us,
    }
    pen.conn.execute(FINDING.insert().values(**row, write_id=pen.write_id))
    pen.conn.execute(FINDING_FELL.insert().values(digest=digest, key="A-1", write_id=pen.write_id))


@pytest.fixture
def full(shelf: Shelf, filled: Path) -> Shelf:
    """A store of one's own with rows in every table."""
    shutil.copyfile(filled, shelf.path)
    return shelf
