"""How values lie in the file: times as whole microseconds UTC, days as ISO text, details as JSON."""

import json
from datetime import UTC, date, datetime, timedelta
from typing import Any

from straycell.errors import BadData

EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
_MICROSECOND = timedelta(microseconds=1)


def to_us(at: datetime) -> int:
    """Microseconds since 1970 UTC, exact. Raises BadData for a time without a zone."""
    if at.tzinfo is None:
        raise BadData(f"time {at.isoformat()} has no zone", "give it in UTC or with its offset")
    return (at - EPOCH) // _MICROSECOND


def from_us(us: int) -> datetime:
    """The UTC time of a stored number."""
    return EPOCH + timedelta(microseconds=us)


def opt_us(at: datetime | None) -> int | None:
    return None if at is None else to_us(at)


def opt_time(us: int | None) -> datetime | None:
    return None if us is None else from_us(us)


def day_text(day: date | None) -> str | None:
    return None if day is None else day.isoformat()


def opt_day(text: str | None) -> date | None:
    return None if text is None else date.fromisoformat(text)


def to_json(value: Any) -> str:
    """Compact, keys sorted: the same content is the same text."""
    return json.dumps(value, sort_keys=True, ensure_ascii=False, separators=(",", ":"), default=str)


def from_json(text: str) -> Any:
    return json.loads(text)
