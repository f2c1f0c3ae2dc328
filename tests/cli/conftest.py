"""A fresh bench for every test."""

from __future__ import annotations

from pathlib import Path

import pytest
from tests.cli.bench import Bench
from tests.cli.grammar import stop_at_once


@pytest.fixture
def bench(tmp_path: Path) -> Bench:
    """A bench whose store does not exist yet."""
    return Bench(tmp_path / "bench.sqlite")


@pytest.fixture(autouse=True)
def _no_page_waits(monkeypatch: pytest.MonkeyPatch) -> None:
    """A line that starts the bench page comes back: in this process nobody would ever stop it."""
    monkeypatch.setattr("uvicorn.Server.run", stop_at_once)
