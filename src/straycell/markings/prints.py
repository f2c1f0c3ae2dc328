"""A marking taken apart: volts, capacities, letters, words of markings.toml, and designations of IEC 61960, clause 5.1.

A designation is the printed form, and the sizes it was rounded up from.
"""

import math
import re
import unicodedata
from dataclasses import dataclass
from typing import Any

from straycell.shipped import shipped_table


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


# A figure behind a point or comma belongs to a longer number and is not a voltage of its own.
VOLTS = re.compile(r"(?<![\d.,])(\d{1,2}(?:[.,]\d{1,3})?)\s*V(?:DC|OLTS?)?(?![A-Z0-9])")
CAPACITY = re.compile(r"(?<![\d.,])(\d{1,6})(?:([.,])(\d{1,3}))?\s*(MAH|AH)(?![A-Z])")
NEAR_CAPACITY = re.compile(
    r"(?<![A-Z0-9.,])(?P<figure>(?=[A-Z0-9.,]*\d)[A-Z0-9.,]+?|[OIL]{3,})(?P<gap>\s?)(?P<unit>M?AH)(?![A-Z0-9])"
)
"""Something that ends like a capacity, with a figure in it or letters that look like figures."""
LETTERS = re.compile(r"(?<![A-Z0-9])(\d{1,2})?([IL])([A-Z])P?([RP])[-\s/]?(?=T?\d)")


def tables() -> dict[str, Any]:
    """markings.toml, read once."""
    return shipped_table("markings/markings.toml")


def says(folded: str, entry: dict[str, Any]) -> bool:
    """True when one of the words of a table is in the text."""
    # Words are printed with blanks and hyphens anywhere, so long ones are sought in the squeezed text.
    squeezed = re.sub(r"[^A-Z0-9]+", "", folded)
    return any(re.search(word, squeezed) for word in entry.get("long", ())) or any(
        re.search(rf"(?<![A-Z0-9]){word}(?![A-Z])", folded) for word in entry.get("short", ())
    )


@dataclass(frozen=True, slots=True)
class Print:
    """A marking taken apart: `rest` is the text without capacities and voltages."""

    folded: str
    rest: str
    volts: frozenset[float]
    letters: re.Match[str] | None
    iec: Designation | None

    def any_volts(self, wanted: list[float]) -> bool:
        return any(math.isclose(v, w) for v in self.volts for w in wanted)

    @property
    def negative(self) -> str:
        """I or L of an IEC form; empty for trade words such as LFP, LIR and LIP."""
        # `LFP26650` would else read as L for lithium metal, the mark of a cell that must never be charged.
        if self.letters is None or self.letters[0].startswith("LFP"):
            return ""
        first, second = self.letters[2], self.letters[3]
        return first if first == "I" or second in "CNMVTF" else ""

    @property
    def cells(self) -> tuple[int, int]:
        """(in series, in parallel) of the battery form."""
        if self.iec is not None:
            return self.iec.series, self.iec.parallel
        return max(1, int((self.letters[1] if self.letters else None) or 1)), 1


def take_apart(text: str) -> Print:
    """Upper case, volts and capacities set apart, then the letters of a designation."""
    folded = fold(text)
    volts = frozenset(float(v.replace(",", ".")) for v in VOLTS.findall(folded))
    # Their digits would pass for a size: 2600 mAh and 3.7 V are blanked out before sizes are looked for.
    rest = VOLTS.sub("  ", CAPACITY.sub("  ", folded))
    return Print(folded, rest, volts, LETTERS.search(rest), read_designation(rest))
