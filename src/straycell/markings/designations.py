"""IEC 61960 designations, clause 5.1: sizes, the rounding rule, the printed form and its inverse."""

from __future__ import annotations

import math
import re
import unicodedata
from dataclasses import dataclass

from straycell.errors import BadData


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


def _round_up(mm: float) -> str:
    """Whole millimetres, rounded up; below 1 mm tenths with a t (IEC 61960 clause 5.1)."""
    # The inner rounding drops the dust of binary fractions, which would push 18.4 mm up a whole step.
    tenths = math.ceil(round(mm * 10, 6))
    if tenths < 10:
        return f"t{tenths}"
    return str(math.ceil(round(mm, 6)))


def designation(
    electrode: str, size: Size, *, negative: str = "I", series: int = 1, parallel: int = 1
) -> str:
    """The IEC form, like ICR19/66: `electrode` is the second letter, sizes in mm are rounded up.

    Raises BadData for a letter, a count or a size that the form cannot hold.
    """
    sizes = [mm for mm in (size.across_mm, size.width_mm, size.height_mm) if mm is not None]
    # The printed form has at most three digits for a measure.
    if not all(math.isfinite(mm) and 0 < mm <= 999 for mm in sizes):
        raise BadData(f"size {sizes} mm fits no designation", "give each size in mm, above 0 and up to 999")
    if negative not in ("I", "L") or not re.fullmatch("[CNMVTF]", electrode):
        raise BadData(
            f"letters '{negative}{electrode}' are not in IEC 61960", "I or L, then one of C N M V T F"
        )
    if not (1 <= series <= 99 and 1 <= parallel <= 99):
        raise BadData(f"{series} in series, {parallel} in parallel fits no designation", "1 to 99 of each")
    front = str(series) if series > 1 else ""
    back = f"-{parallel}" if parallel > 1 else ""
    shape = "R" if size.width_mm is None else "P"
    return f"{front}{negative}{electrode}{shape}{'/'.join(_round_up(mm) for mm in sizes)}{back}"


_IEC = re.compile(
    r"(?<![A-Z0-9])(\d{1,2})?([IL])([CNMVTF])P?(?:R[-\s/]?(T?\d{1,3})/(T?\d{1,3})"
    r"|P[-\s/]?(T?\d{1,3})/(T?\d{1,3})/(T?\d{1,3}))(?:-(\d{1,2}))?(?![A-Z0-9/])"
)


def read_designation(text: str) -> Designation | None:
    """The first IEC form with strokes in a text, the inverse of `designation`; None when there is none."""
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
