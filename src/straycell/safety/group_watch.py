"""The groups of a pack watched over months: which one sinks faster than the others, which lies outside its limits, and
when they are measured next.

A cell that leaks inside drains its group and no other. Use and charge move all groups together, so that only the
difference between groups tells; it is believed beyond the uncertainty of both. A group that was charged alone says
nothing over that time, neither of itself nor of the others.
"""

import math
from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from enum import StrEnum
from statistics import median

from straycell.acceptance import Case
from straycell.acceptance.reasons import Side, against_max, against_min
from straycell.builds import Build, BuildState, GroupVoltage, Inspection
from straycell.quantities import Measured
from straycell.safety.due.survey import due_kinds

WATCH = "group-voltages"
EARLY = 0.75
"""An inspection this share of the way to its day counts for it (common practice, no published source)."""
UNEVEN = 0.1
"""Groups apart in capacity by up to so much move apart by that share of what they all move (common practice)."""

# 4.20 + 0.02 is not 4.22 in binary; a nanovolt is far below any meter's step.
_DUST_V = 1e-9


@dataclass(frozen=True, slots=True)
class Sinking:
    """A group (from 0) that sank by `more_v` (V) more than the others since `since`, surely: beyond `u_v` (U)."""

    group: int
    more_v: float
    u_v: float
    since: datetime


class Edge(StrEnum):
    OVER_FULL = "over-full"
    TOO_LOW = "too-low"


@dataclass(frozen=True, slots=True)
class Allowed:
    """Between which voltages (V) a group may lie. Up to `full_v` nothing suggests an over-charge, however coarse the meter."""

    low_v: float
    full_v: float
    high_v: float


@dataclass(frozen=True, slots=True)
class Outside:
    """A group (from 0) whose `voltage` is not surely inside `limit_v`; `sure` where it is surely beyond it."""

    group: int
    edge: Edge
    voltage: Measured
    limit_v: float
    sure: bool


@dataclass(frozen=True, slots=True)
class Rise:
    """A group (from 0) that rose by `sure_v` (V) at least since `since`, while the others did not rise with it."""

    group: int
    sure_v: float
    since: datetime


def allowed(cases: Sequence[Case]) -> Allowed | None:
    """What the cells of one group may have by the acceptance rules, the tightest of them; None for no cell."""
    if not cases:
        return None
    full_v = min(case.full_voltage_v for case in cases)
    # Its cells share one voltage: whatever condemns one of them on its own condemns it here.
    return Allowed(
        max(case.figure("voltage-light-only") for case in cases),
        full_v + min(case.figure("voltage-over-full-doubt") for case in cases),
        full_v + min(case.figure("voltage-over-full") for case in cases),
    )


def outside(groups: Sequence[GroupVoltage], limits: Sequence[Allowed | None]) -> tuple[Outside, ...]:
    """The groups that are not surely between their limits: over-charged, or emptied too far."""
    found = []
    for number, (group, limit) in enumerate(zip(groups, limits, strict=True)):
        if limit is None:
            continue
        voltage = Measured(group.value_v, group.u_v)
        low, high = against_min(voltage, limit.low_v), against_max(voltage, limit.high_v)
        if low is not Side.CLEAR:
            found.append(Outside(number, Edge.TOO_LOW, voltage, limit.low_v, low is Side.BEYOND))
        elif high is not Side.CLEAR and group.value_v > limit.full_v + _DUST_V:
            found.append(Outside(number, Edge.OVER_FULL, voltage, limit.high_v, high is Side.BEYOND))
    return tuple(found)


def sinking(inspections: Sequence[Inspection]) -> tuple[Sinking, ...]:
    """The groups that surely sink faster than the others by the latest inspection against any before it."""
    found: dict[int, Sinking] = {}
    for number, first in enumerate(inspections[:-1]):
        # What was charged alone in between moved by a hand: it and the others cannot be held against each other.
        later = inspections[number + 1 :]
        alone = {k for one in later for k, group in enumerate(one.groups) if group.charged_alone}
        for group, more_v, u_v, _ in _against_others(first, inspections[-1], alone):
            # The earliest inspection that shows it: the longer the time, the surer the difference.
            if more_v > u_v:
                found.setdefault(group, Sinking(group, more_v, u_v, first.at))
    return tuple(found[group] for group in sorted(found))


def rose_alone(inspections: Sequence[Inspection]) -> tuple[Rise, ...]:
    """The groups that surely rose since the last inspection but one while the others did not rise with them.

    At rest no cell gains charge by itself: such a group was charged alone, or the others lost theirs.
    """
    if len(inspections) < 2:
        return ()
    first, last = inspections[-2:]
    return tuple(
        Rise(group, -drop_v - _expanded(first.groups[group], last.groups[group]), first.at)
        for group, more_v, u_v, drop_v in _against_others(first, last, set())
        if -more_v > u_v and -drop_v > _expanded(first.groups[group], last.groups[group])
    )


def _against_others(
    first: Inspection, last: Inspection, but: Collection[int]
) -> list[tuple[int, float, float, float]]:
    """(group, how far it fell more than the middle one of the others, U of that, how far it fell) in V; not of `but`."""
    told = [k for k in range(len(last.groups)) if k not in but]
    drops = {k: first.groups[k].value_v - last.groups[k].value_v for k in told}
    expanded = {k: _expanded(first.groups[k], last.groups[k]) for k in told}
    if len(told) < 2:
        return []
    found = []
    for group, drop_v in drops.items():
        others = [k for k in told if k != group]
        usual_v = median(drops[k] for k in others)
        u_v = expanded[group] + max(expanded[k] for k in others) + UNEVEN * abs(usual_v)
        found.append((group, drop_v - usual_v, u_v, drop_v))
    return found


def _expanded(before: GroupVoltage, after: GroupVoltage) -> float:
    """U of a drop in V. One meter's gain and offset are alike in all groups and cancel between them."""
    same = before.meter and before.meter == after.meter
    if same and before.alone_u_v is not None and after.alone_u_v is not None:
        return 2.0 * math.hypot(before.alone_u_v, after.alone_u_v)
    return 2.0 * math.hypot(before.u_v, after.u_v)


def next_inspection(build: Build) -> datetime | None:
    """When the groups of a joined pack are measured next (UTC); None where there is nothing to compare."""
    if len(build.groups) < 2 or build.state is BuildState.DISMANTLED:
        return None
    if not build.inspections:
        return build.finished_at
    days, joined = due_kinds()[WATCH].days, build.inspections[0].at
    last = build.inspections[-1].at
    # A short inside shows within days of joining, a slow leak over months.
    for mark in (days["first"], days["second"]):
        if last < joined + timedelta(days=EARLY * mark):
            return joined + timedelta(days=mark)
    return last + timedelta(days=days["every"])
