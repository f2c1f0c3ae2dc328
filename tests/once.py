"""What is dear to make is made once in a test run, by whichever worker comes first; the others wait for it."""

from __future__ import annotations

import os
import time
import traceback
from collections.abc import Callable, Sequence
from pathlib import Path

import pytest

PATIENCE_S = 900.0


class Once:
    """A folder that `make` fills once, however many workers ask; nobody may change what is in it."""

    def __init__(self, factory: pytest.TempPathFactory, name: str, make: Callable[[Path], None]) -> None:
        base = factory.getbasetemp()
        shared = base.parent if "PYTEST_XDIST_WORKER" in os.environ else base
        self.folder = shared / f"once-{name}"
        self._make = make
        self._done, self._fault = shared / f"once-{name}.done", shared / f"once-{name}.fault"

    def begin(self) -> None:
        """Make it, unless a worker is at it already."""
        try:
            self.folder.mkdir()
        except FileExistsError:
            return
        try:
            self._make(self.folder)
        except BaseException:  # whoever waits must not wait for nothing
            self._fault.write_text(traceback.format_exc(), encoding="utf-8")
            raise
        self._done.touch()

    def wait(self) -> Path:
        """The folder, as soon as it is made. Fails with the maker's own words when the making failed."""
        deadline = time.monotonic() + PATIENCE_S
        while not self._done.exists():
            assert not self._fault.exists(), self._fault.read_text(encoding="utf-8")
            assert time.monotonic() < deadline, f"{self.folder.name} was never made"
            time.sleep(0.1)
        return self.folder


def made_once(several: Sequence[Once]) -> list[Path]:
    """All of them: two workers that ask at the same time share the making."""
    for each in several:
        each.begin()
    return [each.wait() for each in several]
