"""The one clock. `STRAYCELL_NOW` (ISO 8601 with a zone) pins it, for tests and demonstrations only."""

from __future__ import annotations

import os
from collections.abc import Mapping
from datetime import UTC, datetime

from straycell.errors import UsageFault

PIN = "STRAYCELL_NOW"


def now(env: Mapping[str, str] | None = None) -> datetime:
    """The time of this command, in UTC. Raises UsageFault when the pin cannot be read."""
    pinned = (os.environ if env is None else env).get(PIN)
    if not pinned:
        return datetime.now(UTC)
    try:
        at = datetime.fromisoformat(pinned)
        if at.tzinfo is not None:
            return at.astimezone(UTC)
    except (ValueError, OverflowError):
        pass
    raise UsageFault(
        f"{PIN} holds '{pinned}', which is no time with a zone",
        "write it like 2026-05-01T18:00:00+00:00, or unset it",
    )
