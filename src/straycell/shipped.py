"""The tables inside the package (limits, words, cited data): TOML files beside the room that reads them."""

import tomllib
from functools import lru_cache
from pathlib import Path
from typing import Any

# Not by importlib.resources, which takes longer to load than a table to read: a wheel is always unpacked.
PACKAGE = Path(__file__).parent


# Rules of thousands of cells ask for the same tables: each file is read once a process.
@lru_cache(maxsize=64)
def shipped_table(path: str) -> dict[str, Any]:
    """The tables of a file by its path in the package, like `safety/storage.toml`."""
    return tomllib.loads((PACKAGE / path).read_text(encoding="utf-8"))
