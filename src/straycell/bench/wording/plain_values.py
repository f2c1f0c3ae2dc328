"""Values of every kind in JSON's own kinds, and stored times as local ones."""

import math
from collections.abc import Iterable, Mapping
from datetime import date, datetime
from decimal import Decimal
from enum import Enum
from pathlib import Path
from typing import Any

from straycell.keys import RecordKey


def plain(value: object) -> Any:
    """A value in JSON's own kinds. Not-a-number and infinity become null; times carry their offset."""
    if isinstance(value, Enum):
        return plain(value.value)
    if value is None or isinstance(value, bool | int | str):
        return value
    if isinstance(value, float | Decimal):
        # JSON knows no NaN and no infinity (RFC 8259, 6).
        number = float(value)
        return number if math.isfinite(number) else None
    if isinstance(value, datetime):
        return stamp(value, separator="T")
    if isinstance(value, date | Path | RecordKey):
        return str(value)
    if isinstance(value, Mapping):
        return {str(plain(key)): plain(item) for key, item in value.items()}
    if isinstance(value, Iterable):
        return [plain(item) for item in value]
    raise TypeError(f"{type(value).__name__} has no JSON form")


def stamp(at: datetime, *, separator: str = " ") -> str:
    """A stored UTC time as local time with its offset, to the second: `2026-05-01 18:00:00+02:00`."""
    # Stored in UTC, shown where the person is; the offset keeps the two apart.
    return at.astimezone().isoformat(sep=separator, timespec="seconds")


def stamp_short(at: datetime | None) -> str:
    """To the minute with its offset, for pages; `-` when there is none."""
    return "-" if at is None else at.astimezone().isoformat(sep=" ", timespec="minutes")
