"""A project file (TOML) read into a Project, all its faults in one answer; and a Project written as such a file.

What is written stands on its own and reads back as the same project.
"""

import json
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any, NamedTuple

from straycell.cells import Chemistry, Form
from straycell.errors import BadData
from straycell.files.read import MOST_TOML_BYTES, read_text, toml_document
from straycell.physics.loads import ConstantCurrent, ConstantPower, Lamps, Load, ResistiveLoad
from straycell.plain_text import is_plain
from straycell.projects.faults import Fault, ProjectFaults, Section, Sheet
from straycell.projects.loads import read_load
from straycell.projects.model import (
    ALL_FORMS,
    DEFAULT_PRIORITY,
    RECHARGEABLE,
    ChargeSpec,
    Need,
    PackShape,
    Project,
    Protection,
)
from straycell.quantities import CELL_WINDOWS, Dimension, Window, amps

MOST_IN_LINE = 1000
LOWEST_PRIORITY = 99
LONGEST_NAME = 80
SECTIONS = ("load", "need", "pack", "charge", "protection")
SENSING = ("transistors", "shunt")
WORKPLACE = Window(-60.0, 100.0, "a place where a cell works")
LONGEST_RUN = Window(0.0, 20 * 365.25 * 86400.0, "one charge")
_FORMS = {str(form): "" for form in Form}
_CHEMISTRIES = {str(c): "" for c in Chemistry} | {
    "primary": "is not rechargeable and is never matched",
    "unknown": "is never matched: such a cell is on hold",
}


class Entry(NamedTuple):
    """A quantity of a project's file: its key, the field that it fills, an example, and what it may be.

    A voltage `of_string` may be as high as the cells in series make it.
    """

    key: str
    field: str
    dimension: Dimension
    example: str
    window: Window | None = None
    of_string: bool = False


NEED = (
    Entry("cutoff", "cutoff_v", Dimension.VOLTAGE, "3.2V", of_string=True),
    Entry("temperature", "temperature_c", Dimension.TEMPERATURE, "20C", WORKPLACE),
    Entry("peak_current", "peak_current_a", Dimension.CURRENT, "0.5A", Window(0.0, 1000.0, "a peak")),
)
CHARGE = (
    Entry("current", "current_a", Dimension.CURRENT, "250mA", Window(0.0, 500.0, "a charger")),
    Entry("programming_resistor", "programming_resistor_ohm", Dimension.RESISTANCE, "4.7kohm"),
    Entry("voltage", "voltage_v", Dimension.VOLTAGE, "4.20V", of_string=True),
    Entry("measured_float", "measured_float_v", Dimension.VOLTAGE, "4.18V", of_string=True),
    Entry("supply", "supply_v", Dimension.VOLTAGE, "5V"),
    Entry("supply_limit", "supply_limit_a", Dimension.CURRENT, "0.5A"),
    Entry("supply_rated", "supply_rated_v", Dimension.VOLTAGE, "24V"),
    Entry("temperature", "temperature_c", Dimension.TEMPERATURE, "20C", WORKPLACE),
)
PROTECTION = (
    Entry("cutoff", "cutoff_v", Dimension.VOLTAGE, "2.4V", of_string=True),
    Entry("trip_current", "trip_current_a", Dimension.CURRENT, "3A"),
    Entry("transistor_resistance", "transistor_ohm", Dimension.RESISTANCE, "25mohm"),
)


def read_project_file(path: Path) -> tuple[Project, str]:
    """The project of a file, and the text to keep: its own, with a profile's figures put inside."""
    text = read_text(path, f"project file {path}", MOST_TOML_BYTES)
    project = parse_project(text, source=path.name, base=path.parent)
    return project, text_to_keep(project, text)


def text_to_keep(project: Project, text: str) -> str:
    """The text that stands on its own: as written, or printed again when it leans on a profile's file."""
    # A person's own text with its comments is kept as it is, unless it leans on another file.
    table = toml_document(text)["load"]
    return to_toml(project) if isinstance(table.get("profile"), str) else text


