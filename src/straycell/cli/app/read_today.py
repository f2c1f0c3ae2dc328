"""Which cautions a person has read in full today: a small file in the user's state folder, never in the store.

Whatever goes wrong with it, the answer is "none": then every caution is printed in full again.
"""

from __future__ import annotations

import contextlib
import json
from collections.abc import Iterable

from straycell.cli.app import clock, options, output
from straycell.errors import BadData
from straycell.files.write import write_whole
from straycell.store.location import state_folder

_FILE = "cautions.json"


def read_in_full() -> frozenset[str]:
    """Ids of the cautions that were printed in full on this local day."""
    # Whatever is wrong with the file, a caution more is the safe mistake.
    folder = state_folder(options.current().env)
    if folder is None:
        return frozenset()
    try:
        kept = json.loads((folder / _FILE).read_text(encoding="utf-8"))
        return frozenset(map(str, kept["told"])) if kept["day"] == _today() else frozenset()
    except (OSError, ValueError, TypeError, KeyError):
        return frozenset()


def remember(ids: Iterable[str]) -> None:
    """Note that these were printed in full. A folder that cannot be written changes nothing."""
    folder = state_folder(options.current().env)
    known = read_in_full()
    told = sorted(known.union(ids))
    if folder is None or len(told) == len(known):
        return
    # A read-only home must not stop a measurement.
    with contextlib.suppress(OSError, BadData):
        folder.mkdir(parents=True, exist_ok=True)
        write_whole(folder / _FILE, json.dumps({"day": _today(), "told": told}).encode(), force=True)


def _today() -> str:
    return output.day(clock.now())
