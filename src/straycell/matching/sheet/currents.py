"""What a pack may be charged and discharged with, and the fuses, wire and strip between that and what its device draws.

The worst share decides: a pack may have no more than drives its least able cell to its own limit.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, NamedTuple

from straycell.matching.pack.groups import Group, parallel_ohm, shares
from straycell.matching.screen import Candidate, Demand, UseLimits, cell_charge_a, charge_current_a
from straycell.physics.derating import steady_over_pulse
from straycell.physics.shipped import shipped
from straycell.quantities import Dimension
from straycell.safe_side import at_least, at_most, beside
from straycell.shipped import shipped_table

_D = Dimension
STEP_C = 5.0
"""Charge currents are reported for spans of so many kelvin; within one the least counts."""


class ChargeSpan(NamedTuple):
    """From `from_c` to `to_c` (degC) the pack takes `most_a` (A) at most."""

    from_c: float
    to_c: float
    most_a: float


@dataclass(frozen=True, slots=True)
class PackCurrents:
    """In A: steady, a peak of the rules' seconds, and the charge by temperature, coldest span first."""

    discharge_a: float
    peak_a: float
    charge: tuple[ChargeSpan, ...]

    def to_json(self) -> dict[str, object]:
        return {
            "discharge_a": self.discharge_a,
            "peak_a": self.peak_a,
            "charge": [span._asdict() for span in self.charge],
        }


def pack_currents(groups: Sequence[Group], limits: UseLimits) -> PackCurrents:
    """What these groups in series may have."""
    # Peaks scale with the steady limit (`peak-factor`, common practice).
    steady_a = least(groups, [[c.allowed_out_a(limits) for c in group] for group in groups])
    return PackCurrents(steady_a, limits.peak_factor * steady_a, _charge_spans(groups, limits))


def pack_charge_a(groups: Sequence[Group], limits: UseLimits, at_c: float | None) -> float:
    """The most charge current in A at this temperature (None: in a room)."""
    return least(groups, [[cell_charge_a(c, limits, at_c) for c in group] for group in groups])


def least(groups: Sequence[Group], allowed_a: Sequence[Sequence[float]]) -> float:
    """The current in A of the pack at which the first cell carries what it may, by the largest share it can have."""
    # Cells of a pack cannot be asked apart: the first one at its limit stops all.
    return min(
        most / share if share > 0 else float("inf")
        for group, row in zip(groups, allowed_a, strict=True)
        for most, share in zip(row, shares(group), strict=True)
    )


