"""The cited data files of this room, read once."""

from __future__ import annotations

import tomllib
from functools import lru_cache
from importlib import resources
from typing import Any


# A run of a hundred cells would parse the same tables thousands of times.
@lru_cache(maxsize=8)
def shipped(name: str) -> dict[str, Any]:
    """The tables of data/NAME.toml."""
    path = resources.files("straycell.physics").joinpath("data").joinpath(f"{name}.toml")
    return tomllib.loads(path.read_text(encoding="utf-8"))


def median(values: list[float]) -> float:
    """The middle value, or the mean of the two in the middle."""
    ordered = sorted(values)
    half = len(ordered) // 2
    return ordered[half] if len(ordered) % 2 else 0.5 * (ordered[half - 1] + ordered[half])
