"""A Project as TOML text that stands on its own and reads back as the same project."""

import json
from collections.abc import Mapping

from straycell.physics.loads import ConstantCurrent, ConstantPower, Lamps, Load, ResistiveLoad
from straycell.projects.model import Project


def to_toml(project: Project) -> str:
    """The project file of a project; a profile is inside as lists of numbers."""
    need, charge, protection, pack = project.need, project.charge, project.protection, project.pack
    lines = [f"name = {_text(project.name)}", f"priority = {project.priority}"]
    if project.due:
        lines.append(f"due = {project.due.isoformat()}")
    lines += _section("load", _load(project.load))
    lines += _section(
        "need",
        {
            "runtime": _q(need.runtime_h, "h"),
            "cutoff": _q(need.cutoff_v, "V"),
            "temperature": _q(need.temperature_c, "C"),
            "peak_current": _q(need.peak_current_a, "A"),
        },
    )
    lines += _section(
        "pack",
        {
            "series": str(pack.series or '"auto"'),
            "parallel": str(pack.parallel or '"auto"'),
            "forms": json.dumps([str(f) for f in pack.forms]),
            "chemistries": json.dumps([str(c) for c in pack.chemistries]),
        },
    )
    if charge:
        entries = {
            "current": _q(charge.current_a, "A"),
            "programming_resistor": _q(charge.programming_resistor_ohm, "ohm"),
            "voltage": _q(charge.voltage_v, "V"),
            "tolerance": repr(charge.tolerance) if charge.tolerance is not None else None,
            "measured_float": _q(charge.measured_float_v, "V"),
            "supply": _q(charge.supply_v, "V"),
            "supply_limit": _q(charge.supply_limit_a, "A"),
            "supply_rated": _q(charge.supply_rated_v, "V"),
            "temperature": _q(charge.temperature_c, "C"),
        }
        lines += _section("charge", entries)
    entries = {
        "fitted": _flag(protection.fitted),
        "per_cell": _flag(protection.per_cell),
        "balancing": _flag(protection.balancing),
        "cutoff": _q(protection.cutoff_v, "V"),
        "trip_current": _q(protection.trip_current_a, "A"),
        "transistor_resistance": _q(protection.transistor_ohm, "ohm"),
        "sensing": _text(protection.sensing) if protection.sensing else None,
    }
    return "\n".join(lines + _section("protection", entries)) + "\n"


def _load(load: Load) -> dict[str, str | None]:
    if isinstance(load, ConstantCurrent):
        return {"current": _q(load.current_a, "A")}
    if isinstance(load, ConstantPower):
        return {"power": _q(load.power_w, "W"), "efficiency": repr(load.efficiency)}
    if isinstance(load, ResistiveLoad):
        return {"resistance": _q(load.resistance_ohm, "ohm")}
    if isinstance(load, Lamps):
        parts = (
            ("drop", load.drop_v, "V"),
            ("across", load.across_ohm, "ohm"),
            ("supply", load.supply_v, "V"),
        )
        inner = ", ".join(f"{key} = {_q(value, unit)}" for key, value, unit in parts)
        return {"lamps": f"{{ count = {load.count}, {inner} }}"}
    column = "current_a" if load.current_a is not None else "power_w"
    return {"profile": f"{{ time_s = {list(load.time_s)}, {column} = {list(load.values)} }}"}


def _section(name: str, entries: Mapping[str, str | None]) -> list[str]:
    return ["", f"[{name}]", *(f"{key} = {value}" for key, value in entries.items() if value is not None)]


def _q(value: float | None, unit: str) -> str | None:
    # repr keeps every bit, so that the text reads back as the same project.
    return None if value is None else f'"{value!r}{unit}"'


def _flag(value: bool) -> str:
    return "true" if value else "false"


def _text(value: str) -> str:
    # A basic string of TOML takes the escapes that JSON writes.
    return json.dumps(value, ensure_ascii=False)
