"""The disk for tests: none here survives a power cut; what a killed writer leaves is tested in processes of their own."""

from __future__ import annotations

import os
import shutil
import sqlite3
import tempfile
from contextlib import suppress
from pathlib import Path
from typing import Any

MEMORY = Path("/dev/shm")
MOST_BYTES = 2_000_000_000
"""What all workers of a run have lying about at once, with a good margin; the sample store alone is a megabyte."""

_synced = sqlite3.connect


def never_wait() -> None:
    """From now on no write of this process waits until it is on the disk, a store's or any other file's."""
    for module, name, quick in ((sqlite3, "connect", _unsynced), (os, "fsync", lambda handle: None)):
        setattr(module, name, quick)


def stay_in_memory() -> None:
    """Temporary files lie in memory where it holds them: a disk takes milliseconds to let go of each. `TMPDIR` decides."""
    if "TMPDIR" in os.environ or not os.access(MEMORY, os.W_OK):
        return
    # A folder whose programs may not be started is none for a browser and for environments.
    if not os.statvfs(MEMORY).f_flag & os.ST_NOEXEC and shutil.disk_usage(MEMORY).free > MOST_BYTES:
        os.environ["TMPDIR"] = tempfile.tempdir = str(MEMORY)


def _unsynced(database: Any, *args: Any, **more: Any) -> sqlite3.Connection:
    made: sqlite3.Connection = _synced(database, *args, **more)
    # Even a pragma looks into the file: a reader may not tidy up after a killed writer, and some files are no stores.
    if "mode=ro" not in str(database):
        with suppress(sqlite3.DatabaseError):
            made.execute("PRAGMA synchronous = OFF")
    return made
