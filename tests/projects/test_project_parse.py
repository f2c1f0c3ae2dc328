"""A project file as understood, its defaults, and the text that is kept of it."""

from __future__ import annotations

import json
import math
from datetime import date
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from straycell.cells import Chemistry, Form
from straycell.errors import BadData
from straycell.physics.loads import ConstantCurrent, ConstantPower, Lamps, Profile, ResistiveLoad
from straycell.projects import (
    ChargeSpec,
    Need,
    PackShape,
    Project,
    ProjectFaults,
    Protection,
    parse_project,
    read_project_file,
    to_toml,
)

GAUGE = """
name = "reed-bed water gauge"
priority = 1
due = 2027-03-01
[load]
current = "35mA"
[need]
runtime = "48h"
cutoff = "3.2V"
temperature = "5C"
peak_current = "0.5A"
[pack]
series = 1
parallel = "auto"
forms = ["18650", "14500"]
chemistries = ["nmc", "lco", "nca"]
[charge]
current = "250mA"
voltage = "4.20V"
tolerance = "1.5%"
measured_float = "4.18V"
supply = "5V"
supply_limit = "0.5A"
supply_rated = "24V"
[protection]
fitted = true
cutoff = "2.4V"
trip_current = "3A"
"""
SMALL = '{top}\nname = "small"\n[load]\n{load}\n[need]\nruntime = "90min"\ncutoff = "3.0V"\n{rest}'


def small(
    load: str = 'current = "20mA"', *, top: str = "", rest: str = "", base: Path | None = None
) -> Project:
    """A project with little said about it."""
    return parse_project(SMALL.format(top=top, load=load, rest=rest), source="small.toml", base=base)


def test_every_key_of_the_project_file_is_understood() -> None:
    """Quantities arrive in base units, words as members, days as days."""
    project = parse_project(GAUGE, source="gauge.toml", base=None)
    assert project == Project(
        name="reed-bed water gauge",
        load=ConstantCurrent(0.035),
        need=Need(48.0, 3.2, 5.0, 0.5),
        priority=1,
        due=date(2027, 3, 1),
        pack=PackShape(1, None, (Form.F18650, Form.F14500), (Chemistry.NMC, Chemistry.LCO, Chemistry.NCA)),
        charge=ChargeSpec(0.25, None, 4.20, 0.015, 4.18, 5.0, 0.5, supply_rated_v=24.0),
        protection=Protection(True, False, False, 2.4, 3.0),
    )


def test_what_is_not_said_is_filled_in_cautiously() -> None:
    """No protection, charged outside, one cell, any form, any chemistry that is known and can be charged."""
    said = small().to_json()
    assert said["charge"] is None
    assert said["protection"] == {
        "fitted": False,
        "per_cell": False,
        "balancing": False,
        "cutoff_v": None,
        "trip_current_a": None,
        "transistor_ohm": None,
        "sensing": "",
    }
    assert said["need"] == {"runtime_h": 1.5, "cutoff_v": 3.0, "temperature_c": 25.0, "peak_current_a": None}
    pack = said["pack"]
    assert isinstance(pack, dict)
    assert (pack["series"], pack["parallel"]) == (1, 1)
    assert set(pack["chemistries"]) == {"nmc", "lco", "nca", "lmo", "lfp"}
    assert pack["forms"] == [str(form) for form in Form]


@pytest.mark.parametrize(
    ("line", "load", "shown"),
    [
        ('current = "35mA"', ConstantCurrent(0.035), {"kind": "current", "current_a": 0.035}),
        ('power = "0.4W"', ConstantPower(0.4, 1.0), {"kind": "power", "power_w": 0.4, "efficiency": 1.0}),
        (
            'power = "400mW"\nefficiency = "85%"',
            ConstantPower(0.4, 0.85),
            {"kind": "power", "power_w": 0.4, "efficiency": 0.85},
        ),
        ('resistance = "120ohm"', ResistiveLoad(120.0), {"kind": "resistance", "resistance_ohm": 120.0}),
        (
            'lamps = { count = 24, drop = "0.55V", across = "10ohm", supply = "3.0V" }',
            Lamps(24, 0.55, 10.0, 3.0),
            {"kind": "lamps", "count": 24, "drop_v": 0.55, "across_ohm": 10.0, "supply_v": 3.0},
        ),
    ],
    ids=["current", "power", "power-with-efficiency", "resistance", "lamps"],
)
def test_each_kind_of_load_is_read(line: str, load: object, shown: dict[str, object]) -> None:
    """One kind of load a file, its keys with their units in JSON."""
    project = small(line)
    assert project.load == load
    assert project.to_json()["load"] == pytest.approx(shown) or project.to_json()["load"] == shown


def test_a_profile_is_read_beside_the_file_and_kept_inside_the_text(tmp_path: Path) -> None:
    """After reading, the CSV file may vanish: the kept text gives the same project."""
    (tmp_path / "day.csv").write_text("time_s,current_a\n0,0.010\n55,0.200\n60,0\n", encoding="utf-8")
    path = tmp_path / "pump.toml"
    path.write_text(SMALL.format(top="", load='profile = "day.csv"', rest=""), encoding="utf-8")
    project, text = read_project_file(path)
    (tmp_path / "day.csv").unlink()
    assert project.load == Profile((0.0, 55.0, 60.0), current_a=(0.010, 0.200, 0.0))
    assert parse_project(text, source="kept", base=None) == project


