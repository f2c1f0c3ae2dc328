"""The one clock. `STRAYCELL_NOW` (ISO 8601 with a zone) pins it, for tests and demonstrations only."""

import os
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from contextvars import ContextVar
from datetime import UTC, datetime

from straycell.errors import UsageFault

PIN = "STRAYCELL_NOW"
_HELD: ContextVar[datetime | None] = ContextVar("straycell_moment", default=None)


def now(env: Mapping[str, str] | None = None) -> datetime:
    """The time of this command, in UTC; inside a write, the write's. Raises UsageFault for an unreadable pin."""
    held = _HELD.get()
    # All that one write records bears one moment: nothing in it may seem later than its own verdict.
    if held is not None and env is None:
        return held
    pinned = (os.environ if env is None else env).get(PIN)
    if not pinned:
        return datetime.now(UTC)
    try:
        # Without a zone the same pin would be another moment on another machine.
        at = datetime.fromisoformat(pinned)
        if at.tzinfo is not None:
            return at.astimezone(UTC)
    except (ValueError, OverflowError):
        pass
    raise UsageFault(
        f"{PIN} holds '{pinned}', which is not a time with a zone",
        "write it like 2026-05-01T18:00:00+00:00, or unset it",
    )


@contextmanager
def held(moment: datetime) -> Iterator[None]:
    """Let the clock stand still for the time of a write: nothing in it may lie after it."""
    token = _HELD.set(moment)
    try:
        yield
    finally:
        _HELD.reset(token)
