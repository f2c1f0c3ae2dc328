"""The sample store, built once for all workers."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import pytest
from tests.sample.sample_store import sample_store

from straycell.acceptance import RuleSet, Verdict, load_rules
from straycell.store.reader import open_reader
from straycell.store.sample.text import Sample, SampleCell, read_sample


@dataclass(frozen=True)
class Built:
    """The store, the text it was made from, and the verdicts on the workshop's day."""

    path: Path
    sample: Sample
    rules: RuleSet
    verdicts: dict[str, Verdict]

    def cell(self, code: str) -> SampleCell:
        return next(cell for cell in self.sample.cells if cell.code == code)


@pytest.fixture(scope="session")
def built(tmp_path_factory: pytest.TempPathFactory) -> Built:
    """Built from the checkout's text under the shipped rules."""
    path, rules, sample = sample_store(tmp_path_factory), load_rules(), read_sample()
    with open_reader(path) as reader:
        return Built(path, sample, rules, reader.verdicts(rules, sample.now))
