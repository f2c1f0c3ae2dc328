"""The sample workshop's store under the shipped rules, for whoever needs one to look at or to copy."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from unittest import mock

import pytest
from tests.once import Once, made_once

from straycell.acceptance import load_rules
from straycell.store.sample.build import build_sample

NAME = "workshop.sqlite"


def sample_store(factory: pytest.TempPathFactory) -> Path:
    """The one store of this test run; copy it before you change anything."""
    (folder,) = made_once([Once(factory, "sample", build)])
    return folder / NAME


def build(folder: Path) -> None:
    """Build it in `folder`."""
    build_sample(folder / NAME, load_rules())


@contextmanager
def built_already(factory: pytest.TempPathFactory) -> Iterator[None]:
    """`demo` gets a copy: another run of it builds its own, and that gives the same rows (test_sample_building)."""

    def copied(path: Path, rules: object, sample: object) -> None:
        shutil.copyfile(sample_store(factory), path)

    with mock.patch("straycell.store.sample.build.build_sample", copied):
        yield
