"""How long a cell rested: what a person says against the last recorded charge or discharge."""

from dataclasses import dataclass
from datetime import datetime

from straycell.acceptance import Case
from straycell.errors import UsageFault
from straycell.quantities import Dimension, show
from straycell.readings import Quantity, Reading


@dataclass(frozen=True, slots=True)
class RestOnRecord:
    """What ended last before a moment (None: nothing on record), and by how much a stated rest may differ from it.

    It may by `slack_s` or by `slack_share` of the longer; `needs_s` are the rests that rules ask for. All in s.
    """

    moved: tuple[str, datetime] | None = None
    slack_s: float = 0.0
    slack_share: float = 0.0
    needs_s: tuple[float, ...] = ()

    def against(self, stated_s: float, at: datetime) -> tuple[str, float] | None:
        """(what ended, how long before `at`) where it contradicts a stated rest and it matters which is true.

        It matters where a rule needs a rest that the longer of the two reaches and the shorter does not.
        """
        if self.moved is None:
            return None
        name, ended = self.moved
        counted_s = max(0.0, (at - ended).total_seconds())
        shorter, longer = sorted((stated_s, counted_s))
        # People round and forget minutes: only a difference that changes what the reading counts for is asked
        # about.
        differs = longer - shorter > max(self.slack_s, self.slack_share * longer)
        matters = any(shorter < need <= longer for need in self.needs_s)
        return (name, counted_s) if differs and matters else None


NOTHING_ON_RECORD = RestOnRecord()


def rest_on_record(case: Case, at: datetime) -> RestOnRecord:
    """The last charge or discharge on record up to a moment."""
    moved = [("the charge", c.at) for c in case.charges] + [
        ("the discharge", r.at) for r in case.of(Quantity.CAPACITY, Quantity.LET_DOWN)
    ]
    return RestOnRecord(
        max((each for each in moved if each[1] <= at), key=lambda each: each[1], default=None),
        3600.0 * case.figure("rest-stated"),
        case.figure("rest-stated-share"),
        tuple(3600.0 * case.figure(limit) for limit in ("rest-time", "pair-rest")),
    )


def require_rest(case: Case, reading: Reading) -> None:
    """Raise UsageFault where the rest that is stated and the one on record differ, and it matters which is true."""
    if reading.quantity is not Quantity.VOLTAGE or reading.rested_s is None:
        return
    against = rest_on_record(case, reading.at).against(reading.rested_s, reading.at)
    if against is not None:
        name, counted_s = against
        stated, counted = show(reading.rested_s, Dimension.DURATION), show(counted_s, Dimension.DURATION)
        raise UsageFault(
            f"--rested {stated}: {name} on record ended {counted} before",
            "give the rest since the last current, or record the charge or discharge that is missing first",
        )
