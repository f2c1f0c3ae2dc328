"""A build is finished for the device as it is now: what it draws, where it works, its charger and its fuse."""

from __future__ import annotations

import io
import sys
from pathlib import Path

import pytest
from tests.cli.bench import Answer, Bench
from tests.cli.device_bench import graded

from straycell.bench.recording.finish import Device
from straycell.cli.app import prompts
from straycell.physics.loads import ConstantCurrent, ConstantPower, Profile
from straycell.projects import Need, Project

LAMP = """
name = "lamp"
[load]
current = "200mA"
[need]
runtime = "5h"
cutoff = "3.0V"
temperature = "20C"
[charge]
current = "0.5A"
voltage = "4.20V"
measured_float = "4.18V"
[protection]
fitted = true
cutoff = "2.5V"
trip_current = "{trip}"
"""


def reserved(bench: Bench, tmp_path: Path, trip: str = "3A", cell: str = "") -> str:
    """A graded cell of 2.5 Ah, promised to the lamp."""
    code = graded(bench, *([cell] if cell else []))
    file = tmp_path / "lamp.toml"
    file.write_text(LAMP.format(trip=trip))
    bench.do(f"project add {file}")
    bench.do("build reserve lamp")
    return code


def test_without_a_terminal_it_wants_a_yes(bench: Bench, tmp_path: Path) -> None:
    """Silence confirms nothing: exit 2 with what the project says and which options say otherwise."""
    reserved(bench, tmp_path)
    told = bench.refused("build finish lamp", 2)
    assert "200 mA" in told and "--yes" in told and "--charge-current" in told
    assert bench.do("build list")[-1]["state"] == "reserved"
    assert "200 mA" in " ".join(bench.run("build finish lamp --yes").err.split())


@pytest.mark.parametrize(
    ("options", "fits"),
    [
        # 2.5 Ah less U give 5 h at 0.2 A; not at twice that, nor at what a lone cell may never give.
        ("--current 210mA", True),
        ("--current 900mA", False),
        ("--current 200mA --peak-current 1A", True),
        ("--current 200mA --peak-current 1.8A", False),
        ("--temperature 20C", True),
        ("--temperature -25C", False),
        # Half of its capacity an hour is what a sound cell takes.
        ("--charge-current 1A", True),
        ("--charge-current 1.4A", False),
        ("--measured-float 4.21V", True),
        ("--measured-float 4.26V", False),
        # Of two cells in series it is a float like any, of one a charger for two: judged, not taken for a slip.
        ("--measured-float 8.36V", False),
        # A fuse of 1 A holds 0.75 A; one of 4 A melts at 8.4 A, and 3C of the cell are 7.4 A.
        ("--fuse 1A", True),
        ("--fuse 3.15A", True),
        ("--fuse 4A", False),
        ("--fuse 100mA", False),
    ],
)
def test_what_was_measured_is_judged_as_the_match_would(
    bench: Bench, tmp_path: Path, options: str, fits: bool
) -> None:
    """Inside and outside of what the cell gives, stands and takes; what is refused changes nothing."""
    code = reserved(bench, tmp_path)
    answer = bench.run(f"build finish lamp --yes {options}")
    assert answer.code == (0 if fits else 1), answer.err
    assert bench.do("build list")[-1]["state"] == ("finished" if fits else "reserved")
    if fits:
        name = options.split()[0]
        last = bench.do(f"cell history {code}")[-1]
        assert last["verb"] == "build-finished" and name.strip("-").replace("-", "_") in str(last["detail"])


@pytest.mark.parametrize(
    ("load", "largest_a"),
    [
        (Profile((0.0, 599.0, 600.0), current_a=(0.02, 2.2)), 2.2),
        # 3 W behind a converter of 80 % at the cut-off of 3 V.
        (ConstantPower(3.0, 0.8), 1.25),
        (ConstantCurrent(0.9), None),
    ],
)
def test_one_measured_current_hides_no_peak_of_the_file(
    load: ConstantCurrent | ConstantPower | Profile, largest_a: float | None
) -> None:
    """A motor's second of 2.2 A stays, whatever the meter shows meanwhile; a measured peak replaces it."""
    project = Project("gate", load, Need(5.0, 3.0))
    assert Device(current_a=0.05).of(project).need.peak_current_a == pytest.approx(largest_a)
    assert Device(current_a=0.05, peak_current_a=0.06).of(project).need.peak_current_a == 0.06


@pytest.mark.parametrize(
    ("trip", "maker", "demanded"),
    [
        # 6 A of trip may be 7.2 A, 6.4 A may be 7.68 A: 3C of 2.5 Ah less its U lie between.
        ("6A", "", False),
        ("6.4A", "", True),
        ("200A", "", True),
        ("3A", "--maker-discharge-current 3.6A", False),
        ("3A", "--maker-discharge-current 3.5A", True),
    ],
)
def test_a_board_that_lets_an_overload_through_demands_a_fuse(
    bench: Bench, tmp_path: Path, trip: str, maker: str, demanded: bool
) -> None:
    """It counts for the rest; match says so, and no build is finished before the fuse is stated."""
    code = graded(bench)
    if maker:
        bench.do(f"cell correct {code} {maker} --because 'its sheet came'")
    file = tmp_path / "lamp.toml"
    file.write_text(LAMP.format(trip=trip))
    bench.do(f"project add {file}")
    found = bench.do("match lamp")
    assert found["pack"]["fuse_demanded"] is demanded
    assert any("add a fuse" in each for each in found["warnings"]) == demanded
    bench.do("build reserve lamp")
    if demanded:
        told = " ".join(bench.refused("build finish lamp --yes", 1).split())
        assert "--fuse" in told and "short circuit" in told
    assert bench.do("build finish lamp --yes --fuse 1A")["state"] == "finished"


def typed(bench: Bench, monkeypatch: pytest.MonkeyPatch, answers: str) -> Answer:
    """`build finish lamp` at a terminal, with these lines typed."""
    monkeypatch.setattr(prompts, "at_terminal", lambda: True)
    monkeypatch.setattr(sys, "stdin", io.StringIO(answers))
    return bench.run("build finish lamp")


def test_at_a_terminal_each_is_asked_and_judged(
    bench: Bench, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Enter keeps what the project says; a bare number is asked again; 900 mA empty the cell too soon."""
    reserved(bench, tmp_path)
    answer = typed(bench, monkeypatch, "900\n900mA\n\n\ny\n")
    assert answer.code == 1 and "write 900A or 900mA" in answer.err
    assert "Traceback" not in answer.err
    assert bench.do("build list")[-1]["state"] == "reserved"
    assert typed(bench, monkeypatch, "210mA\n\n").code == 2
    assert typed(bench, monkeypatch, "210mA\n\n\ny\n").code == 0
    assert bench.do("build list")[-1]["state"] == "finished"


def test_at_a_terminal_the_demanded_fuse_is_asked_for(
    bench: Bench, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Enter is no fuse; one that is too large does not guard it."""
    reserved(bench, tmp_path, trip="30A")
    assert typed(bench, monkeypatch, "\n\n\n\ny\n").code == 1
    assert typed(bench, monkeypatch, "\n\n\n5A\ny\n").code == 1
    answer = typed(bench, monkeypatch, "\n\n\n1A\ny\n")
    assert answer.code == 0 and "Which fuse is in?" in answer.err
