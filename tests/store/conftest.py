"""A fresh store for every test."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest
from tests.store.store_bench import NOW, Shelf, charge, found, new_trace


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
    return shelf.path


@pytest.fixture
def full(shelf: Shelf, filled: Path) -> Shelf:
    """A store of one's own with rows in every table."""
    shutil.copyfile(filled, shelf.path)
    return shelf
