"""Where a store lies: on a network share, or in a folder that a synchroniser writes into, it does not survive.

Seen are the common cases; that none is seen proves nothing. The signs are in places.toml.
"""

from __future__ import annotations

import re
from contextlib import suppress
from pathlib import Path
from typing import Any

from straycell.errors import BadData
from straycell.files.read import read_text
from straycell.shipped import shipped_table

_MOUNTS = Path("/proc/self/mountinfo")
_MOST_BYTES = 4_000_000
_MOST_ENTRIES = 2000
"""Of a folder: a sign is among the first, or the folder is not a home of a synchroniser."""


def _signs() -> dict[str, Any]:
    return shipped_table("store/places.toml")


def mounts() -> str:
    """What the system says of its mounts; empty where it does not."""
    with suppress(BadData):
        return read_text(_MOUNTS, str(_MOUNTS), _MOST_BYTES)
    return ""


def place_warnings(store: Path, mounted: str) -> list[str]:
    """What is seen against the place of a store, each with the reason; `mounted` as Linux' mountinfo."""
    real = store.absolute().resolve()
    # SQLite's locks do not hold on network file systems (sqlite.org/faq.html 5), and a synchroniser copies
    # half a write.
    network, watched = _signs()["network"], _signs()["synchroniser"]
    found = []
    kind = _file_system(real, mounted)
    if kind in network["types"] or str(store).startswith(("\\\\", "//")):
        found.append(f"it lies on a network share ({kind or 'by its name'}): {network['why']}")
    sign = _watched_sign(real, watched)
    if sign is not None:
        found.append(f"a synchroniser seems to watch its folder ({sign}): {watched['why']}")
    return found


def _file_system(path: Path, mounted: str) -> str:
    """The type of the innermost mount that holds `path`: the field behind ` - ` (proc(5)); fuse's own name for it."""
    best, kind = -1, ""
    for line in mounted.splitlines():
        before, _, after = line.partition(" - ")
        fields = before.split()
        if len(fields) < 5 or not after:
            continue
        # mountinfo writes blanks in paths as octal \040 (proc(5)).
        point = Path(re.sub(r"\\([0-7]{3})", lambda code: chr(int(code[1], 8)), fields[4]))
        if path.is_relative_to(point) and len(point.parts) >= best:
            best, kind = len(point.parts), after.split()[0].removeprefix("fuse.")
    return kind


def _watched_sign(path: Path, signs: dict[str, Any]) -> str | None:
    for folder in path.parents:
        if _any(signs["folders"], folder.name):
            return f"a folder '{folder.name}'"
        marker = next((name for name in _names(folder) if _any(signs["markers"], name)), None)
        if marker is not None:
            return f"'{marker}' in {folder}"
    beside = (name for name in _names(path.parent) if path.stem in name and name != path.name)
    copy = next((name for name in beside if _any(signs["copies"], name)), None)
    return None if copy is None else f"a copy '{copy}' beside it"


def _names(folder: Path) -> list[str]:
    with suppress(OSError):
        # A folder of a hundred thousand photographs must not slow down every command.
        return [entry.name for entry, _ in zip(folder.iterdir(), range(_MOST_ENTRIES), strict=False)]
    return []


def _any(patterns: list[str], name: str) -> bool:
    return any(re.search(pattern, name, re.IGNORECASE) for pattern in patterns)
