"""The board of what is due, worst first, and what comes within a week."""

from datetime import timedelta
from itertools import groupby

from fastapi import APIRouter
from starlette.responses import Response

from straycell.bench.recording.running import LONGEST_CHARGE, timers
from straycell.safety import Step
from straycell.safety.due.gather import due_now, due_until, survey
from straycell.web.visit import Visiting

router = APIRouter()
AHEAD = timedelta(days=7)


@router.get("/due")
def board(visit: Visiting) -> Response:
    """What must be looked at. Looking changes nothing."""
    bench = visit.bench()
    with bench.reading() as reader:
        household = reader.household(bench.rules, bench.now)
        begun = reader.charges_begun(bench.now - LONGEST_CHARGE)
    running = timers((kept.verdict for kept in household.kept), begun, bench.now)
    items = survey(household)
    found = due_now(items, bench.now)
    coming = due_until(items, bench.now, bench.now + AHEAD)
    kinds = [(kind, list(group)) for kind, group in groupby(found, key=lambda item: item.kind)]
    danger = any(kind.danger for kind, _ in kinds)
    # Of a danger and of storing the first alone: two sets of cautions at once are read as neither.
    steps = [Step.LOOK_BAD] if danger else [Step.STORING] if found else []
    return visit.page(
        "due.html",
        kinds=kinds,
        coming=coming,
        running=running,
        at=bench.now,
        cautions=visit.cautions(steps) if steps else [],
    )
