"""The disk for tests: none here survives a power cut; what a killed writer leaves is tested in processes of their own."""

from __future__ import annotations

import os
import sqlite3
from contextlib import suppress
from typing import Any

_synced = sqlite3.connect


def never_wait() -> None:
    """From now on no write of this process waits until it is on the disk, a store's or any other file's."""
    for module, name, quick in ((sqlite3, "connect", _unsynced), (os, "fsync", lambda handle: None)):
        setattr(module, name, quick)


def _unsynced(database: Any, *args: Any, **more: Any) -> sqlite3.Connection:
    made: sqlite3.Connection = _synced(database, *args, **more)
    # Even a pragma looks into the file: a reader may not tidy up after a killed writer, and some files are no stores.
    if "mode=ro" not in str(database):
        with suppress(sqlite3.DatabaseError):
            made.execute("PRAGMA synchronous = OFF")
    return made
