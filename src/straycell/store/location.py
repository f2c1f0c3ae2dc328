"""Where the store lies: the option, the environment, or the user's data folder."""

from __future__ import annotations

import re
from collections.abc import Mapping
from pathlib import Path

from straycell.errors import UsageFault

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
    from platformdirs import user_state_path

    # Set but empty is a person's choice, unlike not set: nothing is remembered then.
    named = env.get(STATE_VARIABLE)
    return user_state_path("straycell", appauthor=False) if named is None else Path(named) if named else None


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
