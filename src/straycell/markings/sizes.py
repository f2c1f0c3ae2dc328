"""Form and size from a marking, and what no cell of a size can hold or withstand.

A print of 9900 mAh on an 18650 is a lie, and every current that is a share of it would be a danger. Sizes are trade sizes, IEC
sizes, digits of flat cells, measures with a cross.
"""

import re
from collections.abc import Iterator
from dataclasses import dataclass

from straycell.cells import CellFacts, Form
from straycell.markings.prints import Designation, Print, Size, mm_of, tables
from straycell.quantities import Dimension, show

PRIMARY_SIZES = frozenset({Form.F16340, Form.F14500, Form.F10440})
"""Sizes that cells which are not rechargeable share (123, AA, AAA); common practice, no published source."""
_ROUND = [form for form in Form if form.round_size_mm]
_TRADE = re.compile(rf"(?<![0-9.,])({'|'.join(_ROUND)})(?![0-9])")
_NAMES = {
    r"(?:[A-Z]R|R)0?3": Form.F10440,
    r"(?:[A-Z]R|R)6": Form.F14500,
    "AAA": Form.F10440,
    "AA": Form.F14500,
    r"R?(?:CR)?-?123A?": Form.F16340,
}
_BY_EYE = re.compile(
    r"(?<![\d.])(\d{1,3}(?:\.\d+)?)\s*(?:MM)?\s*X\s*(\d{1,3}(?:\.\d+)?)\s*(?:MM)?"
    r"(?:\s*X\s*(\d{1,3}(?:\.\d+)?))?\s*(MM|CM)?(?![A-Z0-9.])"
)
_FLAT = re.compile(r"(?<![A-Z0-9.,])(?:LIPO|LIP|LP|PL|P|\d{0,2}I[A-Z]P)?[-\s]?(T?\d{5,7})(?![A-Z0-9./])")
_COIN = re.compile(r"(?<![A-Z0-9])LIR(\d\d)(\d\d)(?!\d)")


def shares_primary_size(form: Form | None) -> bool:
    """True for sizes in which cells that must never be charged are sold too: a person confirms these."""
    return form in PRIMARY_SIZES


def cylinder_form(size: Size) -> Form | None:
    """The trade size of a can: up to 1 mm wider and 2 mm longer than its name says (26650: 26 x 66.5 mm)."""
    # Sleeves and tolerances make a can wider, button tops and boards longer than its name.
    for form in _ROUND:
        across, height = form.round_size_mm or (0.0, 0.0)
        if (
            size.width_mm is None
            and across <= size.across_mm <= across + 1
            and height <= size.height_mm <= height + 2
        ):
            return form
    return None


def trade_size(form: Form) -> Size | None:
    """Nominal size in mm of a cylindrical trade size; None for pouch, prismatic and other."""
    return Size(*form.round_size_mm) if form.round_size_mm else None


def form_and_size(printed: Print) -> tuple[Form | None, Size | None, str]:
    if printed.iec is not None:
        return _from_iec(printed.iec)
    if trade := _TRADE.search(printed.rest):
        form = Form(trade[1])
        return form, trade_size(form), ""
    if coin := _COIN.search(printed.rest):
        return (
            Form.OTHER,
            Size(int(coin[1]), int(coin[2]) / 10),
            "a rechargeable coin cell; chemistry not stated",
        )
    if printed.letters is not None and printed.letters[4] == "R":
        return _from_round_digits(printed)
    if by_eye := _BY_EYE.search(printed.rest):
        return _from_measures(by_eye)
    # Names like AA come late: two letters turn up in many other words of a print.
    for name, form in _NAMES.items():
        if re.search(rf"(?<![A-Z0-9/]){name}(?![A-Z0-9])", printed.rest):
            return form, trade_size(form), ""
    return _from_flat_digits(printed)


def _from_iec(iec: Designation) -> tuple[Form | None, Size | None, str]:
    if iec.size.width_mm is None:
        return cylinder_form(iec.size) or Form.OTHER, iec.size, ""
    if iec.series * iec.parallel > 1:
        return Form.PRISMATIC, None, "the size may be the battery's: measure the cell"
    return Form.PRISMATIC, iec.size, "prismatic; a soft bag is a pouch"


def _from_round_digits(printed: Print) -> tuple[Form | None, Size | None, str]:
    """Five digits: diameter in mm, height in tenths; nothing when the can would be wider than tall."""
    assert printed.letters is not None
    digits = re.match(r"(\d\d)(\d{3})(?!\d)", printed.rest[printed.letters.end() :])
    if digits is None or int(digits[2]) / 10 <= int(digits[1]):
        return None, None, ""
    return Form.OTHER, Size(int(digits[1]), int(digits[2]) / 10), ""


