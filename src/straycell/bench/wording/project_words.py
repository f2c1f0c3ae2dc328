"""A project's device in words, to hold against the thing itself."""

from typing import Any

from straycell.bench.wording.figure_words import known_words
from straycell.physics.loads import Profile
from straycell.projects import Project, load_kind
from straycell.quantities import Dimension, show


def device_words(project: Project) -> str:
    """What a project file says of its device, for a person to hold against the thing itself."""
    places = f"{project.need.temperature_c:g} C"
    peak_a = project.need.peak_current_a
    peak = f", peaks of {show(peak_a, Dimension.CURRENT)}" if peak_a is not None else ""
    return f"it draws {load_line(project)}{peak}, works at {places}, and is charged: {charger_words(project)}"


def load_line(project: Project) -> str:
    """What its load is made of, in a line."""
    if isinstance(project.load, Profile):
        return _profile_words(project.load)
    kind, words = load_kind(project.load), ", ".join(dict.fromkeys(_load_parts(project).values()))
    return words if kind in words else f"{kind}: {words}"


def _profile_words(load: Profile) -> str:
    """A profile by what a meter in its wire would show, not by its rows."""
    of = Dimension.CURRENT if load.current_a is not None else Dimension.POWER
    steps = list(zip(load.durations_s, load.values, strict=False))
    mean = sum(seconds * value for seconds, value in steps) / load.period_s
    round_s, most = show(load.period_s, Dimension.DURATION), show(max(value for _, value in steps), of)
    rounds = f"{len(steps)} steps in {round_s}, again and again"
    return f"profile: {show(mean, of)} on average, up to {most} ({rounds})"


def charger_words(project: Project) -> str:
    """What charges it, in a line."""
    charge = project.charge
    if charge is None:
        return "outside the device"
    limit_a = charge.supply_limit_a
    most = f", {show(limit_a, Dimension.CURRENT)} at most" if limit_a is not None else ""
    known = known_words(
        ("{}", charge.current_a, Dimension.CURRENT),
        ("programming resistor {}", charge.programming_resistor_ohm, Dimension.RESISTANCE),
        ("to {}", charge.voltage_v, Dimension.VOLTAGE),
        (f"fed with {{}}{most}", charge.supply_v, Dimension.VOLTAGE),
        ("float measured {}", charge.measured_float_v, Dimension.VOLTAGE),
    )
    return known or "in the device"


def _load_parts(project: Project) -> dict[str, str]:
    """What its load is made of, each in words, by name."""
    kinds = {
        "a": Dimension.CURRENT,
        "w": Dimension.POWER,
        "ohm": Dimension.RESISTANCE,
        "v": Dimension.VOLTAGE,
    }
    parts: dict[str, str] = {}
    load: Any = project.to_json()["load"]
    for key, value in load.items():
        stem, _, unit = key.rpartition("_")
        if unit in kinds and isinstance(value, float | int):
            parts[stem] = f"{stem} {show(value, kinds[unit])}"
        elif key == "count":
            parts[key] = f"{value} lamps"
        elif key != "kind":
            parts[key] = f"{key} {value:g}" if isinstance(value, float | int) else f"{key} {value}"
    return parts
