"""How long a cell rested: what a person says against the last recorded charge or discharge."""

from __future__ import annotations

from datetime import datetime

from straycell.acceptance.case import Case
from straycell.errors import UsageFault
from straycell.quantities import Dimension, show
from straycell.readings import Quantity, Reading


def require_rest(case: Case, reading: Reading) -> None:
    """Raise UsageFault where the rest that is stated and the one on record differ, and it matters which is true.

    It matters where a rule needs a rest that the longer of the two reaches and the shorter does not.
    """
    stated_s, moved = reading.rested_s, _last_moved(case, reading)
    if reading.quantity is not Quantity.VOLTAGE or stated_s is None or moved is None:
        return
    name, at = moved
    counted_s = (reading.at - at).total_seconds()
    shorter, longer = sorted((stated_s, counted_s))
    # People round and forget minutes: only a difference that changes what the reading counts for is asked
    # about.
    slack_s = max(3600.0 * case.figure("rest-stated"), case.figure("rest-stated-share") * longer)
    needs = [3600.0 * case.figure(limit) for limit in ("rest-time", "pair-rest")]
    if longer - shorter > slack_s and any(shorter < need <= longer for need in needs):
        stated, counted = show(stated_s, Dimension.DURATION), show(max(0.0, counted_s), Dimension.DURATION)
        raise UsageFault(
            f"--rested {stated}: {name} on record ended {counted} before",
            "give the rest since the last current, or record the charge or discharge that is missing first",
        )


def _last_moved(case: Case, reading: Reading) -> tuple[str, datetime] | None:
    """(what it was, when it ended): the last charge or discharge on record before a reading."""
    moved = [("the charge", c.at) for c in case.charges] + [
        ("the discharge", r.at) for r in case.of(Quantity.CAPACITY, Quantity.LET_DOWN)
    ]
    return max((each for each in moved if each[1] <= reading.at), key=lambda each: each[1], default=None)
