"""A marking taken apart: volts, capacities, letters, and the words of markings.toml found in it."""

import math
import re
from dataclasses import dataclass
from typing import Any

from straycell.markings.designations import Designation, fold, read_designation
from straycell.shipped import shipped_table

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