def _charge_spans(groups: Sequence[Group], limits: UseLimits) -> tuple[ChargeSpan, ...]:
    found: list[ChargeSpan] = []
    low_c = limits.charge_low_c
    while low_c < limits.charge_high_c:
        high_c = min(limits.charge_high_c, (low_c // STEP_C + 1) * STEP_C)
        # The rates rise in straight lines with their corners at whole spans: the least lies at one of the ends.
        inside = (low_c + 1e-6, high_c - 1e-6)
        most_a = min(pack_charge_a(groups, limits, at_c) for at_c in inside)
        if found and math.isclose(found[-1].most_a, most_a, rel_tol=1e-4):
            found[-1] = found[-1]._replace(to_c=high_c, most_a=min(found[-1].most_a, most_a))
        else:
            found.append(ChargeSpan(low_c, high_c, most_a))
        low_c = high_c
    return tuple(found)


@dataclass(frozen=True, slots=True)
class Fuse:
    """One fuse, in A: it must hold the load from `load_a` on and break before a part carries more than `bears_a`.

    `rated_a` None: no value of the usual series does both. `breaking_a` is what a short circuit may drive through it;
    infinite where a resistance is not known well enough to say. `dc_v` is the least d.c. rating in V.
    """

    rated_a: float | None
    load_a: float
    bears_a: float
    dc_v: float
    short_a: float
    breaking_a: float
    series: str = ""

    def to_json(self) -> dict[str, object]:
        fields = ("rated_a", "load_a", "bears_a", "dc_v", "short_a", "breaking_a")
        values = {name: getattr(self, name) for name in fields}
        return {k: v if v is None or math.isfinite(v) else None for k, v in values.items()}

    @property
    def fault(self) -> str:
        """Why none fits; empty where one does."""
        if self.rated_a is not None:
            return ""
        return (
            f"no standard fuse holds {at_least(self.load_a, _D.CURRENT)} and breaks before a cell carries more than it "
            f"bears ({at_most(self.bears_a, _D.CURRENT)} through the fuse)"
        )


@dataclass(frozen=True, slots=True)
class Fusing:
    """The fuse of the pack, that of each cell in parallel (None for groups of one), wire and strip in mm2."""

    main: Fuse
    each: Fuse | None
    wire_mm2: float | None
    strip_mm2: float
    tab_mm2: float

    @property
    def faults(self) -> list[str]:
        """What no fuse can be found for, with what to change."""
        change = "take more cells in parallel or larger ones, or a device that draws less"
        main = [f"{self.main.fault}: {change}"] if self.main.fault else []
        each = [f"for each cell: {self.each.fault}: {change}"] if self.each and self.each.fault else []
        return main + each

    def to_json(self) -> dict[str, object]:
        return {
            "fuse": self.main.to_json(),
            "cell_fuse": self.each.to_json() if self.each else None,
            "wire_mm2": self.wire_mm2,
            "strip_mm2": self.strip_mm2,
            "tab_mm2": self.tab_mm2,
        }


def figures() -> dict[str, Any]:
    """fuses.toml."""
    return shipped_table("matching/sheet/fuses.toml")


def fusing_of(demand: Demand, groups: Sequence[Group], limits: UseLimits) -> Fusing:
    """Every fuse of these groups in series under this demand, and what carries the current between them."""
    chemistry = groups[0][0].facts.chemistry
    parallel = len(groups[0])
    charge = demand.project.charge
    steady_a = demand.steady_a(chemistry, limits) * parallel
    steady_a = max(steady_a, charge_current_a(charge) if charge is not None else 0.0)
    peak_a = max(steady_a, demand.peak_a(chemistry, limits) * parallel)
    full_v = limits.full_v[chemistry] * len(groups)
    # The highest current flows from full cells in the first moment; that is what the fuse must break.
    short_a = _short_a(full_v, [_ohmic(group) for group in groups])
    # The pack bears what its first cell bears at the largest share it can have.
    pack_bears_a = least(groups, [[bears_a(c) for c in group] for group in groups])
    main = fuse_for(steady_a, peak_a, pack_bears_a, full_v, short_a)
    most_share = max(share for group in groups for share in shares(group))
    each = None
    if parallel > 1:
        # What feeds a shorted cell is the rest of its group; its own resistance may be gone.
        fed_a = max(
            _short_a(limits.full_v[chemistry], [_ohmic([c for c in group if c is not cell])])
            for group in groups
            for cell in group
        )
        # A fuse per cell is one value for all, so the weakest cell chooses it.
        weakest_a = min(bears_a(c) for group in groups for c in group)
        each = fuse_for(most_share * steady_a, most_share * peak_a, weakest_a, full_v, fed_a)
    carried_a = main.rated_a or peak_a
    strip = float(figures()["strip"]["amps_per_mm2"])
    return Fusing(main, each, wire_mm2(carried_a), carried_a / strip, most_share * carried_a / strip)


def bears_a(c: Candidate) -> float:
    """The current in A beyond which a cell is overloaded: its maker's, else a multiple of its capacity per hour."""
    # A sleeve from elsewhere bears another cell's figures.
    maker_a = None if c.facts.rewrapped else c.facts.maker_discharge_current_a
    if maker_a is not None:
        return maker_a
    rate = float(shipped("charging")["protection"]["fuse_above_c"])
    return rate * max(0.0, c.capacity.low) if c.capacity is not None else 0.0


def fitted_fault(needed: Fuse, rated_a: float) -> str:
    """Why a fuse of this rating (A) does not do what is needed of it; empty where it does."""
    alike = [one for one in figures()["series"] if rated_a in one["rated_a"]] or figures()["series"]
    # Of a rating that is in no series the worst of them all is taken.
    melts_a = max(one["melts"] for one in alike) * rated_a
    holds_a = min(one["holds"] for one in alike) * rated_a
    if melts_a > needed.bears_a:
        most, bears = beside(melts_a, needed.bears_a, _D.CURRENT)
        return f"it melts only at {most}, and the cells bear {bears}"
    if holds_a < needed.load_a:
        load, holds = beside(needed.load_a, holds_a, _D.CURRENT)
        return f"it holds {holds}, and the device draws {load}"
    return ""


def fuse_for(steady_a: float, peak_a: float, bears: float, full_v: float, short_a: float) -> Fuse:
    """The smallest of the usual values that holds the load and melts in time; a very small one only where it must be."""
    share, prefer_a = float(figures()["steady"]["share"]), float(figures()["small"]["prefer_a"])
    fits = [
        (float(rated), str(series["source"]))
        for series in figures()["series"]
        for rated in series["rated_a"]
        if steady_a <= share * rated and peak_a <= series["holds"] * rated <= series["melts"] * rated <= bears
    ]
    # Below 1 A a fuse's own resistance costs a device of one cell its voltage: only where nothing larger
    # melts in time.
    found = next((fit for fit in fits if fit[0] >= prefer_a), fits[-1] if fits else None)
    # Direct current has no zero crossing to put an arc out: the a.c. rating of a fuse does not count.
    dc_v = _next_above(figures()["dc"]["volts"], full_v)
    # A fuse that cannot break the short current goes on as an arc.
    breaking_a = _next_above(figures()["breaking"]["amps"], short_a)
    rated_a, source = found or (None, "")
    return Fuse(rated_a, max(steady_a, peak_a), bears, dc_v, short_a, breaking_a, source)


def _next_above(values: Sequence[float], least_value: float) -> float:
    return next((float(v) for v in values if v >= least_value * (1 - 1e-9)), least_value)


def _ohmic(group: Sequence[Candidate]) -> float:
    """The least resistance in ohm that a group can show in the first moment of a short circuit."""
    return parallel_ohm([_ohmic_of(c) for c in group])


def _ohmic_of(c: Candidate) -> float:
    # Unknown resistance: the short current may be anything, and the sheet says so.
    if c.resistance is None:
        return 0.0
    # A pulse of a second shows more than the first moment does: back to what 1 kHz would.
    chemistry = c.facts.chemistry
    longer = steady_over_pulse(chemistry, 0.0).expected / steady_over_pulse(chemistry, c.pulse_s).expected
    return max(0.0, c.resistance.low) / max(1.0, longer)


def _short_a(full_v: float, ohms: Sequence[float]) -> float:
    total = math.fsum(ohms)
    return full_v / total if total > 0 else math.inf


def wire_mm2(current_a: float) -> float | None:
    """The least cross-section of copper wire in mm2 that carries a fuse's rating; None beyond the table."""
    wire = figures()["wire"]
    pairs = zip(wire["mm2"], wire["amps"], strict=True)
    return next((float(mm2) for mm2, amps in pairs if amps >= current_a), None)
