"""Rest voltages that fall faster than the cell's own past or its siblings: reported before any limit is reached."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from statistics import median
from typing import Any

from straycell.acceptance.case import Case, known_chemistry, once_a_case
from straycell.acceptance.checks.shelf import loss_between, segments, spans
from straycell.cells import Chemistry
from straycell.quantities import Measured
from straycell.readings import Reading
from straycell.shipped import shipped_table


@dataclass(frozen=True, slots=True)
class Fall:
    """How fast a rest voltage fell between two readings, in `unit` (%/month, or mV/month on lfp)."""

    rate: Measured
    unit: str
    at: datetime


@dataclass(frozen=True, slots=True)
class Trend:
    """A cell that falls faster than it should: against what, and since when that is known."""

    code: str
    fall: Fall
    reference: float
    against: str

    @property
    def text(self) -> str:
        rate, unit = self.fall.rate, self.fall.unit
        return (
            f"loses {rate.value:.1f} ± {rate.expanded:.1f} {unit}, {self.against} {self.reference:.1f} {unit}: "
            "falling faster"
        )


def _figures() -> dict[str, Any]:
    return shipped_table("safety/due/trends.toml")


@once_a_case  # a cell of a pack is held against each of its siblings
def falls(case: Case) -> list[Fall]:
    """How fast the rest voltage fell, stretch by stretch, oldest first; stretches do not overlap."""
    if not known_chemistry(case):
        return []
    found: list[Fall] = []
    for span in spans(case):
        end: datetime | None = None
        mine: list[Fall] = []
        for first, second in segments(case, span):
            # Overlapping stretches would count one drop twice, as its own past.
            if end is not None and second.at > end:
                continue
            fall = _fall(case, first, second)
            if fall is not None:
                mine.insert(0, fall)
                end = first.at
        found += mine
    return found


def _fall(case: Case, first: Reading, second: Reading) -> Fall | None:
    # On lfp's flat curve millivolts give no share of charge, but they compare with themselves.
    if case.facts.chemistry is not Chemistry.LFP:
        rate = loss_between(case, first, second)
        unit = "%/month"
    else:
        rate, unit = _millivolts(case, first, second), "mV/month"
    return None if rate is None else Fall(rate, unit, second.at)


def _millivolts(case: Case, first: Reading, second: Reading) -> Measured | None:
    """Drop in mV in 30 days; each voltage with all of its meter's uncertainty."""
    before, after = case.measured(first), case.measured(second)
    days = (second.at - first.at).total_seconds() / 86400.0
    if case.at_board(first) != case.at_board(second) or days <= 0:
        return None
    # Same month of 30 days as the rules of self-discharge.
    scale = 1000.0 * 30.0 / days
    return Measured((before.value - after.value) * scale, math.hypot(before.u, after.u) * scale)


def trend(case: Case, siblings: Sequence[Case] = ()) -> Trend | None:
    """The latest stretch held against the cell's past, then against its siblings; None when it is in line.

    Called out only when it is faster beyond the uncertainty of both, and never below a usual loss.
    """
    mine = falls(case)
    if not mine or _over(case, mine[-1]):
        return None
    latest, figures = mine[-1], _figures()
    least = figures["least"]["lfp_mv_month" if latest.unit.startswith("mV") else "percent_month"]
    # Its own past first: same cell, same meter and place, so most errors are common.
    past = [fall for fall in mine[:-1] if fall.unit == latest.unit]
    if past and _faster(latest.rate, past[-1].rate, figures["factor"]["past"], least):
        return Trend(case.evidence.code, latest, past[-1].rate.value, "before that it was")
    others = [f[-1] for f in map(falls, siblings) if f and f[-1].unit == latest.unit]
    if len(others) < figures["siblings"]["fewest"]:
        return None
    # The median: one leaking sibling must not make a second leaker look usual.
    middle = Measured(median(o.rate.value for o in others), median(o.rate.u for o in others))
    if _faster(latest.rate, middle, figures["factor"]["siblings"], least):
        return Trend(case.evidence.code, latest, middle.value, "its siblings")
    return None


def _over(case: Case, latest: Fall) -> bool:
    """True when the cell was charged, discharged or built in since: that stretch is past."""
    return case.disturbed(latest.at, case.now)


def _faster(rate: Measured, reference: Measured, factor: float, least: float) -> bool:
    # The difference has to lie outside both U, else every noisy reading is a trend.
    beyond = 2.0 * math.hypot(rate.u, reference.u)
    return (
        rate.value - max(reference.value, 0.0) > beyond
        and rate.value > factor * max(reference.value, 0.0)
        and rate.value > least
    )


def odd_in_pack(found_v: Mapping[str, float]) -> dict[str, float]:
    """The cells of one pack, by code, whose voltage as found is far from the others', with the middle one of those."""
    figures = _figures()
    odd = {}
    for code, volts in found_v.items():
        others = [other for name, other in found_v.items() if name != code]
        if len(others) < figures["siblings"]["fewest"]:
            continue
        middle = median(others)
        # The middle one of two unlike cells is nobody's voltage: most of the others must lie about it.
        if _near(others, volts) < len(others) / 2 < _near(others, middle):
            odd[code] = middle
    return odd


def _near(found_v: Sequence[float], volts: float) -> int:
    return sum(abs(other - volts) < _figures()["pack"]["odd_v"] for other in found_v)
