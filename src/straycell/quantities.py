"""Volts, ampere-hours, ohms: one parser, one printer, one value with its uncertainty.

A parser of our own: quantiphy reads `90min` as 0.09 in and `3,7V` as 37 V, pint takes 0.4 s to import and accepts
far more than a bench means. The unit tables are closed, and every wrong spelling has its message.

Nomenclature. Inside the program every number is in the unit its name ends with: `_v` volt, `_a` ampere,
`_ah` ampere-hour, `_ohm` ohm, `_w` watt, `_wh` watt-hour, `_s` second, `_h` hour, `_c` degree Celsius,
`_g` gram, `_mm` millimetre. `u` is a standard uncertainty, `U` the expanded one (k = 2, JCGM 100).
"""

import math
import re
from dataclasses import dataclass
from enum import Enum

from straycell.errors import BadData

COVERAGE_FACTOR = 2.0
"""U = 2u, about 95 % for a normal error (JCGM 100:2008, 6.2)."""


@dataclass(frozen=True, slots=True)
class _Kind:
    noun: str
    base: str
    example: str
    units: dict[str, float]
    may_be_negative: bool = False


_SCALES = {"": 1.0, "m": 1e-3, "u": 1e-6, "µ": 1e-6, "μ": 1e-6, "k": 1e3, "M": 1e6}


def _scaled(symbol: str, prefixes: str, *aliases: str) -> dict[str, float]:
    """{"V": 1.0, "mV": 0.001, ...} for the prefixes a bench meets with this unit."""
    names = (symbol, *aliases)
    return {p + name: _SCALES[p] for p in ("", *prefixes) for name in names}


class Dimension(Enum):
    """What a number measures. The value's unit in the program is `base`."""

    VOLTAGE = _Kind("voltage", "V", "3.71V", _scaled("V", "mu"), may_be_negative=True)
    CURRENT = _Kind("current", "A", "0.5A", _scaled("A", "muµμ"))
    CAPACITY = _Kind("capacity", "Ah", "2010mAh", _scaled("Ah", "m"))
    # Ohm has two code points too, the Greek omega and the ohm sign; prints and keyboards use both.
    RESISTANCE = _Kind("resistance", "ohm", "48mohm", _scaled("ohm", "mkM", "Ohm", "\u03a9", "\u2126"))
    POWER = _Kind("power", "W", "0.4W", _scaled("W", "mk"))
    ENERGY = _Kind("energy", "Wh", "9.5Wh", _scaled("Wh", "mk"))
    DURATION = _Kind(
        "duration", "s", "24h", {"s": 1.0, "min": 60.0, "h": 3600.0, "d": 86400.0, "w": 604800.0}
    )
    TEMPERATURE = _Kind("temperature", "C", "22C", {"C": 1.0, "°C": 1.0, "degC": 1.0}, may_be_negative=True)
    MASS = _Kind("mass", "g", "45g", {"g": 1.0, "kg": 1000.0})
    LENGTH = _Kind("length", "mm", "65mm", {"mm": 1.0, "cm": 10.0})
    FRACTION = _Kind("share", "", "1.5%", {"%": 0.01})

    @property
    def noun(self) -> str:
        return self.value.noun

    @property
    def base(self) -> str:
        return self.value.base


@dataclass(frozen=True, slots=True)
class Window:
    """What can be meant at all: a figure outside is a slip of the finger, not a reading (common practice)."""

    low: float
    high: float
    of: str = "one cell"
    below: str = "check the decimal point and the unit"


CELL_WINDOWS: dict[Dimension, Window] = {
    # A cell driven into reversal rests near zero; -3.6 V is a sound cell on crossed leads (common practice).
    Dimension.VOLTAGE: Window(-1.0, 5.0, below="leads crossed? turn them and measure again"),
    Dimension.CURRENT: Window(0.0, 500.0),
    Dimension.CAPACITY: Window(0.001, 500.0),
    Dimension.RESISTANCE: Window(1e-5, 100.0),
    # Up to 250 C, so that a cell that ran away can be recorded as what it was.
    Dimension.TEMPERATURE: Window(-60.0, 250.0, "a bench"),
    Dimension.DURATION: Window(0.0, 20 * 365.25 * 86400.0, "anything stored here"),
    Dimension.MASS: Window(0.1, 5000.0),
}
ANY_WINDOW = Window(-math.inf, math.inf)
BARE_WINDOWS: dict[Dimension, Window] = {
    # Whoever thinks in Ah, ohm, mA or Fahrenheit types 2.4, 0.05, 500 or 72 (common practice, no published source).
    Dimension.CAPACITY: Window(0.01, 500.0),
    Dimension.RESISTANCE: Window(1e-3, 10.0),
    Dimension.CURRENT: Window(1e-3, 50.0),
    Dimension.TEMPERATURE: Window(-40.0, 60.0),
}
"""What a number typed without its unit can mean: outside it is a slip of the unit, unless the unit is written."""
LONGEST_TEXT = 100
"""Beyond it the pattern below would look back and forth for minutes."""

