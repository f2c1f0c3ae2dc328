"""The groups of a pack watched over months: which one sinks faster than the others, and when they are measured next.

A cell that leaks inside drains its group and no other. Use and charge move all groups together, so that only the
difference between groups tells; it is believed beyond the uncertainty of both.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from statistics import median

from straycell.builds import Build, BuildState, GroupVoltage, Inspection
from straycell.safety.due.survey import due_kinds

WATCH = "group-voltages"
EARLY = 0.75
"""An inspection this share of the way to its day counts for it (common practice, no published source)."""
UNEVEN = 0.1
"""Groups apart in capacity by up to so much move apart by that share of what they all move (common practice)."""


@dataclass(frozen=True, slots=True)
class Sinking:
    """A group (from 0) that sank by `more_v` (V) more than the others since `since`, surely: beyond `u_v` (U)."""

    group: int
    more_v: float
    u_v: float
    since: datetime


def sinking(inspections: Sequence[Inspection]) -> tuple[Sinking, ...]:
    """The groups that surely sink faster than the others by the latest inspection against any before it."""
    if len(inspections) < 2:
        return ()
    *before, last = inspections
    found: dict[int, Sinking] = {}
    for first in before:
        for one in _between(first, last):
            # The earliest inspection that shows it: the longer the time, the surer the difference.
            found.setdefault(one.group, one)
    return tuple(found[group] for group in sorted(found))


def _between(first: Inspection, last: Inspection) -> list[Sinking]:
    """Every group against the middle one of the others, over one span."""
    drops = [a.value_v - b.value_v for a, b in zip(first.groups, last.groups, strict=True)]
    expanded = [_expanded(a, b) for a, b in zip(first.groups, last.groups, strict=True)]
    found = []
    for group, drop_v in enumerate(drops):
        others = [k for k in range(len(drops)) if k != group]
        if not others:
            return []
        usual_v = median(drops[k] for k in others)
        u_v = expanded[group] + max(expanded[k] for k in others) + UNEVEN * abs(usual_v)
        if drop_v - usual_v > u_v:
            found.append(Sinking(group, drop_v - usual_v, u_v, first.at))
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
