"""What is on a build sheet beside the drawing: order of work, fuses and protection, charger, checks."""

import math
from collections.abc import Sequence

from straycell.errors import BadData
from straycell.matching.one_project import Match
from straycell.matching.pack.groups import joined_ohm
from straycell.matching.screen import (
    Candidate,
    Demand,
    UseLimits,
    charge_current_a,
    highest_float_v,
    protection_trip,
    trip_words,
)
from straycell.matching.sheet.currents import Fuse, figures
from straycell.matching.sheet.data import PackData
from straycell.matching.words import energy, run_hours
from straycell.physics.derating import steady_over_pulse
from straycell.physics.resistors import POWER_RATINGS_W, power_rating, rounded_up
from straycell.projects import Project, finish_faults
from straycell.quantities import Dimension, amp_hours, amps, ohms, show, volts
from straycell.safe_side import at_least, at_most, millivolts, two_figures

_D = Dimension
Notes = tuple[str, tuple[str, ...], bool]
"""(heading, lines, whether each is ticked off)."""
TEST_S, TEST_MOST_W = 10.0, max(POWER_RATINGS_W) / 2.0
"""A test load is drawn so long, and by one resistor that one can buy (common practice, no published source)."""


def cell_lines(c: Candidate) -> tuple[str, ...]:
    """The figures of one cell in the list of the sheet."""
    found = [amp_hours(c.capacity.value)] if c.capacity else []
    found += [ohms(c.resistance.value)] if c.resistance else []
    return (*found, *([volts(c.rest.measured.value)] if c.rest else []))


def sheet_notes(
    project: Project,
    match: Match,
    groups: Sequence[Sequence[Candidate]],
    limits: UseLimits,
) -> tuple[Notes, ...]:
    """The sections in the order of the work; what speaks against the build comes first."""
    series, data = len(groups), match.data
    stop = [why.text for why in match.why if not why.passed] + [
        *match.missing,
        *finish_faults(project, series=series),
        *(data.fusing.faults if data is not None else ()),
    ]
    found: list[Notes] = []
    if stop:
        found.append(("Stop: not before this is settled", tuple(dict.fromkeys(stop)), False))
    if data is not None and (dangers := danger_lines(data)):
        found.append(("Before you begin", dangers, False))
    joining = match.joining.lines if match.joining else ()
    first = ("look at each cell again: no dent, no leak, no smell, sleeve whole",)
    if not joining:
        first = (
            "look at the cell again: no dent, no leak, no smell, sleeve whole; measure its rest voltage",
        )
    found.append(("Joining, in this order" if joining else "Before it goes in", first + joining, True))
    if data is not None:
        lines = (*fuse_lines(data), *_protection(project, data, limits, groups))
        found.append(("Fuses, wire and protection", lines, True))
        found.append(("Charging", _charging(project, data), False))
    found.append(("Checks before the first charge", _checks(project, groups, limits), True))
    if series > 1:
        found.append(("Afterwards", _afterwards(series, project.name), True))
    return tuple(found)


def _protection(
    project: Project, data: PackData, limits: UseLimits, groups: Sequence[Sequence[Candidate]]
) -> tuple[str, ...]:
    protection, lines = project.protection, []
    if protection.fitted:
        kind = "cell by cell, with balancing" if data.series > 1 else "for one cell"
        kind += " or group" if data.series == 1 < data.parallel else ""
        cut = f", cuts off at {volts(protection.cutoff_v)}" if protection.cutoff_v is not None else ""
        lines.append(f"the protection in the device: {kind}{cut}")
    trip = protection_trip(protection)
    if trip is not None:
        demand = Demand(project, data.series, data.parallel)
        peak_a = demand.peak_a(groups[0][0].facts.chemistry, limits) * data.parallel
        lines.append(trip_words(trip, peak_a))
    lines += [data.overload] if data.overload else []
    lines.append("a board that fits: " + "; ".join(data.board))
    if data.series > 1:
        lines.append("balance leads in order from the minus end; the board is plugged in last")
    return tuple(lines)


def charge_lines(data: PackData) -> tuple[str, ...]:
    """What the pack may be charged with, by temperature, from its worst share."""
    of = f"the string of {data.series}" if data.series > 1 else "it"
    spans = "; ".join(
        f"{at_most(span.most_a, _D.CURRENT)} at {span.from_c:g} to {span.to_c:g} C"
        for span in data.currents.charge
    )
    return (
        f"charge {of} to {volts(data.full_v)} at most, with at most {spans}; colder or warmer not at all",
    )


