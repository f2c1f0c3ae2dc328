"""A store with one cell, and the page over it."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest
from tests.cli.bench import Bench
from tests.sample.sample_store import sample_store
from tests.web.rig import Page

from straycell.store.sample.text import read_sample


@pytest.fixture
def bench(tmp_path: Path) -> Bench:
    """A store with a meter, a box and one cell that was looked at."""
    made = Bench(tmp_path / "bench.sqlite")
    made.prepare("meter add hand --like hand-held-multimeter")
    made.prepare("box add tin")
    made.prepare("teardown add 'hand vacuum' --kind vacuum")
    made.prepare(
        "cell add --teardown AT1 --pack 1 --form 18650 --chemistry nmc --marking INR18650-25 --rated-capacity 2500mAh"
    )
    return made


@pytest.fixture
def page(bench: Bench) -> Page:
    """The page over it, with a paired device."""
    made = Page(bench)
    assert made.pair().status_code == 200
    return made


@pytest.fixture
def code(bench: Bench) -> str:
    """The cell's code."""
    found: str = bench.do("cell list")[0]["code"]
    return found


@pytest.fixture
def sample_copy(tmp_path: Path, tmp_path_factory: pytest.TempPathFactory) -> Bench:
    """A bench of its own over a copy of the sample workshop, on the workshop's day."""
    path = tmp_path / "workshop.sqlite"
    shutil.copyfile(sample_store(tmp_path_factory), path)
    return Bench(path, now=read_sample().now.isoformat())
