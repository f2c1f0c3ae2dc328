"""The cited data files of this room, read once."""

from typing import Any

from straycell.shipped import shipped_table


def shipped(name: str) -> dict[str, Any]:
    """The tables of data/NAME.toml."""
    return shipped_table(f"physics/data/{name}.toml")


def median(values: list[float]) -> float:
    """The middle value, or the mean of the two in the middle."""
    ordered = sorted(values)
    half = len(ordered) // 2
    return ordered[half] if len(ordered) % 2 else 0.5 * (ordered[half - 1] + ordered[half])
