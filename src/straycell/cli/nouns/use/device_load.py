"""What a device draws, on the command line: a current, power, resistance, profile, or lamps measured once."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Any

import typer

from straycell.cli.app.grammar import values
from straycell.errors import UsageFault
from straycell.physics.loads import ConstantCurrent, ConstantPower, Lamps, Load, ResistiveLoad
from straycell.physics.resistors import BandReading, read_bands
from straycell.projects.loads import parse_profile, profile_text
from straycell.quantities import Dimension, Window, show

_D = Dimension
MOST_LAMPS = 100_000
_AMPS = Window(1e-6, 500.0, "a load")
_WATTS = Window(1e-6, 2000.0, "a load")
_OHMS = Window(1e-3, 22e6, "a resistor")
_SHARE = Window(0.01, 1.0, "a converter")
_VOLTS = Window(1e-4, 60.0, "a device")
STOP = Window(0.5, 5.0)

CurrentOption = Annotated[
    float | None,
    values.quantity("--current", _D.CURRENT, "A constant current.", window=_AMPS, example="35mA"),
]
PowerOption = Annotated[
    float | None,
    values.quantity("--power", _D.POWER, "A constant power, as behind a regulator.", window=_WATTS),
]
EfficiencyOption = Annotated[
    float | None,
    values.quantity(
        "--efficiency",
        _D.FRACTION,
        "Efficiency of the regulator, with --power.",
        window=_SHARE,
        example="85%",
    ),
]
ResistanceOption = Annotated[
    float | None,
    values.quantity("--resistance", _D.RESISTANCE, "A plain resistance.", window=_OHMS, example="120ohm"),
]
DropOption = Annotated[
    float | None,
    values.quantity(
        "--drop", _D.VOLTAGE, "Voltage over the series resistor, running.", window=_VOLTS, example="0.55V"
    ),
]
AcrossOption = Annotated[
    float | None,
    values.quantity("--across", _D.RESISTANCE, "Resistance of that resistor.", window=_OHMS, example="10ohm"),
]
SupplyOption = Annotated[
    float | None,
    values.quantity(
        "--supply", _D.VOLTAGE, "Supply voltage of that measurement.", window=_VOLTS, example="3.0V"
    ),
]
LampsOption = Annotated[
    int | None, values.whole("--lamps", "How many lamps, in parallel.", low=1, high=MOST_LAMPS)
]
BandsOption = Annotated[
    str | None,
    values.text_option("--bands", "Its colour bands instead, like green,red,gold.", metavar="COLOURS"),
]
ProfileOption = Annotated[
    Path | None,
    typer.Option(
        "--profile",
        metavar="CSV",
        help="A recorded load, repeated: time_s and current_a or power_w, as for a project.",
        show_default=False,
    ),
]
PeakOption = Annotated[
    float | None,
    values.quantity("--peak", _D.CURRENT, "Short peaks on top of that load.", window=_AMPS, example="0.5A"),
]
UntilOption = Annotated[
    float,
    values.quantity("--until", _D.VOLTAGE, "Voltage at which the device stops.", window=STOP, example="3.2V"),
]
TemperatureOption = Annotated[
    float | None,
    values.quantity(
        "--temperature", _D.TEMPERATURE, "Temperature where it works (default 25C).", example="5C"
    ),
]
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


def steady(
    current_a: float | None, power_w: float | None, resistance_ohm: float | None, efficiency: float | None
) -> Drawn | None:
    """The load of --current, --power or --resistance; None when none was given. Raises UsageFault for two."""
    # Two loads at once could be meant as a sum or as a slip; only the person knows.
    given = {"--current": current_a, "--power": power_w, "--resistance": resistance_ohm}
    _one_of([name for name, value in given.items() if value is not None])
    if efficiency is not None and power_w is None:
        raise UsageFault("--efficiency needs --power", "give it together with --power, or drop it")
    if current_a is not None:
        words = f"constant current {show(current_a, _D.CURRENT)}"
        return Drawn(ConstantCurrent(current_a), words, {"kind": "current", "current_a": current_a})
    if resistance_ohm is not None:
        words = f"resistance {show(resistance_ohm, _D.RESISTANCE)}"
        document = {"kind": "resistance", "resistance_ohm": resistance_ohm}
        return Drawn(ResistiveLoad(resistance_ohm), words, document)
    if power_w is None:
        return None
    # Without an efficiency nothing is lost: the figure given is then taken at the cell.
    share = 1.0 if efficiency is None else efficiency
    words = f"constant power {show(power_w, _D.POWER)}"
    words += f" behind a regulator of {show(share, _D.FRACTION)}" if share < 1 else ""
    document = {"kind": "power", "power_w": power_w, "efficiency": share}
    return Drawn(ConstantPower(power_w, share), words, document)


def lamps(
    drop_v: float | None,
    across_ohm: float | None,
    bands: str | None,
    supply_v: float | None,
    count: int | None,
) -> Lamps | None:
    """Lamps from one measurement; None when nothing of it was given. Raises UsageFault for a half one."""
    # An ohmmeter knows this resistor, its bands only the row it was sold from.
    if across_ohm is None and bands is not None:
        across_ohm = read_resistor(bands).ohm
    given = {"--drop": drop_v, "--across": across_ohm, "--supply": supply_v}
    if count is None and not any(value is not None for value in given.values()):
        return None
    lacking = [name for name, value in given.items() if value is None]
    if drop_v is None or across_ohm is None or supply_v is None:
        raise UsageFault(
            f"lamps are known by --drop, --across and --supply together; {' and '.join(lacking)} is missing",
            "measure the drop over the series resistor and the supply, with the lamps lit",
        )
    return Lamps(count or 1, drop_v, across_ohm, supply_v)


def drawn_by(found: Lamps) -> Drawn:
    """Lamps as a load."""
    measured = show(found.measured_a, _D.CURRENT)
    ohm, supply = show(found.across_ohm, _D.RESISTANCE), show(found.supply_v, _D.VOLTAGE)
    words = f"lamps behind {ohm}, {measured} when measured at {supply}"
    document = {
        "kind": "lamps",
        "count": found.count,
        "drop_v": found.drop_v,
        "across_ohm": found.across_ohm,
        "supply_v": found.supply_v,
    }
    return Drawn(found, words, document, more="; taken as one diode through that point")


def profile(path: Path | None) -> Drawn | None:
    """A recorded load from its own file, as a project file names one. Raises BadData for a file that is none."""
    if path is None:
        return None
    load = parse_profile(profile_text(path), str(path))
    # The last row of a profile is its end and has no duration.
    steps = load.values[: len(load.durations_s)]
    mean = sum(s * v for s, v in zip(load.durations_s, steps, strict=True)) / load.period_s
    key, unit = ("current_a", _D.CURRENT) if load.current_a is not None else ("power_w", _D.POWER)
    words = (
        f"profile {path.name}, {show(mean, unit)} on average, up to {show(max(steps), unit)}, "
        f"each round {show(load.period_s, _D.DURATION)}"
    )
    document = {"kind": "profile", "file": str(path), "period_s": load.period_s, f"mean_{key}": mean}
    return Drawn(load, words, {**document, f"most_{key}": max(steps)})


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
