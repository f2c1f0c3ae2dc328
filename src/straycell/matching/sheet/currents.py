"""What a pack may be charged and discharged with: one answer for the match, the sheet and the charger check.

The worst share decides: a pack may have no more than drives its least able cell to its own limit.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

from straycell.matching.pack.groups import Group, shares
from straycell.matching.screen import UseLimits, cell_charge_a

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