_NUMBER = re.compile(r"^\s*([+-]?)(\d+(?:\.\d*)?|\.\d+)([eE][+-]?\d+)?\s*(.*?)\s*$")
_JOINED = re.compile(r"^\s*(\d+)\s*([a-z]+)\s*(\d+)\s*([a-z]*)\s*$")
_LONG_NAMES = {"day": "d", "week": "w", "hour": "h", "minute": "min", "second": "s"}
_NEXT_SMALLER = {"w": "d", "d": "h", "h": "min", "min": "s"}
_COMMA = re.compile(r"^\s*[+-]?\d+,\d+")


def parse_quantity(
    text: str,
    dimension: Dimension,
    *,
    window: Window | None = None,
    bare: str | None = None,
    name: str | None = None,
    prompted: bool = True,
) -> float:
    """Read a number with its unit and return it in the dimension's base unit.

    `window` bounds what is plausible (default: one cell's). `bare` names the unit a number without one is
    taken in; only what names the unit passes it. `name` is what messages call the value. A bare number outside
    BARE_WINDOWS needs its unit where it was typed at a prompt (`prompted`), not in a file that has it in a column.
    Raises BadData: missing or wrong unit, decimal comma, negative or implausible value.
    """
    kind = dimension.value
    label = name or kind.noun
    if len(text) > LONGEST_TEXT:
        raise BadData(
            f"{len(text)} characters are not a number with a unit", f"write it like {kind.example}", of=label
        )
    said, text = text, _one_unit(text) if dimension is Dimension.DURATION else text
    if _COMMA.match(text):
        raise _comma_fault(label, text)
    match = _NUMBER.match(text)
    if match is None:
        raise BadData(f"'{text}' is not a number with a unit", f"write it like {kind.example}", of=label)
    sign, digits, exponent, unit = match.groups()
    # Case is part of the unit: mohm and Mohm differ by a factor of a billion.
    factor = kind.units.get(unit or (bare or ""))
    if factor is None:
        raise _unit_fault(label, text, f"{sign}{digits}{exponent or ''}", unit, dimension)
    value = float(f"{sign}{digits}{exponent or ''}") * factor
    if not math.isfinite(value):
        raise BadData(f"'{text}' is too large to be meant", f"write it like {kind.example}", of=label)
    if value < 0 and not kind.may_be_negative:
        raise BadData(
            f"'{text}' is negative", f"a {kind.noun} is zero or more, like {kind.example}", of=label
        )
    _check_window(label, said, value, dimension, window or CELL_WINDOWS.get(dimension, ANY_WINDOW))
    meant = BARE_WINDOWS.get(dimension, ANY_WINDOW)
    if prompted and not unit and not meant.low <= value <= meant.high:
        fits = [u for u in _plain_units(kind) if meant.low <= value / factor * kind.units[u] <= meant.high]
        written = " or ".join(f"{digits}{u}" for u in fits)
        raise BadData(
            f"'{said.strip()}' would be {show(value, dimension)} here",
            f"write the unit: {written + ', or' if written else ''} {sign}{digits}{bare} if that is meant",
            of=label,
        )
    return value


def _plain_units(kind: _Kind) -> list[str]:
    """The units as a keyboard has them, each once."""
    return [unit for unit in kind.units if unit.isascii() and "Ohm" not in unit]


def _one_unit(text: str) -> str:
    """A duration in one short unit: `2 days` is `2 d`, `1h30` (or `1h30min`) is `90min`; anything else as it is."""
    for long, short in _LONG_NAMES.items():
        text = re.sub(rf"(?<![a-z]){long}s?(?![a-z])", short, text)
    match = _JOINED.match(text)
    units = Dimension.DURATION.value.units
    if match is None or match[2] not in _NEXT_SMALLER or match[4] not in ("", *units):
        return text
    smaller = match[4] or _NEXT_SMALLER[match[2]]
    if units[smaller] >= units[match[2]]:
        return text
    return f"{(int(match[1]) * units[match[2]] + int(match[3]) * units[smaller]) / 60!r}min"


def _comma_fault(label: str, text: str) -> BadData:
    pointed = text.strip().replace(",", ".", 1)
    if re.match(r"^\s*[+-]?\d{1,3},\d{3}(?!\d)", text):  # 2,600mAh: thousands, or a decimal comma
        whole = text.strip().replace(",", "", 1)
        return BadData(
            f"'{text}' has a comma that can be read two ways", f"write {whole} or {pointed}", of=label
        )
    return BadData(f"'{text}' has a decimal comma", f"write a point: {pointed}", of=label)


def _unit_fault(label: str, text: str, number: str, unit: str, dimension: Dimension) -> BadData:
    kind = dimension.value
    choices = ", ".join(_plain_units(kind))
    if not unit:
        suggestions = [f"{number}{u}" for u in _plain_units(kind)][:3]
        return BadData(f"'{text}' has no unit", f"write {' or '.join(suggestions)}", of=label)
    other = next((d for d in Dimension if unit in d.value.units), None)
    if other is not None:
        return BadData(
            f"'{text}' is a {other.noun}, not a {kind.noun}", f"units that fit here: {choices}", of=label
        )
    near = next((u for u in kind.units if u.casefold() == unit.casefold()), None)
    if near is not None:
        return BadData(f"'{text}' has the unit '{unit}'", f"write {number}{near}", of=label)
    return BadData(f"'{text}' has the unknown unit '{unit}'", f"units that fit here: {choices}", of=label)


