"""A fresh bench for every test."""

from __future__ import annotations

from pathlib import Path

import pytest
from tests.cli.bench import Bench


@pytest.fixture
def bench(tmp_path: Path) -> Bench:
    """A bench whose store does not exist yet."""
    return Bench(tmp_path / "bench.sqlite")
