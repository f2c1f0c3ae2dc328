"""The tables inside the package (limits, words, cited data): TOML files beside the room that reads them."""

import tomllib
from functools import lru_cache
from importlib import resources
from typing import Any


# Rules of thousands of cells ask for the same tables: each file is read once a process.
@lru_cache(maxsize=64)
def shipped_table(path: str) -> dict[str, Any]:
    """The tables of a file by its path in the package, like `safety/storage.toml`."""
    return tomllib.loads(resources.files("straycell").joinpath(*path.split("/")).read_text(encoding="utf-8"))
