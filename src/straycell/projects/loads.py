"""The [load] table of a project file: exactly one kind of load, and the profile's own file."""

import csv
import io
import math
from collections.abc import Callable, Mapping
from pathlib import Path

from straycell.errors import BadData
from straycell.files.read import read_text
from straycell.physics.loads import ConstantCurrent, ConstantPower, Lamps, Load, Profile, ResistiveLoad
from straycell.projects.faults import Section, quoted
from straycell.quantities import Dimension, Window

KINDS = ("current", "power", "resistance", "lamps", "profile")
MOST_LAMPS = 100_000
MOST_PROFILE_BYTES = 2_000_000
"""One round, which is kept inside the project: a day has 86,400 rows of one second, in 1 MB."""
VALUE_COLUMNS = ("current_a", "power_w")
_ONE_KIND = f"give exactly one of: {', '.join(KINDS)}"


def read_load(section: Section, base: Path | None) -> Load | None:
    """The load of the section, or None with its faults recorded; a profile's path starts at `base`."""
    given = [kind for kind in KINDS if kind in section]
    readers: dict[str, Callable[[], Load | None]] = {
        "current": lambda: _current(section),
        "power": lambda: _power(section),
        "resistance": lambda: _resistance(section),
        "lamps": lambda: _lamps(section),
        "profile": lambda: _profile(section, base),
    }
    # All kinds are read, also when one too many is given: their own faults come in the same answer.
    loads = {kind: _guard(section, kind, readers[kind]) for kind in KINDS}
    if "power" not in given:
        _efficiency(section, False)
    section.close()
    if len(given) != 1:
        what = f"has {len(given)} kinds of load ({', '.join(given)})" if given else "has no kind of load"
        section.fault("", what, _ONE_KIND)
        return None
    return loads[given[0]]


def _guard(section: Section, kind: str, read: Callable[[], Load | None]) -> Load | None:
    try:
        return read()
    # What physics refuses is still a fault of a key in the file, with its line.
    except BadData as fault:
        section.fault(kind, fault.fact, fault.remedy)
        return None


def _current(section: Section) -> Load | None:
    current_a = section.quantity("current", Dimension.CURRENT, "35mA", window=Window(0.0, 500.0, "a load"))
    return ConstantCurrent(current_a) if current_a is not None else None


def _resistance(section: Section) -> Load | None:
    resistance_ohm = section.quantity("resistance", Dimension.RESISTANCE, "120ohm")
    return ResistiveLoad(resistance_ohm) if resistance_ohm is not None else None


def _power(section: Section) -> Load | None:
    power_w = section.quantity("power", Dimension.POWER, "0.4W", window=Window(0.0, 10_000.0, "a load"))
    efficiency = _efficiency(section, True) if "power" in section else None
    return ConstantPower(power_w, efficiency or 1.0) if power_w is not None else None


def _efficiency(section: Section, allowed: bool) -> float | None:
    value = section.share("efficiency")
    if value is not None and not allowed:
        section.fault("efficiency", "needs a power", "give it together with power, or drop it")
    return value


def _lamps(section: Section) -> Load | None:
    remedy = 'write lamps = { count = 24, drop = "0.55V", across = "10ohm", supply = "3.0V" }'
    table = section.checked("lamps", lambda v: isinstance(v, Mapping), "is not a table", remedy)
    if table is None:
        return None
    inner = Section(section.sheet, "load.lamps", table)
    count = inner.whole("count", 1, MOST_LAMPS)
    drop_v = inner.quantity("drop", Dimension.VOLTAGE, "0.55V", window=Window(-100.0, 100.0, "lamps"))
    across_ohm = inner.quantity("across", Dimension.RESISTANCE, "10ohm")
    supply_v = inner.quantity("supply", Dimension.VOLTAGE, "3.0V", window=Window(-100.0, 100.0, "lamps"))
    inner.missing("count", "count the lamps, like count = 24")
    inner.missing("drop", 'measure the drop over the series resistor, like drop = "0.55V"')
    inner.missing("across", 'say over which resistor, like across = "10ohm"')
    # Lamps are diodes: without the voltage they were measured at, the drop says nothing of another one.
    inner.missing("supply", 'measure the supply with the lamps lit, like supply = "3.0V"')
    inner.close()
    if count is None or drop_v is None or across_ohm is None or supply_v is None:
        return None
    return Lamps(count, drop_v, across_ohm, supply_v)