def _from_measures(match: re.Match[str]) -> tuple[Form | None, Size | None, str]:
    factor = 10.0 if match[4] == "CM" else 1.0
    sizes = sorted(float(n) * factor for n in match.groups()[:3] if n)
    if sizes[0] <= 0 or sizes[-1] > 999:
        return None, None, ""
    if len(sizes) == 3:
        return Form.POUCH, Size(sizes[0], sizes[2], sizes[1]), "pouch; a metal can is prismatic"
    form = cylinder_form(Size(sizes[0], sizes[1]))
    return form, Size(sizes[0], sizes[1]) if form else None, ""


def _from_flat_digits(printed: Print) -> tuple[Form | None, Size | None, str]:
    """`603450` or `ICP103450`: two digits thickness, two width, two (or three from 100 mm on) height."""
    iec = printed.letters is not None and printed.letters[4] == "P" and printed.negative == "I"
    form = Form.PRISMATIC if iec else None
    found = _FLAT.findall(printed.rest)
    if len(found) != 1 or (iec and printed.cells[0] > 1):
        return form, None, ""
    digits = found[0]
    split = re.fullmatch(r"(T\d|\d\d)(\d\d)(\d\d|[12]\d\d)", digits)
    if split is None:
        return form, None, ""
    width, height = int(split[2]), int(split[3])
    thickness = mm_of(split[1]) if split[1].startswith("T") else _thickness(int(split[1]))
    if width < 5 or height < 5 or (not iec and (height < width or width < 10)):
        return form, None, ""  # more likely a date or a lot number
    if thickness is None or not 0 < thickness <= width:
        return form, None, f"'{digits}': the thickness can be read two ways, measure it"
    note = "prismatic; a soft bag is a pouch" if iec else "pouch; a metal can is prismatic"
    return form or Form.POUCH, Size(thickness, height, width), note


def _thickness(digits: int) -> float | None:
    rule = tables()["thickness"]
    if digits <= rule["whole_mm_to"]:
        return float(digits)
    # The first two digits are whole millimetres in one maker's code and tenths in another's (603450: 6.0 mm).
    return None if digits <= rule["ambiguous_to"] else digits / 10


@dataclass(frozen=True, slots=True)
class Ceiling:
    """One of the facts with the most it can be: its name in CellFacts, value and limit in the base unit."""

    fact: str
    value: float
    most: float
    dimension: Dimension

    @property
    def text(self) -> str:
        """The figure and what it is above, for a person."""
        value, most = show(self.value, self.dimension), show(self.most, self.dimension)
        return f"{value} is more than a cell of this size can be rated at (at most {most})"


def most_capacity_ah(facts: CellFacts) -> float | None:
    """The largest capacity in Ah that a cell of this chemistry and size can be rated at; None without a size."""
    # lfp holds less than other chemistries in the same can, so the pair with the chemistry is asked for first.
    known = tables()["most"]["capacity_ah"]
    for key in (f"{facts.chemistry}/{facts.form}", str(facts.form)):
        if key in known:
            return float(known[key])
    return _by_volume(facts, "capacity_ah")


def beyond_size(facts: CellFacts) -> Iterator[Ceiling]:
    """The facts that no cell of this size has, each with its ceiling."""
    limits = (
        ("rated_capacity_ah", Dimension.CAPACITY, most_capacity_ah(facts)),
        ("maker_charge_current_a", Dimension.CURRENT, _by_volume(facts, "charge_a")),
        ("maker_discharge_current_a", Dimension.CURRENT, _by_volume(facts, "discharge_a")),
    )
    # Sheets state currents cell by cell: volume stands in for size, because electrode area grows with it
    # (markings.toml).
    for name, dimension, most in limits:
        value = getattr(facts, name)
        if most is not None and value is not None and value > most:
            yield Ceiling(name, value, most, dimension)


def rating_beyond_size(facts: CellFacts) -> Ceiling | None:
    """The rated capacity where it is more than the size can hold."""
    return next((each for each in beyond_size(facts) if each.fact == "rated_capacity_ah"), None)


def _by_volume(facts: CellFacts, name: str) -> float | None:
    size = trade_size(facts.form)
    # A trade size fixes the volume; a measured one only counts for cells of no trade size.
    volume_cm3 = facts.volume_cm3 if size is None else size.volume_cm3
    return None if volume_cm3 is None else float(tables()["most"]["per_cm3"][name]) * volume_cm3
