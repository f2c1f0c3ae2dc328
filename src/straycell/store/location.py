"""Where the store lies: the option, the environment, or the user's data folder; and what is seen against the place.

On a network share, or in a folder that a synchroniser writes into, it does not survive. Seen are the common cases;
that none is seen proves nothing. The signs are in places.toml.
"""

import re
from collections.abc import Mapping
from contextlib import suppress
from pathlib import Path
from typing import Any

from straycell.errors import BadData, UsageFault

VARIABLE = "STRAYCELL_STORE"
STATE_VARIABLE = "STRAYCELL_STATE"
FILE_NAME = "straycell.sqlite"
_EXAMPLE = "write a file, like --store bench.sqlite, or sqlite:///bench.sqlite"


def default_store_path() -> Path:
    """The store in the user's data folder; nothing is created by asking."""
    from platformdirs import user_data_path

    return user_data_path("straycell", appauthor=False) / FILE_NAME


def resolve_store(option: str | None, env: Mapping[str, str]) -> Path:
    """The file named by `--store`, else by STRAYCELL_STORE, else the default. Raises UsageFault."""
    if option is not None:
        return _path_of(option, "--store")
    if env.get(VARIABLE):
        return _path_of(env[VARIABLE], VARIABLE)
    return default_store_path()


def state_folder(env: Mapping[str, str]) -> Path | None:
    """The folder for what a screen remembers; None when STRAYCELL_STATE is empty, then nothing is remembered."""
    # Set but empty is a person's choice, unlike not set: nothing is remembered then.
    named = env.get(STATE_VARIABLE)
    if named is not None:
        return Path(named) if named else None
    from platformdirs import user_state_path

    return user_state_path("straycell", appauthor=False)


def _path_of(text: str, origin: str) -> Path:
    scheme = re.match(r"([A-Za-z][A-Za-z0-9+.-]*)://", text)
    if scheme is None:
        return _file(text, text, origin)
    if scheme[1].lower() != "sqlite":
        raise UsageFault(f"{origin} '{text}': a store is an SQLite file, not {scheme[1]}", _EXAMPLE)
    rest = text[scheme.end() :]
    if not rest.startswith("/"):
        raise UsageFault(
            f"{origin} '{text}': a store has no host", "write three slashes: sqlite:///bench.sqlite"
        )
    # SQLite URI options could switch off locking or open in memory.
    if "?" in rest:
        raise UsageFault(f"{origin} '{text}': options behind ? are not taken", _EXAMPLE)
    return _file(rest[1:], text, origin)


def _file(name: str, text: str, origin: str) -> Path:
    if not name.strip() or "\0" in name:
        raise UsageFault(f"{origin} '{text.strip(chr(0))}' names no file", _EXAMPLE)
    # A store in memory is gone with the command that wrote it.
    if name == ":memory:" or name.startswith("file:"):
        raise UsageFault(f"{origin} '{text}': a store must be a file that stays", _EXAMPLE)
    try:
        return Path(name).expanduser()
    except RuntimeError as fault:
        raise UsageFault(f"{origin} '{text}': no such user's folder", _EXAMPLE) from fault


# --- a place where it does not survive --------------------------------------------------------------

_MOUNTS = Path("/proc/self/mountinfo")
_MOST_BYTES = 4_000_000
_MOST_ENTRIES = 2000
"""Of a folder: a sign is among the first, or the folder is not a home of a synchroniser."""


def _signs() -> dict[str, Any]:
    from straycell.shipped import shipped_table  # here, because every command asks where its store lies

    return shipped_table("store/places.toml")


def mounts() -> str:
    """What the system says of its mounts; empty where it does not."""
    from straycell.files.read import read_text

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
