"""What a device draws, on the command line: a current, power, resistance, lamps measured once, a profile or a log of it."""

import csv
import io
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path
from typing import Any

from straycell.cli.app import files, output
from straycell.errors import BadData, UsageFault
from straycell.physics.loads import ConstantCurrent, ConstantPower, Lamps, Load, Profile, ResistiveLoad
from straycell.physics.resistors import BandReading, read_bands
from straycell.projects.loads import parse_profile, profile_text
from straycell.quantities import Dimension, Window, show
from straycell.readings import Field

MOST_LAMPS = 100_000
_AMPS = Window(1e-6, 500.0, "a load")
_WATTS = Window(1e-6, 2000.0, "a load")
_OHMS = Window(1e-3, 22e6, "a resistor")
_SHARE = Window(0.01, 1.0, "a converter")
_VOLTS = Window(1e-4, 60.0, "a device")
_STOP = Window(0.5, 5.0)

STEADY = (
    Field("current_a", Dimension.CURRENT, "load", "A constant current.", typed=_AMPS, example="35mA"),
    Field(
        "power_w",
        Dimension.POWER,
        "load",
        "A constant power, as behind a regulator.",
        typed=_WATTS,
        flag="--power",
    ),
    Field(
        "resistance_ohm", Dimension.RESISTANCE, "load", "A plain resistance.", typed=_OHMS, example="120ohm"
    ),
    Field(
        "efficiency",
        Dimension.FRACTION,
        "efficiency",
        "Efficiency of the regulator, with --power.",
        typed=_SHARE,
        example="85%",
    ),
)
"""A load that is the same all the time; one of the first three."""
LIT = (
    Field(
        "drop_v",
        Dimension.VOLTAGE,
        "drop",
        "Voltage over the series resistor, running.",
        typed=_VOLTS,
        example="0.55V",
    ),
    Field(
        "across_ohm",
        Dimension.RESISTANCE,
        "resistor",
        "Resistance of that resistor.",
        typed=_OHMS,
        example="10ohm",
    ),
    Field("bands", str, "bands", "Its colour bands instead, like green,red,gold.", example="COLOURS"),
    Field(
        "supply_v",
        Dimension.VOLTAGE,
        "supply",
        "Supply voltage of that measurement.",
        typed=_VOLTS,
        example="3.0V",
    ),
    Field("lamps", int, "lamps", "How many lamps, in parallel.", typed=Window(1, MOST_LAMPS)),
)
"""Lamps behind a series resistor, as measured once."""
PEAK = Field(
    "peak_a", Dimension.CURRENT, "peak", "Short peaks on top of that load.", typed=_AMPS, example="0.5A"
)
WORKS = (
    Field(
        "until_v",
        Dimension.VOLTAGE,
        "cut-off",
        "Voltage at which the device stops.",
        typed=_STOP,
        example="3.2V",
    ),
    Field(
        "temperature_c",
        Dimension.TEMPERATURE,
        "temperature",
        "Temperature where it works (default 25C).",
        example="5C",
    ),
)
PROTECTION = Field(
    "protection_cutoff_v",
    Dimension.VOLTAGE,
    "protection",
    "Voltage at which its protection disconnects.",
    typed=_STOP,
    example="2.4V",
)
Said = Mapping[str, Any]
ROOM_C = 25.0


@dataclass(frozen=True, slots=True)
class Drawn:
    """One load with the words and the JSON for it; `more` are words that have no room under a picture."""

    load: Load
    words: str
    document: dict[str, Any]
    more: str = ""


def read_resistor(bands: str) -> BandReading:
    """A resistor by its colours, separated by commas or blanks. Raises BadData."""
    return read_bands(bands.replace(",", " ").split())


def steady(said: Said) -> Drawn | None:
    """The load of --current, --power or --resistance; None when none was given. Raises UsageFault for two."""
    # Two loads at once could be meant as a sum or as a slip; only the person knows.
    _one_of([field.option for field in STEADY[:3] if field.name in said])
    if "efficiency" in said and "power_w" not in said:
        raise UsageFault("--efficiency needs --power", "give it together with --power, or drop it")
    if "current_a" in said:
        words = f"constant current {show(said['current_a'], Dimension.CURRENT)}"
        return Drawn(
            ConstantCurrent(said["current_a"]), words, {"kind": "current", "current_a": said["current_a"]}
        )
    if "resistance_ohm" in said:
        ohm = said["resistance_ohm"]
        words = f"resistance {show(ohm, Dimension.RESISTANCE)}"
        return Drawn(ResistiveLoad(ohm), words, {"kind": "resistance", "resistance_ohm": ohm})
    if "power_w" not in said:
        return None
    # Without an efficiency nothing is lost: the figure given is then taken at the cell.
    power_w, share = said["power_w"], said.get("efficiency", 1.0)
    words = f"constant power {show(power_w, Dimension.POWER)}"
    words += f" behind a regulator of {show(share, Dimension.FRACTION)}" if share < 1 else ""
    return Drawn(
        ConstantPower(power_w, share), words, {"kind": "power", "power_w": power_w, "efficiency": share}
    )


def lamps(said: Said) -> Lamps | None:
    """Lamps from one measurement; None when nothing of it was given. Raises UsageFault for a half one."""
    # An ohmmeter knows this resistor, its bands only the row it was sold from.
    if "across_ohm" not in said and "bands" in said:
        said = {**said, "across_ohm": read_resistor(said["bands"]).ohm}
    measured = [field for field in LIT if field.name in ("drop_v", "across_ohm", "supply_v")]
    lacking = [field.option for field in measured if field.name not in said]
    if "lamps" not in said and len(lacking) == len(measured):
        return None
    if lacking:
        raise UsageFault(
            f"lamps are known by --drop, --across and --supply together; {' and '.join(lacking)} is missing",
            "measure the drop over the series resistor and the supply, with the lamps lit",
        )
    return Lamps(said.get("lamps", 1), said["drop_v"], said["across_ohm"], said["supply_v"])


