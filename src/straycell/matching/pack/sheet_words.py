"""What stands on a build sheet beside the drawing: order of work, fuse and protection, charger, checks."""

from __future__ import annotations

import math
from collections.abc import Sequence

from straycell.matching.one_project import Match
from straycell.matching.pack.groups import held
from straycell.matching.screen.candidates import Candidate
from straycell.matching.screen.charger import charge_current_a, highest_float_v
from straycell.matching.screen.demand import Demand
from straycell.matching.screen.limits import UseLimits
from straycell.matching.screen.screening import protection_trip
from straycell.matching.words import amps, capacity, ohms, volts
from straycell.physics.shipped import shipped
from straycell.projects import Project, finish_faults
from straycell.quantities import Dimension, show

Notes = tuple[str, tuple[str, ...], bool]
"""(heading, lines, whether each is ticked off)."""


def cell_lines(c: Candidate) -> tuple[str, ...]:
    """The figures of one cell in the list of the sheet."""
    found = [capacity(c.capacity.value)] if c.capacity else []
    found += [ohms(c.resistance.value)] if c.resistance else []
    return (*found, *([volts(c.rest.measured.value)] if c.rest else []))


def sheet_notes(
    project: Project, match: Match, groups: Sequence[Sequence[Candidate]], limits: UseLimits
) -> tuple[Notes, ...]:
    """The sections in the order of the work; what speaks against the build comes first."""
    stop = [why.text for why in match.why if not why.passed] + [
        *match.missing,
        *finish_faults(project, series=len(groups)),
    ]
    found: list[Notes] = []
    if stop:
        found.append(("Stop: not before this is settled", tuple(dict.fromkeys(stop)), False))
    joining = match.joining.lines if match.joining else ()
    first = ("look at each cell again: no dent, no leak, no smell, sleeve whole; measure its rest voltage",)
    found.append(("Joining, in this order" if joining else "Before it goes in", first + joining, True))
    found.append(("Fuse and protection", _protection(project, groups, limits), True))
    found.append(("Charging", _charging(project, groups, limits), False))
    found.append(("Checks before the first charge", _checks(groups, match, limits), True))
    return tuple(found)


def _protection(
    project: Project, groups: Sequence[Sequence[Candidate]], limits: UseLimits
) -> tuple[str, ...]:
    series, parallel, chemistry = len(groups), len(groups[0]), groups[0][0].facts.chemistry
    demand, protection = Demand.of(project, limits, series, parallel), project.protection
    weakest_ah = min(held(group).value for group in groups)
    peak_a = demand.peak_a(chemistry, limits) * parallel
    most_a = float(shipped("charging")["protection"]["fuse_above_c"]) * weakest_ah
    lines = [
        f"fuse at the plus end: above the peak of {amps(peak_a)}, at most {amps(most_a)} (3C of the weakest group)"
    ]
    if parallel > 1:
        lines.append(
            "a fuse or fusible strip for each cell of a group, so that a failing one does not take all"
        )
    if protection.fitted:
        kind = "cell by cell, with balancing" if series > 1 else "for one cell or group"
        cut = f", cuts off at {volts(protection.cutoff_v)}" if protection.cutoff_v is not None else ""
        lines.append(f"protection {kind}{cut}")
    trip = protection_trip(protection)
    if trip is not None:
        lines.append(
            f"it trips between {amps(trip.low_a)} (warm) and {amps(trip.high_a)}; the device's peak is {amps(peak_a)}"
        )
    if series > 1:
        lines.append("balance leads in order from the minus end; the board is plugged in last")
    return tuple(lines)


def _charging(project: Project, groups: Sequence[Sequence[Candidate]], limits: UseLimits) -> tuple[str, ...]:
    series, parallel, chemistry = len(groups), len(groups[0]), groups[0][0].facts.chemistry
    full_v = limits.full_v[chemistry] * series
    allowed_a = min(c.allowed_in_a(limits) for group in groups for c in group) * parallel
    window = f"{limits.charge_low_c:g} to {limits.charge_high_c:g} C"
    of = f"the string of {series}" if series > 1 else "it"
    lines = [f"charge {of} to {volts(full_v)} at most, with {amps(allowed_a)} at most, at {window}"]
    if series > 1:
        lines.append("never with a charger for a single cell")
    charge = project.charge
    if charge is None:
        lines.append("it is charged outside the device")
    else:
        resistor = charge.programming_resistor_ohm
        how = f", programming resistor {ohms(resistor)}" if resistor is not None else ""
        lines.append(f"the charger in the device gives up to {amps(charge_current_a(charge))}{how}")
    return tuple(lines)


def _checks(groups: Sequence[Sequence[Candidate]], match: Match, limits: UseLimits) -> tuple[str, ...]:
    series = len(groups)
    most_v = series * min(highest_float_v(c, limits) for group in groups for c in group)
    limit_mv = math.floor(1000 * limits.join_v)
    lines = ["polarity of every cell against the drawing; nothing bare can touch"]
    if series > 1:
        lines += [
            f"each group's voltage, the groups within {limit_mv} mV of each other: "
            + ", ".join(f"{n}: ______ V" for n in range(1, series + 1)),
            "the string's voltage is their sum: ______ V",
        ]
    else:
        lines.append("voltage at the terminals: ______ V")
    lines += [
        "the board cuts off: short test load through the fuse, then the board alone",
        f"the charger alone, without cells, ends at {volts(most_v)} or less: ______ V",
        "first charge in sight, on a surface that does not burn; no cell more than 10 K above the room",
        "after it: let it rest an hour, each group's voltage again; a group that sinks is taken out",
    ]
    return tuple(lines)


def fact_lines(match: Match, project: Project) -> tuple[str, ...]:
    """What stands below the title: need, run time, spread."""
    need = project.need
    lines = [
        f"needs {need.runtime_h:g} h at {show(need.temperature_c, Dimension.TEMPERATURE)}, stops at {volts(need.cutoff_v)}"
    ]
    if match.runtime is not None:
        run = match.runtime
        lines[0] += f"; runs {run.low_h:.3g} h at the low end, {run.expected_h:.3g} h expected"
    if match.joining is not None and match.spread_ah is not None and len(match.groups) > 1:
        lines.append(f"groups apart by {capacity(match.spread_ah)}")
    return tuple(lines)
