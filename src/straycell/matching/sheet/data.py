"""What a pack is, in figures a maker looks for: voltages, energy, currents, fuses, and the board to look for."""

from collections.abc import Sequence
from dataclasses import dataclass
from statistics import fmean

from straycell.cells import Form
from straycell.matching.pack.groups import Group, group_loss, held
from straycell.matching.screen import Demand, UseLimits, charged_to_v, protection_trip
from straycell.matching.sheet.currents import Fusing, PackCurrents, fusing_of, pack_currents
from straycell.physics.curves import all_curves, curves_for
from straycell.physics.loads import Lamps
from straycell.physics.protection import TripRange, fuse_words, trip_range
from straycell.physics.shipped import shipped
from straycell.projects import Project
from straycell.quantities import Dimension, amp_hours, volts
from straycell.safe_side import at_least, at_most

_D = Dimension
LEAST_BALANCE_A, BALANCE_H = 0.01, 10.0
INSPECTED_DAYS, MONTH_DAYS = 90.0, 30.4


@dataclass(frozen=True, slots=True)
class PackData:
    """Voltages in V of the whole pack, energy in Wh (the low end by U), capacity of the weakest group in Ah.

    `overload` says why nothing but the fuse guards these cells against overload; `trips_late`: because the board surely
    may let more through than they bear, and not because nobody knows.
    """

    series: int
    parallel: int
    empty_v: float
    nominal_v: float
    full_v: float
    capacity_ah: float
    low_wh: float
    expected_wh: float
    size_mm: tuple[float, float, float] | None
    currents: PackCurrents
    fusing: Fusing
    board: tuple[str, ...]
    lamps: str = ""
    overload: str = ""
    trips_late: bool = False

    @property
    def alone(self) -> bool:
        """True for one cell: nothing of groups, bars and links is said of it."""
        return self.series * self.parallel == 1

    @property
    def warnings(self) -> tuple[str, ...]:
        """What keeps the build from being finished, and what the lamps of the device would get."""
        faults = [f"the build cannot be finished like this: {fault}" for fault in self.fusing.faults]
        return (*faults, *([self.lamps] if self.lamps else []))

    def to_json(self) -> dict[str, object]:
        """With the keys of the commands; a size is width, depth and height as usually arranged."""
        return {
            "empty_v": self.empty_v,
            "nominal_v": self.nominal_v,
            "full_v": self.full_v,
            "capacity_ah": self.capacity_ah,
            "energy_wh": {"low": self.low_wh, "expected": self.expected_wh},
            "size_mm": list(self.size_mm) if self.size_mm else None,
            "currents": self.currents.to_json(),
            **self.fusing.to_json(),
            "fuse_demanded": bool(self.overload),
            "board": list(self.board),
        }


def pack_data(project: Project, groups: Sequence[Group], limits: UseLimits) -> PackData:
    """The data of these groups in series in this project. Every cell has its capacity and resistance."""
    series, parallel = len(groups), len(groups[0])
    demand = Demand(project, series, parallel)
    chemistry, form = groups[0][0].facts.chemistry, groups[0][0].facts.form
    curves = curves_for(chemistry) or all_curves()
    # The mean of the open-circuit voltage over the charge is the energy of an ampere-hour.
    mean_v = fmean(fmean(curve.voltage(k / 100) for k in range(101)) for curve in curves)
    weakest = min((held(group) for group in groups), key=lambda figure: figure.low)
    least_ah = min(held(group).value for group in groups)
    each_full_v = min(charged_to_v(c, limits) for group in groups for c in group)
    full_v = each_full_v * series
    currents, fusing = pack_currents(groups, limits), fusing_of(demand, groups, limits)
    trip = protection_trip(project.protection)
    return PackData(
        series=series,
        parallel=parallel,
        empty_v=demand.stop_v(chemistry, limits) * series,
        nominal_v=mean_v * series,
        full_v=full_v,
        capacity_ah=least_ah,
        low_wh=max(0.0, weakest.low) * mean_v * series,
        expected_wh=least_ah * mean_v * series,
        size_mm=_size_mm(form, series, parallel),
        currents=currents,
        fusing=fusing,
        board=_board(demand, groups, limits, fusing, each_full_v),
        lamps=project.load.brighter(full_v) if isinstance(project.load, Lamps) else "",
        overload=_overload(trip, fusing.main.bears_a),
        trips_late=trip is not None and trip.overloads(fusing.main.bears_a),
    )


def _overload(trip: TripRange | None, bears_a: float) -> str:
    if trip is None:
        return "the trip current of the protection is missing: only the fuse guards against overload"
    return fuse_words(trip, bears_a) if trip.overloads(bears_a) else ""


def _size_mm(form: Form, series: int, parallel: int) -> tuple[float, float, float] | None:
    """Cells standing side by side, a row each group: width, depth, height; None for cells without a trade size."""
    if form.round_size_mm is None:
        return None
    across, high = form.round_size_mm
    return (across + 0.5) * parallel, (across + 0.5) * series, high


def leaked_apart_ah(groups: Sequence[Group]) -> float:
    """By how much self-discharge may drive the groups apart in Ah from one inspection to the next."""
    usual = shipped("losses")["self_discharge_per_month"]
    # Where a group's own loss is not known it may be the least or the most of what is published.
    losses = [group_loss(group) for group in groups]
    most = max(loss.high if loss else float(usual["high"]) for loss in losses)
    least = max(0.0, min(loss.low if loss else float(usual["low"]) for loss in losses))
    largest_ah = max(held(group).value for group in groups)
    return (most - least) * largest_ah * INSPECTED_DAYS / MONTH_DAYS


def _board(
    demand: Demand, groups: Sequence[Group], limits: UseLimits, fusing: Fusing, full_v: float
) -> tuple[str, ...]:
    """The protection board to look for: cells in series, cut-offs, the window of its trip, balancing."""
    chemistry, series = groups[0][0].facts.chemistry, len(groups)
    low_v, high_v = limits.cell_cutoff_v[chemistry], full_v + limits.over_full_v
    kind = f"for {series} cells in series, each watched" if series > 1 else "for one cell"
    peak_a = demand.peak_a(chemistry, limits) * demand.parallel
    one = trip_range(1.0)
    # A board trips from the low end of its spread on: its nominal figure must lie as far above the peak.
    least_a = peak_a * one.typical_a / one.low_a
    most_a = fusing.main.bears_a * one.typical_a / one.high_a
    found = [
        f"{kind} of {full_v:.2f} V ({chemistry})",
        f"stops the charge between {full_v:.2f} and {high_v:.2f} V a cell, the discharge at {volts(low_v)} or above",
    ]
    if least_a <= most_a:
        spread = "that is felt over its transistors" if series == 1 else "nominal"
        found.append(
            f"trips ({spread}) between {at_least(least_a, _D.CURRENT)} and {at_most(most_a, _D.CURRENT)}"
        )
    else:
        found.append(
            "no usual board trips above the peak and below what the cells bear: the fuse guards them"
        )
    if series > 1:
        held_ah = [held(group).value for group in groups]
        apart_ah, leaked_ah = max(held_ah) - min(held_ah), leaked_apart_ah(groups)
        # What one charge must be able to even out, within ten hours (common practice, no published source).
        balance_a = max(LEAST_BALANCE_A, (apart_ah + leaked_ah) / BALANCE_H)
        found.append(
            f"balances at the top with at least {at_least(balance_a, _D.CURRENT)} (the groups are apart by "
            f"{amp_hours(apart_ah)}, and leak apart by up to {at_least(leaked_ah, _D.CAPACITY)} between two inspections)"
        )
    return tuple(found)