def _profile(section: Section, base: Path | None) -> Load | None:
    value = section.checked(
        "profile",
        lambda v: isinstance(v, Mapping) or (isinstance(v, str) and bool(v.strip())),
        "is not a file name",
        'write it like profile = "day.csv"',
    )
    if value is None:
        return None
    # Kept in the project: the file it came from may change or be gone next year.
    if isinstance(value, Mapping):
        return _inline_profile(Section(section.sheet, "load.profile", value))
    return parse_profile(_profile_text(value, base), value)


def _inline_profile(inner: Section) -> Load | None:
    columns = {key: _numbers(inner, key) for key in ("time_s", *VALUE_COLUMNS)}
    inner.close()
    time_s = columns.pop("time_s")
    if time_s is None:
        inner.fault("time_s", "is missing or no list of numbers", "write it like time_s = [0, 60, 3600]")
        return None
    return Profile(time_s, **columns)


def _numbers(inner: Section, key: str) -> tuple[float, ...] | None:
    value = inner.raw(key)
    if not isinstance(value, list) or any(
        isinstance(v, bool) or not isinstance(v, int | float) for v in value
    ):
        return None
    try:
        return tuple(float(v) for v in value)
    # An integer in TOML may be larger than any float.
    except OverflowError:
        return None


def _profile_text(name: str, base: Path | None) -> str:
    if base is None:
        raise BadData(
            f"'{name}' cannot be found: the folder of the project file is not known", "add the file itself"
        )
    try:
        return profile_text(base / name, name)
    except BadData as fault:
        raise BadData(fault.what, f"its path starts at the project file's folder, {base}") from None


def profile_text(path: Path, name: str = "") -> str:
    """The text of a profile's file, called `name` in messages. Raises BadData for one that cannot be read."""
    return read_text(path, f"profile '{name or path}'", MOST_PROFILE_BYTES)


def parse_profile(text: str, name: str) -> Profile:
    """A profile from CSV text with the columns time_s and one of current_a, power_w. Raises BadData."""
    try:
        rows = list(csv.reader(io.StringIO(text)))
    except csv.Error as fault:
        raise BadData(f"'{name}' is not readable as CSV: {fault}", "check its quotes") from None
    head = [cell.strip().lower() for cell in rows[0]] if rows else []
    column = next((c for c in VALUE_COLUMNS if c in head), None)
    if "time_s" not in head or column is None or len(set(head) & set(VALUE_COLUMNS)) != 1:
        found = ", ".join(head[:6]) or "nothing"
        raise BadData(
            f"'{name}' begins with {quoted(found)}, not with its columns",
            "first line: time_s,current_a or time_s,power_w",
        )
    times: list[float] = []
    values: list[float] = []
    wrong: list[str] = []
    for number, row in enumerate(rows[1:], 2):
        if not any(cell.strip() for cell in row):
            continue
        pair = _pair(row, head.index("time_s"), head.index(column))
        if pair is None:
            wrong.append(f"line {number} ({quoted(','.join(row))})")
        else:
            times.append(pair[0])
            values.append(pair[1])
    # A row left out silently would shorten the day that the cell must last.
    if wrong:
        more = f" and {len(wrong) - 5} more" if len(wrong) > 5 else ""
        raise BadData(
            f"'{name}' holds no two numbers on {', '.join(wrong[:5])}{more}",
            "write seconds and the value, like 60,0.035",
        )
    if column == "current_a":
        return Profile(tuple(times), current_a=tuple(values))
    return Profile(tuple(times), power_w=tuple(values))


def _pair(row: list[str], first: int, second: int) -> tuple[float, float] | None:
    try:
        pair = float(row[first]), float(row[second])
    except (ValueError, IndexError):
        return None
    # float() takes "nan" and "inf", which no device draws.
    return pair if all(math.isfinite(v) for v in pair) else None
