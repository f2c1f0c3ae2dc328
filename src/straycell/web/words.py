"""The English texts of the page, from one file: a translation is another file."""

from __future__ import annotations

import tomllib
from functools import lru_cache
from importlib import resources
from typing import Any


@lru_cache(maxsize=1)
def words() -> dict[str, Any]:
    """The texts by section and name."""
    return tomllib.loads(resources.files("straycell.web").joinpath("words.toml").read_text(encoding="utf-8"))
