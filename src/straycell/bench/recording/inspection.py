"""Recording a look at a finished build and the voltages of a pack's groups, and what follows.

A group that sinks faster, or lies outside its limits, puts its cells on hold; a voltage outside the limits is a reading
of each of its cells, too, which the acceptance rules judge.
"""

from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace
from datetime import datetime

from straycell.acceptance import Case, Outcome, RuleSet
from straycell.acceptance.evidence import GROUP_OUTSIDE, GROUP_SANK
from straycell.bench.context import Reader, Writer
from straycell.bench.project_match import require_build
from straycell.builds import Build, GroupVoltage, Inspection
from straycell.cells import Look
from straycell.errors import BadData
from straycell.keys import NEW
from straycell.meters import Meter
from straycell.readings import Quantity, Reading, alone_u, measured
from straycell.safety.group_watch import (
    Outside,
    Rise,
    Sinking,
    allowed,
    outside,
    rose_alone,
    sinking,
)


@dataclass(frozen=True, slots=True)
class Taken:
    """One rest voltage (V) a group, by which meter, and the groups (from 0) charged by themselves; None: not said."""

    volts: Sequence[float]
    meter: str | None = None
    charged_alone: Collection[int] | None = None


@dataclass(frozen=True, slots=True)
class Seen:
    """What voltages of a build's groups show; `rises` may be groups charged alone."""

    build: Build
    inspection: Inspection
    meter: Meter | None
    sinking: tuple[Sinking, ...]
    outside: tuple[Outside, ...]
    rises: tuple[Rise, ...]


@dataclass(frozen=True, slots=True)
class Inspected:
    """A build after an inspection: what its groups showed (None: not measured), the cells that are out of use for good."""

    build: Build
    seen: Seen | None
    bad: tuple[str, ...]


def look_at_groups(reader: Reader, project: str, taken: Taken, rules: RuleSet, now: datetime) -> Seen:
    """What the rest voltages show, before anything is recorded.

    Raises BadData where the build has no groups in series to compare, or another number of them.
    """
    build, alone = require_build(reader, project), taken.charged_alone or ()
    # Groups are judged against each other: self-discharge shows as one that sinks alone.
    count = len(build.groups)
    if count < 2:
        raise BadData(
            f"the build of '{project}' has one group: there is none to compare it with",
            f"look at it instead: straycell build inspect '{project}' --look clean",
        )
    if len(taken.volts) != count:
        raise BadData(
            f"the build of '{project}' has {count} groups, and {len(taken.volts)} voltages were given",
            "give one for each group, from the minus end",
        )
    beyond = [number for number in alone if not 0 <= number < count]
    if beyond:
        raise BadData(
            f"the build of '{project}' has no group {beyond[0] + 1}", f"its groups are 1 to {count}"
        )
    meter = reader.meter(taken.meter) if taken.meter is not None else None
    groups = tuple(
        replace(_voltage(value, meter, rules, now), charged_alone=number in alone)
        for number, value in enumerate(taken.volts)
    )
    inspections = (*build.inspections, Inspection(now, groups))
    rises = tuple(rise for rise in rose_alone(inspections) if rise.group not in alone)
    limits = [
        allowed([Case(e, e.facts, rules, now) for e in reader.evidences(codes).values()])
        for codes in build.groups
    ]
    return Seen(build, inspections[-1], meter, sinking(inspections), outside(groups, limits), rises)


def record_inspection(
    writer: Writer, name: str, look: Sequence[Look], taken: Taken | None, rules: RuleSet, now: datetime
) -> Inspected:
    """Record the same look for every cell of a finished build, and the voltages of its groups. Raises BadData."""
    build = writer.live_build(name)
    if look:
        if build is None or build.finished_at is None:
            raise BadData(f"project '{name}' has no finished build", "see: straycell build list")
        # The look that counted before building must not count as the first inspection.
        if build.finished_at >= now:
            raise BadData(f"the build of '{name}' was finished just now", "look at it again later")
        writer.add_readings([Reading(NEW, c, Quantity.LOOK, now, look=tuple(look)) for c in build.codes])
    # Looked at again under the lock: the build may have changed while a question was open.
    seen = None
    if taken is not None:
        seen = inspect_groups(writer, look_at_groups(writer, name, taken, rules, now))
    build = require_build(writer, name)
    # Judged in the same write: a swollen cell must be out of use before the command ends.
    writer.settle()
    # A reservation that lost a cell is over by now; what was looked at is that build all the same.
    build = next(b for b in writer.builds(live_only=False) if b.id == build.id)
    outcomes = writer.outcomes(rules, now, build.codes)
    bad = tuple(code for code, outcome in outcomes.items() if outcome is Outcome.DISCARD)
    return Inspected(build, replace(seen, build=build) if seen else None, bad)


def inspect_groups(writer: Writer, seen: Seen) -> Seen:
    """Record what was seen; the same with the build as it is then. Raises BadData for a second inspection at one time."""
    build, groups = seen.build, seen.inspection.groups
    held = {
        GROUP_SANK: [one.group for one in seen.sinking],
        GROUP_OUTSIDE: [one.group for one in seen.outside],
    }
    made = writer.inspect_groups(build.project, groups, {why: those for why, those in held.items() if those})
    # Cells in parallel share one voltage: what over-charged or emptied the group did so to each of them.
    harmed = [(code, one.voltage.value) for one in seen.outside for code in build.groups[one.group]]
    if harmed:
        at = seen.inspection.at
        writer.add_readings([Reading(NEW, c, Quantity.VOLTAGE, at, v, meter=seen.meter) for c, v in harmed])
    return replace(seen, build=made)


def _voltage(value_v: float, meter: Meter | None, rules: RuleSet, now: datetime) -> GroupVoltage:
    reading = Reading(NEW, "", Quantity.VOLTAGE, now, value_v, meter=meter)
    u_v, own_u_v = measured(reading, rules.defaults).u, alone_u(reading, rules.defaults)
    # The step is a part of the whole, and never more than it but for the last bit.
    alone = None if own_u_v is None else min(own_u_v, u_v)
    return GroupVoltage(value_v, u_v, alone, meter.name if meter else "")
