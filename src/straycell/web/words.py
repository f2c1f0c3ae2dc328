"""The English texts of the page, from one file: a translation is another file."""

from __future__ import annotations

from typing import Any

from straycell.shipped import shipped_table


def words() -> dict[str, Any]:
    """The texts by section and name."""
    return shipped_table("web/words.toml")
