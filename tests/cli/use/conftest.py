"""Shared by the tests of devices: the sample workshop with one that is finished."""

from __future__ import annotations

from datetime import datetime, timedelta
from pathlib import Path

import pytest
from tests.cli.bench import Bench
from tests.sample.conftest import Built, built  # noqa: F401

DEVICE = "greenhouse vent opener"


@pytest.fixture
def device(built: Built, tmp_path: Path) -> Bench:  # noqa: F811
    """The workshop with one device, finished four days ago."""
    bench = Bench(tmp_path / "shop.sqlite", built.sample.now.isoformat())
    bench.begin_with(built.path)
    bench.prepare(f"build reserve '{DEVICE}'")
    bench.prepare(f"build finish '{DEVICE}' --yes")
    bench.now = (datetime.fromisoformat(bench.now) + timedelta(days=4)).isoformat()
    return bench
