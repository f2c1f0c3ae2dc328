"""Which column holds what, and in which unit: header words to quantities.

Known are the preferred labels and machine-readable names of the open Battery Data Format (Battery Data
Alliance, LF Energy), and plain words with a unit, like `time_s`, `Voltage (mV)`, `I / mA`, `Capacity[mAh]`.
"""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from straycell.errors import BadData, UsageFault

QUANTITIES = ("time", "voltage", "current", "temperature", "step", "step_time", "capacity", "cell")

_UNITS: dict[str, dict[str, tuple[float, float]]] = {
    # unit in lower case -> (factor, shift): value = number * factor + shift
    "time": {
        **dict.fromkeys(("s", "sec", "secs", "second", "seconds"), (1.0, 0.0)),
        **dict.fromkeys(("ms", "millisecond", "milliseconds"), (1e-3, 0.0)),
        **dict.fromkeys(("min", "mins", "minute", "minutes"), (60.0, 0.0)),
        **dict.fromkeys(("h", "hr", "hrs", "hour", "hours"), (3600.0, 0.0)),
    },
    "voltage": {
        "v": (1.0, 0.0),
        "volt": (1.0, 0.0),
        "volts": (1.0, 0.0),
        "mv": (1e-3, 0.0),
        "millivolt": (1e-3, 0.0),
    },
    "current": {
        **dict.fromkeys(("a", "amp", "amps", "ampere", "amperes"), (1.0, 0.0)),
        **dict.fromkeys(("ma", "milliamp", "milliampere"), (1e-3, 0.0)),
        # Both signs for micro are in use: U+00B5 and the Greek letter U+03BC.
        **dict.fromkeys(("ua", "µa", "μa"), (1e-6, 0.0)),
    },
    "temperature": {
        **dict.fromkeys(("c", "°c", "degc", "deg c", "celsius"), (1.0, 0.0)),
        **dict.fromkeys(("k", "kelvin"), (1.0, -273.15)),
        # F to C is (F - 32) x 5/9, hence the shift of -160/9.
        **dict.fromkeys(("f", "°f", "degf", "fahrenheit"), (5 / 9, -160 / 9)),
    },
    "capacity": {
        **dict.fromkeys(("ah", "a.h", "a h"), (1.0, 0.0)),
        **dict.fromkeys(("mah", "ma.h", "ma h"), (1e-3, 0.0)),
        **dict.fromkeys(("as", "c", "coulomb"), (1 / 3600, 0.0)),
    },
    "step": {"": (1.0, 0.0), "1": (1.0, 0.0), "-": (1.0, 0.0), "#": (1.0, 0.0)},
    "cell": {"": (1.0, 0.0), "1": (1.0, 0.0), "-": (1.0, 0.0), "#": (1.0, 0.0)},
}
_UNITS["step_time"] = _UNITS["time"]
_ASSUMED = {
    "time": "s",
    "step_time": "s",
    "voltage": "v",
    "current": "a",
    "temperature": "c",
    "capacity": "ah",
}