def _charging(project: Project, data: PackData) -> tuple[str, ...]:
    lines = [*charge_lines(data)]
    if data.series > 1:
        lines.append("never with a charger for a single cell")
    charge = project.charge
    if charge is None:
        lines.append("it is charged outside the device")
    else:
        resistor = charge.programming_resistor_ohm
        how = f", programming resistor {ohms(resistor)}" if resistor is not None else ""
        lines.append(
            f"the charger in the device gives up to {at_least(charge_current_a(charge), _D.CURRENT)}{how}"
        )
    return (*lines, discharge_line(data))


def discharge_line(data: PackData) -> str:
    """What the pack may give, steadily and for a moment."""
    steady, peak = (at_most(a, _D.CURRENT) for a in (data.currents.discharge_a, data.currents.peak_a))
    return f"the {'cell' if data.alone else 'pack'} may give {steady} steadily, {peak} for a moment"


def _checks(project: Project, groups: Sequence[Sequence[Candidate]], limits: UseLimits) -> tuple[str, ...]:
    series, alone = len(groups), len(groups) * len(groups[0]) == 1
    most_v = series * min(highest_float_v(c, limits) for group in groups for c in group)
    limit_mv = math.floor(1000 * limits.join_v)
    first = "polarity of the cell" if alone else "polarity of every cell against both sides of the drawing"
    lines = [f"{first}; nothing bare can touch"]
    if series > 1:
        lines += [
            f"each group's voltage, the groups within {limit_mv} mV of each other: "
            + ", ".join(f"{n}: ______ V" for n in range(1, series + 1)),
            "the string's voltage is their sum: ______ V",
        ]
    else:
        lines.append("voltage at the terminals: ______ V")
    lines += [
        *_test_load(project, groups, limits),
        f"the charger alone, without cells, ends at {millivolts(most_v, up=False)} or less: ______ V",
        "first charge in sight, on a surface that does not burn; no cell more than 10 K above the room",
    ]
    if series == 1:
        lines.append("after it: let it rest an hour, measure again: ______ V")
    return tuple(lines)


def _test_load(project: Project, groups: Sequence[Sequence[Candidate]], limits: UseLimits) -> tuple[str, ...]:
    """A resistor, its seconds, and what must happen: nobody may take a test load for a short circuit."""
    series, parallel, chemistry = len(groups), len(groups[0]), groups[0][0].facts.chemistry
    demand, full_v = Demand(project, series, parallel), limits.full_v[chemistry] * series
    device_a = demand.steady_a(chemistry, limits) * parallel
    current_a = min(device_a, TEST_MOST_W / full_v)
    try:
        ohm = rounded_up(full_v / current_a)
        rating_w = power_rating(full_v**2 / ohm)
    except (BadData, ZeroDivisionError):
        return ()
    words = f"a resistor of {ohms(ohm)}, {show(rating_w, _D.POWER)}"
    pack_ohm = sum(joined_ohm(group).high for group in groups if all(c.resistance for c in group))
    c = groups[0][0]
    longer = steady_over_pulse(chemistry, c.pulse_s).high / steady_over_pulse(chemistry, TEST_S).low
    fall = at_least(max(0.01, full_v / ohm * pack_ohm * max(1.0, longer)), _D.VOLTAGE)
    return (
        f"test load: {words}, never a bare wire, for {TEST_S:g} s between the plus end behind the fuse and the minus "
        f"end: the voltage falls by no more than {fall} and comes back within a minute; if it falls further or to "
        "nothing, take the resistor away and look for a bad joint",
        "the same resistor for 10 s at the output of the protection board: it stays on",
    )


def _afterwards(series: int, name: str) -> tuple[str, ...]:
    """A cell that leaks inside shows in the voltage of its group, long before anything is warm."""
    room = ", ".join(f"{n}: ______ V" for n in range(1, series + 1))
    return (
        *(f"every group at rest, {when}: {room}" for when in ("after a day", "after 7 days")),
        f"record the voltages of joining and each of these: straycell build inspect '{name}' --groups V,V,... --meter M",
        "the same every 90 days; a group that sinks faster than the others: take the pack out of use and find its cell",
    )


