"""Recording the voltages of a pack's groups, and what follows: a group that sinks faster puts its cells on hold."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from straycell.acceptance.rules import RuleSet
from straycell.builds import Build, GroupVoltage, Inspection
from straycell.errors import BadData
from straycell.keys import NEW
from straycell.meters import Meter
from straycell.readings import Quantity, Reading, alone_u, measured
from straycell.safety.group_watch import Sinking, next_inspection, sinking
from straycell.store.writer import Writer


@dataclass(frozen=True, slots=True)
class Inspected:
    """The build as it is now, the groups that sink, and when the next inspection is due (UTC)."""

    build: Build
    sinking: tuple[Sinking, ...]
    next_at: datetime | None


def inspect_groups(
    writer: Writer, project: str, volts: Sequence[float], meter: Meter | None, rules: RuleSet, now: datetime
) -> Inspected:
    """Record one rest voltage (V) a group. Raises BadData where the build has no groups in series to compare."""
    build = writer.live_build(project)
    if build is None:
        raise BadData(f"project '{project}' has no build", "see: straycell build list")
    if len(build.groups) < 2:
        raise BadData(
            f"the build of '{project}' has one group: there is none to compare it with",
            f"look at it instead: straycell build inspect '{project}' --look clean",
        )
    groups = tuple(_voltage(value, meter, rules, now) for value in volts)
    fits = len(groups) == len(build.groups)
    found = sinking((*build.inspections, Inspection(now, groups))) if fits else ()
    made = writer.inspect_groups(project, groups, [one.group for one in found])
    return Inspected(made, found, next_inspection(made))


def _voltage(value_v: float, meter: Meter | None, rules: RuleSet, now: datetime) -> GroupVoltage:
    reading = Reading(NEW, "", Quantity.VOLTAGE, now, value_v, meter=meter)
    u_v, own_u_v = measured(reading, rules.defaults).u, alone_u(reading, rules.defaults)
    # The step is a part of the whole, and never more than it but for the last bit.
    alone = None if own_u_v is None else min(own_u_v, u_v)
    return GroupVoltage(value_v, u_v, alone, meter.name if meter else "")