# The first word of a row is the surest; a later one stands in only when no surer column is there.
_WORDS: dict[str, tuple[tuple[str, ...], ...]] = {
    "time": (
        ("test time", "total time", "elapsed time", "elapsed", "run time", "runtime"),
        ("time", "t", "zeit", "seconds", "minutes", "hours"),
        ("unix time", "timestamp", "date time", "datetime", "clock", "date"),
    ),
    "voltage": (
        ("voltage", "cell voltage", "volt", "volts", "spannung"),
        ("u", "v", "e", "vbat", "mv", "millivolt"),
    ),
    "current": (
        ("current", "cell current", "strom"),
        ("discharge current", "load current", "i", "a", "amp", "amps", "ampere", "ma", "milliamp"),
    ),
    "temperature": (
        # The room's temperature decides whether a capacity is comparable; the cell's own rises under load.
        ("ambient temperature",),
        ("temperature", "temp", "temperatur", "cell temperature", "battery temperature"),
        ("surface temperature t1", "temperature t1", "t1"),
    ),
    "step": (("step count",), ("step", "step number", "step no", "schritt"), ("step index",)),
    "step_time": (("step time", "steptime", "time in step"),),
    "capacity": (
        ("step capacity", "discharging capacity", "discharge capacity", "discharged capacity"),
        ("capacity", "charge", "q", "kapazität", "kapazitaet", "mah", "ah"),
        ("net capacity",),
    ),
    "cell": (
        ("cell", "cell id", "cell code", "cell number", "serial", "serial number", "channel", "barcode"),
    ),
}
_RANK = {
    (quantity, word): rank
    for quantity, rows in _WORDS.items()
    for rank, words in enumerate(rows)
    for word in words
}
LONGEST_HEADER = 200
"""The patterns below look back and forth: in a line of a megabyte they would do so for hours."""
_BRACKETS = re.compile(r"^(.*?)\s*[\[(]\s*([^\])]*?)\s*[\])]\s*$")
_SLASH = re.compile(r"^(.*?)\s*/\s*([^/]+?)\s*$")
_TAIL = re.compile(r"^(.*?)[\s_]+([^\s_]+)$")


@dataclass(frozen=True, slots=True)
class Column:
    """One column to read: its place (from 0), what it holds, number * factor + shift in SI units, and its header."""

    place: int
    quantity: str
    factor: float
    shift: float
    header: str
    rank: int = 0
    unit_given: bool = True


def _words(text: str) -> str:
    spaced = re.sub(r"(?<=[a-z])(?=[A-Z])", " ", text.strip().strip("~*\"'"))
    return re.sub(r"[\s_\-.]+", " ", spaced).strip().casefold()


def _known(name: str, unit: str, place: int, header: str) -> Column | None:
    """The column of a name and a unit; an empty unit is taken as the base unit, or read from a name like `mV`."""
    plain, unit = name.strip().casefold(), unit.strip().casefold()
    # `mV` and `mAh` are one word, `cellVoltage` is two.
    name = plain if any((quantity, plain) in _RANK for quantity in QUANTITIES) else _words(name)
    for quantity in QUANTITIES:
        rank = _RANK.get((quantity, name))
        if rank is None:
            continue
        units = _UNITS[quantity]
        if unit in units:
            factor, shift = units[unit]
            return Column(place, quantity, factor, shift, header, rank)
        if unit == "":
            factor, shift = units.get(name, units.get(_ASSUMED.get(quantity, ""), (1.0, 0.0)))
            return Column(place, quantity, factor, shift, header, rank, unit_given=name in units)
    return None


def recognise(header: str, place: int = 0) -> Column | None:
    """What a header cell announces, or None. `Voltage / mV`, `voltage_mv`, `Voltage(mV)` and `U mV` all do."""
    # Spreadsheets put a byte order mark before the first header, where it would make the first word unknown.
    text = header[:LONGEST_HEADER].strip().lstrip("\ufeff").strip().strip("\"'")
    for pattern in (_BRACKETS, _SLASH):
        match = pattern.match(text)
        if match:
            return _known(match[1], match[2], place, text)
    whole = _known(text, "", place, text)
    if whole is not None:
        return whole
    tail = _TAIL.match(text)
    return _known(tail[1], tail[2], place, text) if tail else None


def find_columns(cells: Sequence[str], units: Sequence[str] = ()) -> dict[str, Column]:
    """The surest column for each quantity. Raises BadData when two columns claim the voltage or current equally.

    `units` are the cells of a row of units below the header, where there is one.
    """
    found: dict[str, list[Column]] = {}
    for place, cell in enumerate(cells):
        unit = units[place].strip(" []()") if place < len(units) else ""
        column = (_known(cell, unit, place, f"{cell} {unit}") if unit else None) or recognise(cell, place)
        if column is not None:
            found.setdefault(column.quantity, []).append(column)
    return {quantity: _surest(quantity, columns) for quantity, columns in found.items()}


