"""Readers that stay open between looks, for a program that looks all the time.

SQLite reads the whole schema of each store it opens and compiles each statement for it again: longer than a cell's page
takes to look up.
"""

import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from threading import Lock
from typing import NamedTuple

from sqlalchemy import Connection

from straycell.store.check import damage_named
from straycell.store.reader import Reader, ready
from straycell.store.sqlite.engine import os_faults, reading_engine, require_file, store_faults

MOST_IDLE = 4
"""A page's server answers a few devices at once (common practice, no published source)."""


class _Kept(NamedTuple):
    conn: Connection
    file: tuple[int, int]

    def close(self) -> None:
        self.conn.close()
        self.conn.engine.dispose()


class KeptReaders:
    """The readers of one store. Each look takes one for itself; none holds a lock while nobody looks."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self._idle: list[_Kept] = []
        self._lock = Lock()

    @contextmanager
    def reading(self) -> Iterator[Reader]:
        """As `open_reader`. Raises StoreFault."""
        with store_faults(self.path), damage_named(self.path):
            kept = self._take()
            try:
                yield ready(kept.conn, self.path)
            except BaseException:
                kept.close()
                raise
            self._give_back(kept)

    def close(self) -> None:
        """Close all that nobody uses."""
        with self._lock:
            idle, self._idle = self._idle, []
        for each in idle:
            each.close()

    def _take(self) -> _Kept:
        require_file(self.path)
        with os_faults(self.path):
            found = self.path.stat()
        file = found.st_dev, found.st_ino
        with self._lock:
            kept = self._idle.pop() if self._idle else None
        if kept is not None and kept.file == file:
            return kept
        # A restore renamed another file into the place: what is open still shows the replaced one.
        if kept is not None:
            kept.close()
            self.close()
        return _Kept(reading_engine(self.path, any_thread=True).connect(), file)

    def _give_back(self, kept: _Kept) -> None:
        # Windows renames no file that is open, so a restore would be refused.
        with self._lock:
            keep = os.name != "nt" and len(self._idle) < MOST_IDLE
            if keep:
                self._idle.append(kept)
        if not keep:
            kept.close()
