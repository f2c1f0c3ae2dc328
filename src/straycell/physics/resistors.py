"""Resistors one can buy: E24 and E96 values (IEC 60063), colour bands (IEC 60062), power ratings."""

import math
from bisect import bisect_left
from collections.abc import Sequence
from dataclasses import dataclass

from straycell.errors import BadData
from straycell.physics.shipped import shipped

SMALLEST_OHM = 0.1
LARGEST_OHM = 22e6
"""Leaded resistors are sold from about 0.1 ohm to 22 Mohm; common practice, no published source."""
POWER_RATINGS_W = (0.125, 0.25, 0.5, 1.0, 2.0, 3.0, 5.0, 10.0)
"""Usual ratings of leaded resistors; common practice, no published source."""
# Values like 4.7e3 come out of floating point a hair off: without slack 4.7 kohm would round up to 5.1.
_NEAR = 1e-9


def series_values(name: str) -> tuple[int, ...]:
    """The mantissas of a series, two figures for e24 and three for e96: from the table, never the formula."""
    # E24 differs from the rounded formula at eight values (IEC 60063), so the table is the only truth.
    values: list[int] = shipped("resistors")[name]["values"]
    return tuple(values)


def _all(name: str) -> list[float]:
    scale = 10 if name == "e24" else 100
    return [m * 10.0**d / scale for d in range(-1, 8) for m in series_values(name)]


def _checked(ohm: float) -> float:
    if not (math.isfinite(ohm) and ohm > 0):
        raise BadData(f"resistor: {ohm:g} ohm", "a resistor has more than zero ohm, like 1.2kohm")
    if not SMALLEST_OHM <= ohm <= LARGEST_OHM:
        raise BadData(
            f"resistor: {ohm:g} ohm is not sold as one piece",
            f"from {SMALLEST_OHM:g} ohm to {LARGEST_OHM / 1e6:g} Mohm",
        )
    return ohm


def rounded_up(ohm: float, series: str = "e24") -> float:
    """The smallest value of the series in ohm that is not below `ohm`."""
    values = _all(series)
    return values[bisect_left(values, _checked(ohm) * (1 - _NEAR))]


def rounded_down(ohm: float, series: str = "e24") -> float:
    """The largest value of the series in ohm that is not above `ohm`."""
    values = _all(series)
    at = bisect_left(values, _checked(ohm) * (1 + _NEAR))
    return values[at - 1]


def nearest(ohm: float, series: str = "e24") -> float:
    """The value of the series in ohm nearest by ratio; the smaller one on a tie."""
    low, high = rounded_down(ohm, series), rounded_up(ohm, series)
    # Series are geometric, so the middle between two values is their geometric mean, not the arithmetic one.
    return low if ohm * ohm <= low * high else high


def is_standard(ohm: float) -> bool:
    """Whether one can buy exactly this value."""
    return math.isclose(rounded_up(ohm), ohm, rel_tol=1e-6)


# --- colour bands ----------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class BandReading:
    """What bands say: resistance in ohm, tolerance as a share, and the ends of it in ohm."""

    ohm: float
    tolerance: float

    @property
    def low_ohm(self) -> float:
        return self.ohm * (1 - self.tolerance)

    @property
    def high_ohm(self) -> float:
        return self.ohm * (1 + self.tolerance)


def bands(ohm: float, tolerance: float = 0.05) -> tuple[str, ...]:
    """The colours of a resistor: two figures, multiplier, tolerance; three figures at 2 % and tighter.

    At 20 % there is no fourth band. Raises BadData for a value that two (three) figures cannot write.
    """
    table = shipped("resistors")
    # Green and violet may both say 0.5 %: the first in the standard's order is what is sold.
    named = {share: colour for colour, share in reversed(table["tolerance"].items())}
    if tolerance not in named:
        raise BadData(
            f"resistor: there is no band for {tolerance:.3g}",
            f"tolerances: {', '.join(f'{t:g}' for t in sorted(named))}",
        )
    # Bands of 2 % and tighter carry three figures (IEC 60062, as labelling guides give it).
    figures = 3 if tolerance <= 0.02 else 2
    exponent = math.floor(math.log10(_checked(ohm)) + _NEAR) - figures + 1
    digits = round(ohm / 10.0**exponent)
    if not math.isclose(digits * 10.0**exponent, ohm, rel_tol=1e-6):
        raise BadData(
            f"resistor: {ohm:g} ohm has more than {figures} figures", f"nearest: {nearest(ohm):g} ohm"
        )
    powers = {power: colour for colour, power in table["multiplier"].items()}
    if exponent not in powers:
        raise BadData(f"resistor: no multiplier band for {ohm:g} ohm", "read or print the value as text")
    by_digit: list[str] = table["digits"]
    colours = (*(by_digit[int(d)] for d in str(digits)), powers[exponent])
    last = named[tolerance]
    return colours if last == "none" else (*colours, last)


def read_bands(colours: Sequence[str]) -> BandReading:
    """The value of three (20 %), four or five bands, read from the end they crowd at."""
    words = [_tidy(c) for c in colours]
    if not 3 <= len(words) <= 6:
        raise BadData(
            f"resistor: {len(words)} bands", "name three to six colours from one end, like green,red,gold"
        )
    table = shipped("resistors")
    figures = 3 if len(words) >= 5 else 2
    number = 0
    for word in words[:figures]:
        number = 10 * number + _digit(word, table["digits"])
    if number == 0:
        raise BadData(
            "resistor: the figures are all black", "a single black band is a wire bridge, not a resistor"
        )
    if words[figures] not in table["multiplier"]:
        raise BadData(f"resistor: {words[figures]} is not a multiplier", "read it from the other end")
    tolerance = words[figures + 1] if len(words) > figures + 1 else "none"
    if tolerance not in table["tolerance"]:
        raise BadData(f"resistor: {tolerance} is not a tolerance", "read it from the other end")
    power = table["multiplier"][words[figures]]
    # Dividing by an exact power of ten rounds once; 10.0**-2 is itself already rounded.
    ohm = number * 10.0**power if power >= 0 else number / 10.0**-power
    return BandReading(ohm, table["tolerance"][tolerance])


def _tidy(colour: str) -> str:
    word = colour.strip().lower()
    # Both spellings are in use in shops and on tables; neither is a mistake.
    return {"gray": "grey", "purple": "violet"}.get(word, word)


def _digit(word: str, digits: Sequence[str]) -> int:
    if word not in digits:
        raise BadData(
            f"resistor: {word} is not a figure",
            f"figures: {', '.join(digits)}; or read it from the other end",
        )
    return digits.index(word)


# --- power -----------------------------------------------------------------------------------------


def power_rating(dissipated_w: float) -> float:
    """The rating in W to buy: the smallest usual one of at least twice what is dissipated (common practice)."""
    if not (math.isfinite(dissipated_w) and dissipated_w >= 0):
        raise BadData(f"resistor: {dissipated_w:g} W", "a power is zero or more")
    for rating in POWER_RATINGS_W:
        # A resistor at its full rating gets hot enough to burn fingers and board: half of it is common practice.
        if rating >= 2.0 * dissipated_w * (1 - _NEAR):
            return rating
    raise BadData(
        f"resistor: {dissipated_w:.3g} W is too much for one leaded resistor",
        "share it between several, or use one made for a heat sink",
    )
