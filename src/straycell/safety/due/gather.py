"""Everything that must be looked at, worst first: of cells, builds, meters and chargers."""

from collections.abc import Iterable
from datetime import datetime

from straycell.safety.due.cells import cells_due
from straycell.safety.due.others import builds_due, chargers_due, meters_due
from straycell.safety.due.survey import DueItem, Household


def survey(household: Household) -> list[DueItem]:
    """All that is due now or will be, as things are, worst first. Same input, same list."""
    found: Iterable[DueItem] = [
        *cells_due(household),
        *builds_due(household),
        *meters_due(household),
        *chargers_due(household),
    ]
    return sorted(found, key=lambda item: item.order)


def due_now(items: Iterable[DueItem], now: datetime) -> list[DueItem]:
    """Those whose time has come, worst first."""
    return [item for item in items if item.at <= now]


def due_until(items: Iterable[DueItem], now: datetime, until: datetime) -> list[DueItem]:
    """Those whose time comes after `now`, up to `until`, the soonest first."""
    return sorted((item for item in items if now < item.at <= until), key=lambda item: (item.at, item.order))
