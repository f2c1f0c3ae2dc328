"""What a recorded trace shows of danger reaches the verdict: deep discharge, reversal, heat."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from tests.cli.bench import Bench


@pytest.fixture
def round_cell(bench: Bench) -> Bench:
    """A 2.5 Ah 18650 without any reading."""
    bench.do("cell add --form 18650 --chemistry nmc --rated-capacity 2500mAh --code A00001O")
    return bench


def run_file(
    folder: Path, *, end_v: float, rest_v: float | None = None, top_c: float = 30.0, name: str = "run.csv"
) -> Path:
    """A rest, four hours of 0.5 A down to `end_v` and up to `top_c`, then two hours at `rest_v`."""
    lines = ["time_s,voltage_v,current_a,temperature"]
    lines += [f"{t},4.18,0,25" for t in range(0, 300, 10)]
    for k in range(1441):
        part = k / 1440
        lines.append(f"{300 + 10 * k},{4.10 - (4.10 - end_v) * part:.5f},-0.5,{25 + (top_c - 25) * part:.2f}")
    if rest_v is not None:
        lines += [f"{14710 + 10 * k},{rest_v},0,25" for k in range(720)]
    file = folder / name
    file.write_text("\n".join(lines) + "\n")
    return file


def reasons(bench: Bench, rule: str) -> list[dict[str, Any]]:
    return [r for r in bench.do("verdict show A00001O")["reasons"] if r["rule"] == rule]


def voltages(bench: Bench) -> list[dict[str, Any]]:
    return [r for r in bench.do("cell show A00001O")["readings"] if r["quantity"] == "voltage"]


def test_hours_at_0_6_v_in_a_trace_discard_the_cell(round_cell: Bench, tmp_path: Path) -> None:
    """The rest becomes a voltage linked to the trace, and the rule of the floor sees it."""
    found = round_cell.do(f"trace add A00001O {run_file(tmp_path, end_v=0.6, rest_v=0.6)}")
    loaded, low = voltages(round_cell)
    assert (low["value"], low["trace"]) == (0.6, found["id"])
    assert loaded["rested_h"] is None and loaded["value"] == pytest.approx(0.6, abs=0.01)
    assert low["rested_h"] == pytest.approx(2.0, abs=0.01)
    assert low["id"] in found["readings"]
    (reason,) = reasons(round_cell, "voltage-floor")
    assert reason["status"] == "failed"
    assert round_cell.do("verdict show A00001O")["outcome"] == "discard"


def test_a_voltage_below_zero_under_current_discards_the_cell(round_cell: Bench, tmp_path: Path) -> None:
    """A cell driven into reversal, with no rest after it."""
    round_cell.do(f"trace add A00001O {run_file(tmp_path, end_v=-0.3)}")
    (low,) = voltages(round_cell)
    assert low["value"] == pytest.approx(-0.3)
    assert round_cell.do("verdict show A00001O")["outcome"] == "discard"


def test_a_cell_at_85_c_in_a_trace_is_condemned_and_it_is_said(round_cell: Bench, tmp_path: Path) -> None:
    """The incident goes in with the trace; stderr says what was recorded and why."""
    answer = round_cell.run(f"trace add A00001O {run_file(tmp_path, end_v=2.9, top_c=85)}")
    assert answer.code == 0
    told = " ".join(answer.err.split())
    assert "85 C in trace A-1: incident 'hot' recorded" in told
    assert "severe incident: hot" in told
    assert round_cell.do("verdict show A00001O")["outcome"] == "discard"


def test_heat_that_was_only_said_counts_too(round_cell: Bench, tmp_path: Path) -> None:
    """--temperature is of the cell where the file tells none."""
    file = run_file(tmp_path, end_v=2.9)
    file.write_text("\n".join(line.rpartition(",")[0] for line in file.read_text().split()) + "\n")
    round_cell.do(f"trace add A00001O {file} --temperature 70C")
    assert [r["text"] for r in reasons(round_cell, "upset")] == ["severe incident: hot"]


def test_the_same_file_worked_out_anew_records_no_second_incident(round_cell: Bench, tmp_path: Path) -> None:
    """One heat, one incident."""
    file = run_file(tmp_path, end_v=2.9, top_c=85)
    round_cell.do(f"trace add A00001O {file}")
    answer = round_cell.run(f"trace add A00001O {file} --again --because 'forgot the cut-off' --cutoff 3.2V")
    assert answer.code == 0, answer.err
    assert "incident 'hot' recorded" not in answer.err


def test_a_usual_trace_up_to_the_limit_records_no_incident_and_no_voltage(
    round_cell: Bench, tmp_path: Path
) -> None:
    """60 C is not above 60 C, and a rest at 3.3 V is none below the floor."""
    answer = round_cell.run(f"trace add A00001O {run_file(tmp_path, end_v=2.9, rest_v=3.3, top_c=60)}")
    assert answer.code == 0 and "incident" not in answer.err
    assert voltages(round_cell) == []
    assert round_cell.do("verdict show A00001O")["outcome"] != "discard"


FULL, EMPTY = [(300, 0.0, 4.18, 4.18)], (14400, -0.5, 4.1, 2.9)
CHARGED = [(300, 0.0, 3.5, 3.5), (9000, 0.5, 3.6, 4.2), (3600, 0.05, 4.2, 4.2)]


def rows_file(folder: Path, parts: list[tuple[int, float, float, float]]) -> Path:
    """Parts of (seconds, current, first voltage, last voltage), a row every ten seconds."""
    lines, start = ["time_s,voltage_v,current_a"], 0
    for seconds, amps, first_v, last_v in parts:
        for k in range(0, seconds, 10):
            lines.append(f"{start + k},{first_v + (last_v - first_v) * k / seconds:.5f},{amps}")
        start += seconds
    file = folder / "rows.csv"
    file.write_text("\n".join(lines) + "\n")
    return file


@pytest.mark.parametrize(
    ("parts", "rule"),
    [
        ([(300, 0.0, 4.35, 4.35), EMPTY], "voltage-over-full"),
        ([*FULL, (14400, -0.5, 4.1, 1.5)], "voltage-floor"),
        ([(600, 0.5, 1.2, 3.4), *CHARGED[1:]], "voltage-floor"),
        ([CHARGED[0], (60000, 0.5, 3.6, 4.2), CHARGED[2]], "charge-in-discard"),
        ([*CHARGED, (86400, 0.0, 4.18, 3.8)], "first-day-discard"),
    ],
)
def test_what_would_condemn_as_typed_condemns_as_a_trace(
    round_cell: Bench, tmp_path: Path, parts: list[tuple[int, float, float, float]], rule: str
) -> None:
    """Over-charged elsewhere; run down too far; charged from there; a charge without an end; a fall at rest."""
    round_cell.do(f"trace add A00001O {rows_file(tmp_path, parts)}")
    assert reasons(round_cell, rule)[0]["status"] == "failed"
    assert round_cell.do("verdict show A00001O")["outcome"] == "discard"


def test_a_run_down_to_2_3_v_leaves_the_cell_light_as_that_cut_off_typed_does(
    round_cell: Bench, tmp_path: Path
) -> None:
    """Its capacity is counted to 3 V; what it went through is not."""
    round_cell.do(f"trace add A00001O {rows_file(tmp_path, [*FULL, (14400, -0.5, 4.1, 2.3)])}")
    (reason,) = reasons(round_cell, "voltage-light-only")
    assert (reason["status"], reason["ceiling"]) == ("failed", "light")


@pytest.mark.parametrize(
    "parts",
    [
        [*FULL, EMPTY],
        [*CHARGED, (86400, 0.0, 4.19, 4.17)],
        [CHARGED[0], (18000, 0.5, 3.6, 4.2), CHARGED[2]],
    ],
)
def test_a_sound_run_a_sound_charge_and_a_sound_rest_condemn_nothing(
    round_cell: Bench, tmp_path: Path, parts: list[tuple[int, float, float, float]]
) -> None:
    """What every bench files of every cell."""
    round_cell.do(f"trace add A00001O {rows_file(tmp_path, parts)}")
    failed = [r["rule"] for r in round_cell.do("verdict show A00001O")["reasons"] if r["status"] == "failed"]
    assert failed == []


def test_a_charge_within_its_uncertainty_of_over_charged_holds(round_cell: Bench, tmp_path: Path) -> None:
    """4.24 V good to 36 mV: neither surely too high nor surely not."""
    over = [CHARGED[0], (9000, 0.5, 3.6, 4.24), (3600, 0.05, 4.24, 4.24)]
    round_cell.do(f"trace add A00001O {rows_file(tmp_path, over)}")
    assert [r["status"] for r in reasons(round_cell, "voltage-over-full")] == ["close"]


def test_a_trace_of_a_cell_marked_4_10_v_starts_full_at_its_own_end(bench: Bench, tmp_path: Path) -> None:
    """Unmarked it was not charged full before the run."""
    parts = [
        (300, 0.0, 3.5, 3.5),
        (9000, 0.5, 3.6, 4.1),
        (3600, 0.05, 4.1, 4.1),
        (300, 0.0, 4.09, 4.09),
        EMPTY,
    ]
    file = rows_file(tmp_path, parts)
    add = "cell add --form 18650 --chemistry nmc --rated-capacity 2500mAh"
    for marked, at_least in (("--full-voltage 4.10V", False), ("", True)):
        (cell,) = bench.do(f"{add} {marked}")
        file.write_text(file.read_text() + "\n")
        assert bench.do(f"trace add {cell['code']} {file} --temperature 22C")["at_least"] is at_least


@pytest.mark.parametrize(
    ("parts", "status"),
    [
        ([(600, 0.0, 0.3, 0.3), *CHARGED[1:]], "unmeasured"),  # dead and revived, or put in just then
        ([(600, 0.0, 0.02, 0.02), *CHARGED[1:]], "unmeasured"),
        ([(600, 0.0, 0.3, 0.3), (600, 0.5, 1.2, 3.4), *CHARGED[1:]], "failed"),  # no cell is put in at 1.2 V
        ([(170, 0.0, 0.0, 0.0), *CHARGED[1:]], ""),  # a minute or two until it lies in its holder
        ([(600, 0.0, 0.0, 0.0), (60, 0.0, 3.6, 3.6), *CHARGED[1:]], ""),  # at 3.6 V before any current
        ([(600, 0.0, 0.0, 0.0), *FULL, EMPTY], ""),
        ([(600, 0.0, 0.0, 0.0), EMPTY], ""),  # no dead cell runs for hours
        ([(600, 0.0, 0.0, 0.0), EMPTY, (600, 0.0, 3.3, 3.4), *CHARGED[1:]], ""),
    ],
)
def test_a_cell_near_zero_that_a_charge_lifts_at_once_is_asked_about(
    round_cell: Bench, tmp_path: Path, parts: list[tuple[int, float, float, float]], status: str
) -> None:
    """Left out as a bad contact it would hide a cell that was brought back to life; an empty holder holds nothing else."""
    round_cell.do(f"trace add A00001O {rows_file(tmp_path, parts)}")
    rules = {"unmeasured": "unexplained", "failed": "voltage-floor"}
    seen = {r["rule"] for r in round_cell.do("verdict show A00001O")["reasons"] if r["status"] != "met"}
    assert seen & set(rules.values()) == ({rules[status]} if status else set())
    if status == "unmeasured":
        (doubt,) = voltages(round_cell)
        round_cell.do(f"trace keep {doubt['id']} --because 'it lay there all night'")
        assert round_cell.do("verdict show A00001O")["outcome"] == "discard"
