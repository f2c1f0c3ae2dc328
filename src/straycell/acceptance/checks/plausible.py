"""Rules of figures that cannot both be true: what was measured against what is printed."""

from __future__ import annotations

from collections.abc import Iterator

from straycell.acceptance.case import Case, known_chemistry
from straycell.acceptance.checks.retention import runs
from straycell.acceptance.checks.steps import run_work
from straycell.acceptance.conformance import Side, against_max
from straycell.acceptance.reasons import Outcome, Reason, Status
from straycell.quantities import Dimension, Measured, show


def over_rating(case: Case) -> Iterator[Reason]:
    """The latest run gave more than any cell gives of its rating: a wrong figure, or another cell than the print's."""
    run, rated_ah = next(reversed(runs(case)), None), case.rated_ah
    if not known_chemistry(case) or run is None or not rated_ah:
        return
    limit = case.figure("capacity-over-rating")
    share = Measured(run.value.value / rated_ah, run.value.u / rated_ah)
    if against_max(share, limit) is not Side.BEYOND:
        return
    shown = show(run.value.value, Dimension.CAPACITY, u=run.value.u)
    yield case.reason(
        "capacity-over-rating",
        Status.CLOSE,  # not failed: the charge before the run that settles it must stay allowed
        Outcome.HOLD,
        f"contradictory: {shown} is {share.value:.0%} of the rated {show(rated_ah, Dimension.CAPACITY)}",
        value=share,
        limit=limit,
        reading=run.reading,
        todo=run_work(case, "check the print and what the meter counts, then measure the capacity again"),
        earliest=case.now,
    )
