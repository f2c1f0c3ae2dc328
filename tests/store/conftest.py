"""A fresh store for every test."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest
from tests.store.store_bench import Shelf, fill


@pytest.fixture
def shelf(tmp_path: Path) -> Shelf:
    """A store that does not exist yet."""
    return Shelf(tmp_path / "shelf.sqlite")


@pytest.fixture(scope="session")
def filled(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A store with at least one row in every table that must not be rewritten; copied, never opened."""
    shelf = Shelf(tmp_path_factory.mktemp("filled") / "shelf.sqlite")
    fill(shelf)
    return shelf.path


@pytest.fixture
def full(shelf: Shelf, filled: Path) -> Shelf:
    """A store of one's own with rows in every table."""
    shutil.copyfile(filled, shelf.path)
    return shelf
