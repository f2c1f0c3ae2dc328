"""The over-current trip of a protection board: when it opens, and what that means for the cells behind it."""

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