def parse_project(text: str, *, source: str, base: Path | None) -> Project:
    """Read one project. `source` names the file in messages; a profile's path starts at `base`.

    Raises ProjectFaults (a BadData) with every fault of the file at once.
    """
    sheet = Sheet(text.splitlines())
    top = Section(sheet, "", _toml(text, source))
    name = _name(top)
    priority = top.whole("priority", 1, LOWEST_PRIORITY)
    due = top.day("due")
    tables = {key: _table(top, key) for key in SECTIONS}
    # After all tables were asked for, or each of them would count as an unknown key.
    top.close()
    load = read_load(tables["load"], base) if tables["load"] else None
    pack = _pack(tables["pack"]) if tables["pack"] else PackShape()
    need = _need(tables["need"], pack) if tables["need"] else None
    charge = _charge(tables["charge"], pack) if tables["charge"] else None
    protection = _protection(tables["protection"], pack) if tables["protection"] else Protection()
    # Only a constant current can be compared with its peak without a voltage.
    if isinstance(load, ConstantCurrent) and need and need.peak_current_a is not None:
        _check_peak(sheet, load.current_a, need.peak_current_a)
    if sheet.faults or load is None or need is None:
        raise ProjectFaults(source, sheet.in_order())
    return Project(name, load, need, priority or DEFAULT_PRIORITY, due, pack, charge, protection)


def _toml(text: str, source: str) -> dict[str, object]:
    try:
        return toml_document(text)
    except BadData as fault:
        raise ProjectFaults(source, [Fault("", fault.what, fault.remedy)]) from None


def _name(top: Section) -> str:
    top.missing("name", 'give the project a name, like name = "reed-bed gauge"')
    name = top.checked(
        "name",
        lambda v: isinstance(v, str) and bool(v.strip()) and len(v) <= LONGEST_NAME and is_plain(v),
        "is not a name",
        f"write words in quotes, {LONGEST_NAME} characters at most",
    )
    return str(name or "").strip()


def _table(top: Section, key: str) -> Section | None:
    table = top.raw(key)
    if table is None:
        if key in ("load", "need"):
            top.sheet.add(key, "", "is missing", f"add the table [{key}]")
        return None
    if not isinstance(table, Mapping):
        top.fault(key, "is not a table", f"write [{key}] on a line of its own, the keys below it")
        return None
    return Section(top.sheet, key, table)


def _string_window(pack: PackShape) -> Window:
    cells = pack.series or MOST_IN_LINE
    of = "one cell" if cells == 1 else f"{cells} cells in series" if pack.series else "a string of cells"
    return Window(0.0, CELL_WINDOWS[Dimension.VOLTAGE].high * cells, of)


def _quantities(section: Section, entries: Sequence[Entry], pack: PackShape) -> dict[str, Any]:
    """What the file says of these, by field, in base units."""
    # The window grows with the string: 6.4 V is a slip for one cell and right for two.
    string = _string_window(pack)
    found = {
        each.field: section.quantity(
            each.key,
            each.dimension,
            each.example,
            window=string if each.of_string else each.window,
            above_zero=each.dimension is not Dimension.TEMPERATURE,
        )
        for each in entries
    }
    return {name: value for name, value in found.items() if value is not None}


def _need(section: Section, pack: PackShape) -> Need | None:
    runtime_s = section.quantity("runtime", Dimension.DURATION, "48h", window=LONGEST_RUN)
    found = _quantities(section, NEED, pack)
    section.missing("runtime", 'say how long it must run on one charge, like runtime = "48h"')
    section.missing("cutoff", 'say at which voltage the device stops, like cutoff = "3.2V"')
    section.close()
    if runtime_s is None or "cutoff_v" not in found:
        return None
    return Need(runtime_s / 3600.0, **found)