def test_a_file_without_a_profile_is_kept_as_written(tmp_path: Path) -> None:
    """Comments and order are the person's own."""
    path = tmp_path / "gauge.toml"
    path.write_text("# by the pond\n" + GAUGE, encoding="utf-8")
    assert read_project_file(path)[1] == "# by the pond\n" + GAUGE


def test_a_profile_of_power_says_so(tmp_path: Path) -> None:
    """The column decides: watts stay watts."""
    (tmp_path / "p.csv").write_text("power_w, time_s\n0.5,0\n1.5,10\n0,20\n\n", encoding="utf-8")
    load = small('profile = "p.csv"', base=tmp_path).load
    assert load == Profile((0.0, 10.0, 20.0), power_w=(0.5, 1.5, 0.0))


def test_a_profile_needs_a_folder_to_start_from() -> None:
    """Text without a folder cannot lean on a file."""
    with pytest.raises(BadData, match="the folder of the project file is not known"):
        small('profile = "day.csv"')


def test_all_faults_come_in_one_answer_in_the_order_of_the_file() -> None:
    """Three faults, three entries with key and line; what is missing comes last."""
    text = 'name = "x"\npriority = 0\n[need]\nruntime = "2"\n[load]\ncurrent = "1V"\n'
    with pytest.raises(ProjectFaults) as caught:
        parse_project(text, source="x.toml", base=None)
    assert [(f.key, f.line) for f in caught.value.faults] == [
        ("priority", 2),
        ("need.runtime", 4),
        ("load.current", 6),
        ("need.cutoff", None),
    ]
    assert all(f.remedy for f in caught.value.faults)


def test_a_fault_inside_lamps_points_to_its_line() -> None:
    """Keys of an inline table are found on the line of the table."""
    lamps = 'lamps = { count = 0, drop = "0.55V", across = "10ohm", supply = "3.0V" }'
    with pytest.raises(ProjectFaults) as caught:
        small(lamps)
    assert [(f.key, f.line) for f in caught.value.faults] == [("load.lamps.count", 4)]


def test_series_widens_what_a_cutoff_may_be() -> None:
    """The cut-off is that of the whole string."""
    assert small(rest="").need.cutoff_v == 3.0
    text = SMALL.format(top="", load='current = "1A"', rest="[pack]\nseries = 4\n").replace("3.0V", "12V")
    assert parse_project(text, source="x", base=None).need.cutoff_v == 12.0


def test_windows_line_ends_and_a_byte_order_mark_do_no_harm() -> None:
    """Text saved by any editor is read alike."""
    text = "\ufeff" + GAUGE.replace("\n", "\r\n")
    assert parse_project(text, source="x", base=None) == parse_project(GAUGE, source="x", base=None)


def figures(low: float, high: float) -> st.SearchStrategy[float]:
    """Positive figures of a bench."""
    return st.floats(low, high, allow_nan=False, allow_infinity=False)


steps = st.lists(st.tuples(figures(0.1, 1e4), figures(1e-3, 5.0)), min_size=1, max_size=6)


def as_profile(pairs: list[tuple[float, float]]) -> Profile:
    """Steps of (duration, current) as a profile."""
    times = [0.0]
    for duration, _ in pairs:
        times.append(times[-1] + duration)
    return Profile(tuple(times), current_a=tuple(current for _, current in pairs))


loads = st.one_of(
    st.builds(ConstantCurrent, figures(1e-6, 100.0)),
    st.builds(ConstantPower, figures(1e-3, 100.0), figures(0.01, 1.0)),
    st.builds(ResistiveLoad, figures(1e-2, 1e6)),
    st.builds(Lamps, st.integers(1, 500), figures(0.01, 2.0), figures(0.1, 1e4), figures(2.5, 12.0)),
    steps.map(as_profile),
)
names = st.text(min_size=1, max_size=40).filter(lambda s: s.isprintable() and s == s.strip() and s)


@given(
    names,
    loads,
    figures(0.01, 10_000.0),
    st.integers(1, 99),
    st.none() | st.dates(),
    st.none() | figures(1e-3, 9.0),
)
def test_a_project_written_as_toml_reads_back_the_same(
    name: str, load: object, runtime_h: float, priority: int, due: date | None, charge_a: float | None
) -> None:
    """Whatever the name and the load: to_toml and parse_project undo each other (times to rounding)."""
    charge = ChargeSpec(charge_a, voltage_v=4.2, tolerance=0.01) if charge_a else None
    before = Project(name, load, Need(runtime_h, 3.1, -5.5), priority, due, charge=charge)  # type: ignore[arg-type]
    after = parse_project(to_toml(before), source="written", base=None)
    assert math.isclose(after.need.runtime_h, runtime_h, rel_tol=1e-12)
    assert after == Project(name, before.load, after.need, priority, due, charge=charge)
    assert after.need.temperature_c == -5.5
    json.dumps(after.to_json(), allow_nan=False)


@given(
    st.integers(0, len(GAUGE) - 1), st.integers(0, 12), st.text(alphabet='abcC0-9.,"=[]{}\n\\ -', max_size=6)
)
def test_a_slip_of_the_finger_gives_a_project_or_a_message(at: int, lost: int, typed: str) -> None:
    """Any few characters lost or added anywhere: never anything but bad data, with a remedy."""
    text = GAUGE[:at] + typed + GAUGE[at + lost :]
    try:
        parse_project(text, source="slip.toml", base=None)
    except BadData as fault:
        assert fault.what.startswith("slip.toml") and fault.remedy