def fact_lines(match: Match, project: Project, mass: str) -> tuple[str, ...]:
    """What is below the title: need, run time, the pack's own data."""
    need = project.need
    lines = [
        f"needs {need.runtime_h:g} h at {show(need.temperature_c, _D.TEMPERATURE)}, "
        f"stops at {volts(need.cutoff_v)}"
    ]
    if match.runtime is not None:
        run = match.runtime
        lines[0] += f"; runs {run_hours(run.low_h)} at the low end, {run_hours(run.expected_h)} expected"
    if match.data is not None:
        lines += data_lines(match.data, mass)
    if match.joining is not None and match.spread_ah is not None and len(match.groups) > 1:
        lines.append(f"groups apart by {amp_hours(match.spread_ah)}")
    return tuple(lines)


def data_lines(data: PackData, mass: str) -> tuple[str, ...]:
    """Voltages, energy, mass and size in two lines."""
    first, *size = pack_lines(data)
    rest = ", ".join(part for part in (mass, *size) if part)
    return (first, *([rest] if rest else []))


def pack_lines(data: PackData) -> tuple[str, ...]:
    """Voltages and energy, then the size where it is known."""
    lines = [
        f"{volts(data.empty_v)} empty, {data.nominal_v:.1f} V nominal, {volts(data.full_v)} full; "
        f"{at_most(data.low_wh, _D.ENERGY)} at the low end, {energy(data.expected_wh)} expected"
    ]
    if data.size_mm is not None:
        wide, deep, high = (math.ceil(mm) for mm in data.size_mm)
        arranged = " in size" if data.alone else ", the cells side by side, without holder and strips"
        lines.append(f"{wide} x {deep} x {high} mm{arranged}")
    return tuple(lines)


# --- fuses, wire, strip, board: every figure rounded to the safe side -----------------------------


def fuse_lines(data: PackData) -> tuple[str, ...]:
    """What to fit, in the order of the work; a fault in place of a fuse that does not exist."""
    fusing = data.fusing
    where = "one fuse in the plus wire, right at the cell" if data.alone else "one fuse right at PACK PLUS"
    lines = [_fuse(where, fusing.main)]
    if fusing.each is not None:
        lines.append(
            _fuse(
                "and a fuse (or fusible strip) for each cell, between its plus end and the bar", fusing.each
            )
        )
    wire = (
        f"{fusing.wire_mm2:g} mm2 or more"
        if fusing.wire_mm2
        else "beyond the usual tables: ask an electrician"
    )
    strip = two_figures(fusing.strip_mm2, up=True)
    bars = "" if data.alone else f"; bars and links of nickel: {strip:g} mm2 or more in all"
    lines.append(f"copper wire: {wire}{bars}")
    if data.parallel > 1:
        lines.append(f"tab of each cell: {two_figures(fusing.tab_mm2, up=True):g} mm2 of nickel or more")
    care = "insulate both ends" if data.alone else "insulate every bar, work on one joint at a time"
    lines.append(f"a short circuit may drive {_short(fusing.main)}: {care}")
    return tuple(lines)


def _fuse(where: str, fuse: Fuse) -> str:
    if fuse.rated_a is None:
        return f"{where}: {fuse.fault}"
    return (
        f"{where}: {amps(fuse.rated_a)} time-lag, at least {volts(fuse.dc_v)} d.c., breaking capacity {_breaking(fuse)} "
        f"(holds {at_least(fuse.load_a, _D.CURRENT)}; it must break before {at_most(fuse.bears_a, _D.CURRENT)})"
    )


def _breaking(fuse: Fuse) -> str:
    if not math.isfinite(fuse.breaking_a):
        return "as much as can be had: the resistance is not known well enough to say"
    return f"at least {amps(fuse.breaking_a)} d.c."


def _short(fuse: Fuse) -> str:
    return (
        at_least(fuse.short_a, _D.CURRENT) if math.isfinite(fuse.short_a) else "a current that nobody knows"
    )


def danger_lines(data: PackData) -> tuple[str, ...]:
    """What lamps would get beyond their old device, what a high voltage or energy means; empty where none is."""
    high, found = figures()["high"], [data.lamps] if data.lamps else []
    if data.full_v > high["volts"]:
        found.append(f"{volts(data.full_v)} when full: {high['volts_text']}")
    if data.expected_wh > high["wh"]:
        found.append(f"{energy(data.expected_wh)}: {high['wh_text']}")
    return tuple(found)