def _check_window(label: str, text: str, value: float, dimension: Dimension, window: Window) -> None:
    if window.low <= value <= window.high:
        return
    low, high = show(window.low, dimension), show(window.high, dimension)
    raise BadData(
        f"'{text.strip()}' cannot be right for {window.of} (expected {low} to {high})",
        window.below if value < window.low else "check the decimal point and the unit",
        of=label,
    )


@dataclass(frozen=True, slots=True)
class Measured:
    """A value with its standard uncertainty, both in the same unit."""

    value: float
    u: float

    @property
    def expanded(self) -> float:
        """U = 2u."""
        return COVERAGE_FACTOR * self.u

    @property
    def low(self) -> float:
        return self.value - COVERAGE_FACTOR * self.u

    @property
    def high(self) -> float:
        return self.value + COVERAGE_FACTOR * self.u


_STEPS: dict[Dimension, tuple[tuple[float, str, float], ...]] = {
    # (from this magnitude on, unit, divisor); bench units, as a person writes them on a cell
    Dimension.VOLTAGE: ((0.5, "V", 1.0), (0.0, "mV", 1e-3)),
    Dimension.CURRENT: ((1.0, "A", 1.0), (1e-3, "mA", 1e-3), (0.0, "uA", 1e-6)),
    Dimension.CAPACITY: ((10.0, "Ah", 1.0), (0.0, "mAh", 1e-3)),
    Dimension.RESISTANCE: (
        (1e6, "Mohm", 1e6),
        (1e3, "kohm", 1e3),
        (1.0, "ohm", 1.0),
        (0.0, "mohm", 1e-3),
    ),
    Dimension.POWER: ((1.0, "W", 1.0), (0.0, "mW", 1e-3)),
    Dimension.ENERGY: ((0.0, "Wh", 1.0),),
    Dimension.DURATION: (
        (2 * 86400.0, "d", 86400.0),
        (7200.0, "h", 3600.0),
        (120.0, "min", 60.0),
        (0.0, "s", 1.0),
    ),
    Dimension.TEMPERATURE: ((0.0, "C", 1.0),),
    Dimension.MASS: ((0.0, "g", 1.0),),
    Dimension.LENGTH: ((0.0, "mm", 1.0),),
    Dimension.FRACTION: ((0.0, "%", 0.01),),
}


def bench_unit(magnitude: float, dimension: Dimension) -> tuple[str, float]:
    """(unit, divisor) a person would write a value of this magnitude in."""
    for start, unit, divisor in _STEPS[dimension]:
        if abs(magnitude) >= start:
            return unit, divisor
    return dimension.base, 1.0  # NaN compares false with every start


def show(value: float, dimension: Dimension, *, u: float | None = None) -> str:
    """`2010 mAh`, or with a standard uncertainty `2010 ± 60 mAh` (U, two figures at most)."""
    unit, divisor = bench_unit(value, dimension)
    glue = "" if unit == "%" else " "
    scaled = value / divisor
    if u is None:
        return f"{plain(scaled)}{glue}{unit}"
    expanded = COVERAGE_FACTOR * u / divisor
    places = _places(expanded)
    return f"{_round_to(scaled, places)} ± {_round_to(expanded, places)}{glue}{unit}"


def volts(voltage_v: float) -> str:
    return show(voltage_v, Dimension.VOLTAGE)


def amps(current_a: float) -> str:
    return show(current_a, Dimension.CURRENT)


def amp_hours(capacity_ah: float) -> str:
    return show(capacity_ah, Dimension.CAPACITY)


def ohms(resistance_ohm: float) -> str:
    return show(resistance_ohm, Dimension.RESISTANCE)


def plain(number: float, figures: int = 4) -> str:
    """So many significant figures, no exponent, no trailing zeros, never fewer than the whole number."""
    if not math.isfinite(number):
        return str(number)
    if number == 0:
        return "0"
    places = max(0, figures - 1 - math.floor(math.log10(abs(number))))
    text = f"{number:.{places}f}"
    text = text.rstrip("0").rstrip(".") if "." in text else text
    return "0" if text == "-0" else text


def _places(expanded: float) -> int:
    if not math.isfinite(expanded) or expanded <= 0:
        return 3
    # Two significant figures of U (JCGM 100:2008, 7.2.6).
    return 1 - math.floor(math.log10(expanded))


def _round_to(number: float, places: int) -> str:
    text = f"{round(number, places):.{max(places, 0)}f}"
    return text[1:] if text[0] == "-" and float(text) == 0 else text


def count_of(count: int, noun: str) -> str:
    """`1 cell`, `3 cells`."""
    return f"{count} {noun}" if count == 1 else f"{count} {noun}s"
