"""The over-current trip of a protection board: when it opens, and what that means for a project."""

from __future__ import annotations

import math
from dataclasses import dataclass

from straycell.errors import BadData
from straycell.physics.shipped import shipped
from straycell.quantities import Dimension
from straycell.safe_side import beside


@dataclass(frozen=True, slots=True)
class TripRange:
    """Trip current in A: typical, lowest (hot transistors, low detection) and highest (cold, high detection)."""

    typical_a: float
    low_a: float
    high_a: float

    def overloads(self, bears_a: float) -> bool:
        """True where it may trip only beyond what the cells bear (A): then a fuse has to guard them."""
        return self.high_a > bears_a


def trip_range(transistor_ohm: float) -> TripRange:
    """From the resistance of one of the two transistors: detection voltage / (2 R), 0.12 to 0.18 V, heat counted."""
    if not (math.isfinite(transistor_ohm) and transistor_ohm > 0):
        raise BadData(f"protection: transistor of {transistor_ohm:g} ohm", "write it like 25mohm")
    rule = shipped("charging")["protection"]
    # The board senses over its transistors, whose resistance rises with heat: a warm board trips earlier.
    hot_ohm = transistor_ohm * rule["hot_ratio"]
    return TripRange(
        # Two transistors in series lie in the path, one for each direction, hence the factor of two (protection
        # sheet).
        rule["detect_v"] / (2 * transistor_ohm),
        rule["detect_low_v"] / (2 * hot_ohm),
        rule["detect_high_v"] / (2 * transistor_ohm),
    )


def shunt_trip(nominal_a: float) -> TripRange:
    """The range of a board that feels its current over a resistor of its own: only the detection voltage spreads."""
    rule = shipped("charging")["protection"]
    return TripRange(
        nominal_a,
        nominal_a * rule["detect_low_v"] / rule["detect_v"],
        nominal_a * rule["detect_high_v"] / rule["detect_v"],
    )


def fuse_words(trip: TripRange, bears_a: float) -> str:
    """What a board that overloads its cells is good for, and what is needed beside it."""
    # A dead short pulls the voltage down and opens any board; an overload below its trip it lets through for hours.
    most, least = beside(trip.high_a, bears_a, Dimension.CURRENT)
    return (
        f"the board may let {most} through, and the cells bear {least} (their maker's current, else 3C of the weakest): "
        "it counts for over-charge, over-discharge and a short circuit; against overload add a fuse"
    )


@dataclass(frozen=True, slots=True)
class ProtectionAnswer:
    """Whether the protection serves, and what to change or add."""

    ok: bool
    advice: tuple[str, ...]


def check_protection(
    bears_a: float,
    peak_a: float,
    *,
    fitted: bool,
    trip: TripRange | None = None,
    series: int = 1,
    per_cell: bool = False,
    balancing: bool = False,
) -> ProtectionAnswer:
    """Judge a protection for cells of which the weakest group bears `bears_a` (A, of the pack), and a peak in A."""
    if not fitted:
        return ProtectionAnswer(
            False, ("no protection: add a board against over-charge, over-discharge, over-current",)
        )
    faults, hints = [], []
    if series > 1 and not per_cell:
        faults.append("cells in series need protection cell by cell")
    if series > 1 and not balancing:
        faults.append("cells in series need balancing, and never a charger for a single cell")
    if trip is None:
        hints.append("trip current unknown: look up the two transistors' resistance")
    else:
        # The low end decides: a trip on a warm day ends the run as surely as an empty cell.
        if peak_a >= trip.low_a:
            peak, low = beside(peak_a, trip.low_a, Dimension.CURRENT)
            faults.append(
                f"the peak of {peak} may trip a warm board from {low} on: use transistors of less resistance"
            )
        if trip.overloads(bears_a):
            hints.append(fuse_words(trip, bears_a))
    return ProtectionAnswer(not faults, (*faults, *hints))