def _surest(quantity: str, columns: list[Column]) -> Column:
    best = min(column.rank for column in columns)
    equal = [column for column in columns if column.rank == best]
    # A wrong voltage or current column gives wrong figures in silence, so two claims stop here; other columns only
    # inform.
    if len(equal) > 1 and quantity in ("voltage", "current"):
        names = "' and '".join(column.header for column in equal)
        raise BadData(
            f"two columns hold a {quantity}: '{names}' (two cells in one file?)",
            f'say which one is this cell\'s: --columns "{quantity}={equal[0].header}"',
        )
    return equal[0]


def parse_columns(text: str) -> dict[str, str]:
    """`time=Ticks in min, voltage=U1 in mV, current=3 in A` as {quantity: header or place, with ` in UNIT`}.

    Raises UsageFault for an unknown quantity or a part without `=`.
    """
    mapping: dict[str, str] = {}
    for part in text.split(","):
        key, equals, value = part.partition("=")
        key = key.strip().casefold().replace(" ", "_").replace("-", "_")
        if not equals or not value.strip():
            raise UsageFault(
                f"--columns part '{part.strip()}' has no '='", 'write "time=Ticks in s, voltage=U1 in mV"'
            )
        if key not in QUANTITIES:
            raise UsageFault(f"--columns does not know '{key}'", f"it takes: {', '.join(QUANTITIES)}")
        mapping[key] = value.strip()
    return mapping


def mapped(cells: Sequence[str], columns: Mapping[str, str], line: int) -> dict[str, Column]:
    """The columns a person named, by header (any case) or by place from 1. Raises BadData or UsageFault."""
    plain = [cell[:LONGEST_HEADER].strip().strip("\"'\ufeff ").casefold() for cell in cells]
    return {quantity: _one_mapped(quantity, wanted, plain, line) for quantity, wanted in columns.items()}


def _one_mapped(quantity: str, wanted: str, plain: list[str], line: int) -> Column:
    if quantity not in QUANTITIES:
        raise UsageFault(f"--columns does not know '{quantity}'", f"it takes: {', '.join(QUANTITIES)}")
    # A header may itself contain ` in `, so the whole text is tried as a name first.
    name, unit = wanted.strip(), ""
    if name.casefold() not in plain:
        before, word, after = name.rpartition(" in ")
        if word:
            name, unit = before.strip(), after.strip()
    if name.casefold() in plain:
        place = plain.index(name.casefold())
    elif name.isdigit() and 1 <= int(name) <= len(plain):
        place = int(name) - 1
    else:
        raise BadData(
            f"line {line} has no column '{name}' for {quantity}",
            f"its columns are: {', '.join(plain)[:LONGEST_HEADER] or 'none'}",
        )
    units = _UNITS[quantity]
    if unit and unit.casefold() not in units:
        raise UsageFault(
            f"--columns: '{unit}' is not a unit of {quantity}", f"write one of: {', '.join(units)}"
        )
    if unit:
        factor, shift = units[unit.casefold()]
        return Column(place, quantity, factor, shift, name)
    own = recognise(plain[place], place)
    # A header that carries its unit is believed before the base unit is assumed.
    if own is not None and own.unit_given and own.quantity == quantity:
        return Column(place, quantity, own.factor, own.shift, name)
    return _from_any_unit(quantity, plain[place], place, name)


def _from_any_unit(quantity: str, header: str, place: int, name: str) -> Column:
    """A header whose word is unknown may still carry its unit: `Load_1 [mA]`."""
    for pattern in (_BRACKETS, _SLASH, _TAIL):
        match = pattern.match(header)
        if match and match[2].strip().casefold() in _UNITS[quantity]:
            factor, shift = _UNITS[quantity][match[2].strip().casefold()]
            return Column(place, quantity, factor, shift, name)
    return Column(place, quantity, 1.0, 0.0, name, unit_given=False)
