"""IEC 61960 designations, clause 5.1: the printed form, and the sizes it was rounded up from."""

import math
import re
import unicodedata
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Size:
    """Outer size in mm: `across_mm` is the diameter, or the thickness when there is a width."""

    across_mm: float
    height_mm: float
    width_mm: float | None = None

    @property
    def volume_cm3(self) -> float:
        """Cylinder or box."""
        if self.width_mm is None:
            return math.pi / 4 * self.across_mm**2 * self.height_mm / 1000
        return self.across_mm * self.width_mm * self.height_mm / 1000


@dataclass(frozen=True, slots=True)
class Designation:
    """IEC 61960 clause 5.1: `N1 A1 A2 A3 N2/N3/N4-N5`. `size` is rounded up as the standard writes it."""

    negative: str
    electrode: str
    size: Size
    series: int = 1
    parallel: int = 1


def fold(text: str) -> str:
    """Upper case, one form for look-alike signs, X for a multiplication sign."""
    # NFKC joins full-width and composed signs, which scanners and copied text bring in.
    return unicodedata.normalize("NFKC", text).upper().replace("×", "X").replace("*", "X")


_IEC = re.compile(
    r"(?<![A-Z0-9])(\d{1,2})?([IL])([CNMVTF])P?(?:R[-\s/]?(T?\d{1,3})/(T?\d{1,3})"
    r"|P[-\s/]?(T?\d{1,3})/(T?\d{1,3})/(T?\d{1,3}))(?:-(\d{1,2}))?(?![A-Z0-9/])"
)


def read_designation(text: str) -> Designation | None:
    """The first IEC form with strokes in a text, like ICR19/66; None when there is none."""
    match = _IEC.search(fold(text))
    if match is None:
        return None
    series, negative, electrode, diameter, r_height, thick, width, p_height, parallel = match.groups()
    across, height = mm_of(diameter or thick), mm_of(r_height or p_height)
    size = Size(across, height, mm_of(width) if width else None)
    counts = int(series or 1), int(parallel or 1)
    if min(counts) < 1 or size.volume_cm3 <= 0:
        return None
    return Designation(negative, electrode, size, *counts)


def mm_of(digits: str) -> float:
    """`08` is 8.0, `T7` is 0.7 (tenths)."""
    return int(digits[1:]) / 10 if digits.startswith("T") else float(digits)