def drawn_by(found: Lamps) -> Drawn:
    """Lamps as a load."""
    measured = show(found.measured_a, Dimension.CURRENT)
    ohm, supply = show(found.across_ohm, Dimension.RESISTANCE), show(found.supply_v, Dimension.VOLTAGE)
    words = f"lamps behind {ohm}, {measured} when measured at {supply}"
    return Drawn(
        found,
        words,
        {
            "kind": "lamps",
            "count": found.count,
            "drop_v": found.drop_v,
            "across_ohm": found.across_ohm,
            "supply_v": found.supply_v,
        },
        more="; taken as one diode through that point",
    )


def profile(path: Path | None) -> Drawn | None:
    """A recorded load from its own file, as a project file names one. Raises BadData for a file that is none."""
    if path is None:
        return None
    load = parse_profile(profile_text(path), str(path))
    mean, most = _mean_and_most(load)
    key, unit = (
        ("current_a", Dimension.CURRENT) if load.current_a is not None else ("power_w", Dimension.POWER)
    )
    words = (
        f"profile {path.name}, {show(mean, unit)} on average, up to {show(most, unit)}, "
        f"each round {show(load.period_s, Dimension.DURATION)}"
    )
    return Drawn(
        load,
        words,
        {
            **{"kind": "profile", "file": str(path), "period_s": load.period_s, f"mean_{key}": mean},
            f"most_{key}": most,
        },
    )


def _mean_and_most(load: Profile) -> tuple[float, float]:
    """Of a profile's current or power."""
    # The last row of a profile is its end and has no duration.
    steps = load.values[: len(load.durations_s)]
    return sum(s * v for s, v in zip(load.durations_s, steps, strict=True)) / load.period_s, max(steps)


def one_load(*drawn: Drawn | None) -> Drawn:
    """The one load that was given. Raises UsageFault for none or several."""
    found = [each for each in drawn if each is not None]
    _one_of([each.document["kind"] for each in found])
    if not found:
        raise UsageFault(
            "no load given",
            "give --current, --power, --resistance, --profile, or lamps by --drop, --across and --supply",
        )
    return found[0]


def _one_of(names: Sequence[str]) -> None:
    if len(names) > 1:
        raise UsageFault(f"{' and '.join(names)} are two loads", "give one of them")


MOST_STEPS = 100_000
"""Steps of one round; a longer log is one of many rounds (common practice, no published source)."""


def from_log(file: Path, out: Path, columns: str | None, power: bool, force: bool) -> None:
    """Read a log as traces are read (separators, decimal commas, clocks, own column names), write the profile."""
    times, values, key = _read(file, columns, power)
    text = io.StringIO()
    lines = csv.writer(text, lineterminator="\n")
    lines.writerow(["time_s", key])
    lines.writerows([f"{t:.10g}", f"{v:.7g}"] for t, v in zip(times, values, strict=True))
    # Read back as a project would: a profile that no project takes is refused here and not weeks later.
    mean, most = _mean_and_most(parse_profile(text.getvalue(), str(file)))
    files.write_whole(out, text.getvalue().encode(), force=force)
    unit = Dimension.CURRENT if key == "current_a" else Dimension.POWER
    output.emit(
        {"file": str(out), "rows": len(times), "period_s": times[-1], "mean": mean, "most": most},
        lambda: output.say(
            f"{out}  {len(times)} rows, {show(times[-1], Dimension.DURATION)} a round: {show(mean, unit)} on the mean, "
            f"up to {show(most, unit)}"
        ),
        then=f'name it in a project, profile = "{out.name}", or: straycell runtime CODE --profile {out} --until 3.0V',
    )


def _read(file: Path, columns: str | None, power: bool) -> tuple[list[float], list[float], str]:
    """(times from 0 in s, current in A or power in W, the column's name). What flows out of the cells is positive."""
    from straycell.traces.read.columns import parse_columns
    from straycell.traces.read.layout import file_bytes, find_layout, plain_text
    from straycell.traces.read.table import read_table

    raw = plain_text(file_bytes(file))
    layout = find_layout(raw, parse_columns(columns) if columns else None)
    needed = ["time", "current", *(["voltage"] if power else [])]
    missing = [name for name in needed if name not in layout.columns]
    if missing:
        raise BadData(
            f"log '{file}' has no column for {' and '.join(missing)}",
            f'name it: --columns "{", ".join(f"{name}=HEADER" for name in needed)}"',
        )
    table = read_table(raw, layout)
    columns_of = [table.columns[name].tolist() for name in needed]
    rows = [
        (line, *cells)
        for line, *cells in zip(table.line.tolist(), *columns_of, strict=True)
        if all(math.isfinite(cell) for cell in cells)
    ]
    if not 2 <= len(rows) <= MOST_STEPS:
        raise BadData(
            f"log '{file}' has {len(rows)} usable rows", f"give one round, of 2 to {MOST_STEPS} rows"
        )
    for before, after in pairwise(rows):
        if after[1] <= before[1]:
            raise BadData(
                f"log '{file}' line {after[0]}: its time is not later than that before",
                "sort or split the file",
            )
    # A logger may count what flows out as negative: the sign of the larger side is that of the load.
    currents = [row[2] for row in rows]
    sign = 1.0 if max(currents) >= -min(currents) else -1.0
    values = [max(0.0, sign * row[2]) * (row[3] if power else 1.0) for row in rows]
    return [row[1] - rows[0][1] for row in rows], values, "power_w" if power else "current_a"