def _check_peak(sheet: Sheet, current_a: float, peak_a: float) -> None:
    if peak_a < current_a:
        peak, steady = amps(peak_a), amps(current_a)
        what = f"{peak} is less than the steady {steady} of [load]"
        sheet.add("need", "peak_current", what, "give the largest current, or drop the key")


def _pack(section: Section) -> PackShape:
    series, parallel = _in_line(section, "series"), _in_line(section, "parallel")
    forms = section.words("forms", _FORMS)
    chemistries = section.words("chemistries", _CHEMISTRIES)
    section.close()
    return PackShape(
        series,
        parallel,
        tuple(Form(f) for f in forms) or ALL_FORMS,
        tuple(Chemistry(c) for c in chemistries) or RECHARGEABLE,
    )


def _in_line(section: Section, key: str) -> int | None:
    """A count of cells; None for `auto`; 1 when absent or at fault."""
    # In Python True is an int, and would count as one cell: hence the type itself.
    count = section.checked(
        key,
        lambda v: v == "auto" or (type(v) is int and 1 <= v <= MOST_IN_LINE),
        "is not a count of cells",
        f'write a number from 1 to {MOST_IN_LINE}, or "auto"',
    )
    return None if count == "auto" else count or 1


def _charge(section: Section, pack: PackShape) -> ChargeSpec:
    charge = ChargeSpec(tolerance=section.share("tolerance"), **_quantities(section, CHARGE, pack))
    # Either setting alone says what the charger gives; both could contradict each other.
    given = [key for key in ("current", "programming_resistor") if key in section]
    if len(given) != 1:
        what = "has both a current and a programming resistor" if given else "has no charge current"
        section.fault("", what, 'give one of: current = "250mA", programming_resistor = "4.7kohm"')
    section.close()
    return charge


def _protection(section: Section, pack: PackShape) -> Protection:
    fitted = section.flag("fitted")
    per_cell, balancing = section.flag("per_cell"), section.flag("balancing")
    found = _quantities(section, PROTECTION, PackShape() if per_cell else pack)
    # The trip current follows from the transistors' resistance: two statements could contradict each other.
    if found.keys() >= {"trip_current_a", "transistor_ohm"}:
        section.fault("", "has both a trip current and a transistor's resistance", "give one of them")
    choices = f"choose from: {', '.join(SENSING)}"
    sensing = section.checked("sensing", lambda v: v in SENSING, "is not known", choices)
    section.missing("fitted", "write fitted = true once the protection is in the device, else fitted = false")
    section.close()
    return Protection(bool(fitted), bool(per_cell), bool(balancing), sensing=str(sensing or ""), **found)


def to_toml(project: Project) -> str:
    """The project file of a project; a profile is inside as lists of numbers."""
    need, charge, protection, pack = project.need, project.charge, project.protection, project.pack
    lines = [f"name = {_text(project.name)}", f"priority = {project.priority}"]
    if project.due:
        lines.append(f"due = {project.due.isoformat()}")
    lines += _section("load", _load(project.load))
    lines += _section("need", {"runtime": _q(need.runtime_h, "h"), **_written(NEED, need)})
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
        share = None if charge.tolerance is None else repr(charge.tolerance)
        lines += _section("charge", {**_written(CHARGE, charge), "tolerance": share})
    entries = {
        "fitted": _flag(protection.fitted),
        "per_cell": _flag(protection.per_cell),
        "balancing": _flag(protection.balancing),
        **_written(PROTECTION, protection),
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


def _written(entries: Sequence[Entry], item: Need | ChargeSpec | Protection) -> dict[str, str | None]:
    return {each.key: _q(getattr(item, each.field), each.dimension.base) for each in entries}


def _flag(value: bool) -> str:
    return "true" if value else "false"


def _text(value: str) -> str:
    # A basic string of TOML takes the escapes that JSON writes.
    return json.dumps(value, ensure_ascii=False)
