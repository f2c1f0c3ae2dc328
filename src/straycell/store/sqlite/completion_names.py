"""A glance at the names in a store for shell completion: bare SQLite, read-only, never waiting, never failing."""

import sqlite3
from contextlib import closing
from enum import StrEnum
from pathlib import Path

MOST = 200
"""More than a person looks through; the next character narrows them down."""
_WAIT_S = 0.2


Names = StrEnum("Names", "CELL BLANK TEARDOWN BOX METER PROJECT")
"""Whose names are wanted."""


_QUERIES: dict[Names, str] = {
    Names.CELL: "SELECT code AS name FROM cell WHERE stage <> 'withdrawn'",
    Names.BLANK: "SELECT code AS name FROM blank_code WHERE code NOT IN (SELECT code FROM cell)",
    Names.TEARDOWN: "SELECT code AS name FROM teardown",
    Names.BOX: "SELECT name FROM box",
    Names.METER: "SELECT name FROM meter",
    Names.PROJECT: "SELECT name FROM project WHERE state <> 'dropped'",
}
_CODES = frozenset({Names.CELL, Names.BLANK, Names.TEARDOWN})


def names(path: Path, whose: Names, start: str, at_most: int = MOST) -> list[str]:
    """Names that begin with `start`, in order; none when the store cannot be read at once.

    Codes are found in lower case and with blanks and hyphens too; names match exactly, as everywhere.
    """
    begins = start.replace(" ", "").replace("-", "").upper() if whose in _CODES else start
    # A range, not a pattern: it uses the index, and no character of a name has a meaning of its own.
    query = f"SELECT name FROM ({_QUERIES[whose]}) WHERE name >= ? AND name < ? ORDER BY name LIMIT ?"
    try:
        uri = f"{path.absolute().as_uri()}?mode=ro"
        with closing(sqlite3.connect(uri, uri=True, timeout=_WAIT_S)) as conn:
            return [str(row[0]) for row in conn.execute(query, (begins, begins + "\U0010ffff", at_most))]
    except (sqlite3.Error, OSError, ValueError):
        return []
