"""`build inspect --groups`: recorded, compared, and what a sinking group does to its pack."""

from __future__ import annotations

import json
import sqlite3
from contextlib import closing
from datetime import datetime, timedelta
from pathlib import Path

import pytest
from tests.cli.bench import Bench
from tests.sample.conftest import Built, built  # noqa: F401

CAMERA = "'bird-box camera'"


@pytest.fixture
def bench(built: Built, tmp_path: Path) -> Bench:  # noqa: F811
    """The workshop with the camera's pack of two groups reserved, and a meter of 1 mV steps."""
    bench = Bench(tmp_path / "shop.sqlite", built.sample.now.isoformat())
    bench.begin_with(built.path)
    bench.prepare(f"build reserve {CAMERA}")
    bench.prepare("build reserve 'greenhouse vent opener'")
    bench.prepare("meter add pale --voltage-accuracy 0.05%+2mV --voltage-resolution 1mV")
    return bench


def later(bench: Bench, days: float) -> None:
    bench.now = (datetime.fromisoformat(bench.now) + timedelta(days=days)).isoformat()


def test_a_group_that_sinks_puts_its_cells_on_hold_and_the_build_is_not_finished(bench: Bench) -> None:
    """12 mV more than the other in a day, by one meter: named with its cells; due, match and finish say so."""
    first = bench.do(f"build inspect {CAMERA} --groups 3.801V,3.799V --meter pale")
    assert first["sinking"] == [] and first["group_voltages_v"][0]["value"] == 3.801
    later(bench, 1)
    answer = bench.run(f"build inspect {CAMERA} --groups 3.800V,3.786V --meter pale")
    codes = first["groups"][1]
    assert answer.code == 0 and "take the pack out of use: group 2" in answer.err
    assert all(code in " ".join(answer.err.split()) for code in codes)
    for code in codes:
        assert bench.do(f"verdict show {code}")["outcome"] == "hold"
    assert bench.do(f"verdict show {first['groups'][0][0]}")["outcome"] == "pack"
    assert bench.run(f"build finish {CAMERA} --yes").code == 1
    assert "sank faster" in " ".join(bench.run(f"verdict show {codes[0]}").out.split())


def test_even_groups_are_due_after_a_day_a_week_and_ninety_days(bench: Bench) -> None:
    """Each inspection names the next; `due` lists it with the command that records it."""
    for wait, following in ((0.0, 1.0), (1.0, 6.0), (6.0, 90.0), (90.0, 90.0)):
        later(bench, wait)
        found = bench.do(f"build inspect {CAMERA} --groups 3.80V,3.80V --meter pale")
        assert found["sinking"] == []
        at = datetime.fromisoformat(found["next_inspection"])
        assert at - datetime.fromisoformat(bench.now) == timedelta(days=following)
    later(bench, 91)
    items = [i for i in bench.do("due")["due"] if i["kind"] == "group-voltages"]
    assert [i["subject"] for i in items] == ["bird-box camera"] and "--groups" in items[0]["todo"]


@pytest.mark.parametrize(
    ("line", "code", "words"),
    [
        (f"build inspect {CAMERA}", 2, "--look"),
        (f"build inspect {CAMERA} --meter pale", 2, "--groups"),
        (f"build inspect {CAMERA} --look clean --charged-alone 1", 2, "--groups"),
        (f"build inspect {CAMERA} --groups 3.8V,3.8V --charged-alone 3", 3, "no group 3"),
        (f"build inspect {CAMERA} --groups 3.8V,3.8V --charged-alone second", 3, "not a group"),
        (f"build inspect {CAMERA} --groups 3.8V,3.8V --charged-alone 0", 3, "not a group"),
        (f"build inspect {CAMERA} --groups 3.8V,3.8V --charged-alone 99999999999999999999", 3, "not a group"),
        (f"build inspect {CAMERA} --groups 3.8V", 3, "2 groups"),
        (f"build inspect {CAMERA} --groups 3.8V,3.8V,3.8V", 3, "2 groups"),
        (f"build inspect {CAMERA} --groups 3.8,3.8", 3, "has no unit"),
        (f"build inspect {CAMERA} --groups 7.6V,7.6V", 3, "group 1"),
        (f"build inspect {CAMERA} --groups 3.8V,3.8V --meter nobody", 3, "nobody"),
        ("build inspect 'tide clock' --groups 3.8V,3.8V", 3, "has no build"),
        ("build inspect 'greenhouse vent opener' --groups 3.8V", 3, "one group"),
        (f"build inspect {CAMERA} --groups 3.8V,3.8V --look clean", 3, "no finished build"),
    ],
)
def test_what_cannot_be_an_inspection_is_refused_and_nothing_is_kept(
    bench: Bench, line: str, code: int, words: str
) -> None:
    """Each kind of slip in its own words; the store keeps every byte."""
    before = bench.store.read_bytes()
    assert words in bench.refused(line, code)
    assert bench.store.read_bytes() == before


def test_a_second_inspection_in_the_same_moment_is_refused(bench: Bench) -> None:
    """The clock of the bench stands still: the first one is kept."""
    bench.do(f"build inspect {CAMERA} --groups 3.80V,3.80V")
    assert "just now" in bench.refused(f"build inspect {CAMERA} --groups 3.70V,3.80V", 3)


def test_what_was_measured_is_never_changed(bench: Bench) -> None:
    """The row cannot be updated, removed or replaced by anybody; the check finds nothing to say."""
    found = bench.do(f"build inspect {CAMERA} --groups 3.80V,3.81V")
    assert [g["value"] for g in found["group_voltages_v"]] == [3.80, 3.81]
    with closing(sqlite3.connect(bench.store)) as file:
        for statement in ("UPDATE group_voltage SET value = 3.9", "DELETE FROM group_voltage"):
            with pytest.raises(sqlite3.IntegrityError):
                file.execute(statement)
    assert bench.run("store check").code == 0


@pytest.mark.parametrize(
    ("volts", "edge", "outcome"),
    [
        ("3.80V,4.31V", "over-full", "discard"),
        ("3.80V,1.90V", "too-low", "discard"),
        ("3.80V,2.30V", "too-low", "hold"),
        ("3.80V,2.501V", "too-low", "hold"),
    ],
)
def test_a_group_outside_its_limits_is_a_danger_at_the_first_look(
    bench: Bench, volts: str, edge: str, outcome: str
) -> None:
    """Nothing to compare with is needed: its cells are out of use by the rules' own limits, the others stay."""
    answer = bench.run(f"build inspect {CAMERA} --groups {volts} --meter pale --json")
    found = json.loads(answer.out)
    assert [(o["group"], o["edge"]) for o in found["outside"]] == [(2, edge)]
    assert "take the pack out of use, charge it no more: group 2" in " ".join(answer.err.split())
    for code in found["groups"][1]:
        assert bench.do(f"verdict show {code}")["outcome"] == outcome
    assert bench.do(f"verdict show {found['groups'][0][0]}")["outcome"] == "pack"
    assert bench.run(f"build finish {CAMERA} --yes").code != 0
    assert bench.run("store check").code == 0


def test_full_groups_raise_no_alarm(bench: Bench) -> None:
    """Charged to 4.20 V and just off the charger, even by a meter without a name."""
    found = bench.do(f"build inspect {CAMERA} --groups 4.20V,4.19V")
    assert found["outside"] == [] and found["sinking"] == []


def test_a_group_that_rose_by_itself_is_asked_about_and_what_was_said_is_kept(bench: Bench) -> None:
    """Without a terminal the command ends and names the option; with it the other group is not condemned."""
    first = bench.do(f"build inspect {CAMERA} --groups 3.700V,3.700V --meter pale")
    later(bench, 1)
    line = f"build inspect {CAMERA} --groups 3.700V,3.800V --meter pale"
    before = bench.store.read_bytes()
    assert "--charged-alone 2, or --charged-alone none" in " ".join(bench.refused(line, 2).split())
    assert bench.store.read_bytes() == before
    found = bench.do(f"{line} --charged-alone 2")
    assert found["sinking"] == [] and found["charged_alone"] == [2]
    assert bench.do(f"verdict show {first['groups'][0][0]}")["outcome"] == "pack"
    later(bench, 6)
    answer = bench.run(f"build inspect {CAMERA} --groups 3.700V,3.850V --meter pale --charged-alone 2")
    assert answer.code == 0 and "may leak" in " ".join(answer.err.split())


def test_a_group_that_rose_and_was_not_charged_leaves_the_other_sinking(bench: Bench) -> None:
    """A charge of the pack lifts a leaking group less; said to be none of one group, it is the leak."""
    bench.do(f"build inspect {CAMERA} --groups 3.700V,3.700V --meter pale")
    later(bench, 1)
    found = bench.do(f"build inspect {CAMERA} --groups 3.800V,3.900V --meter pale --charged-alone none")
    assert [s["group"] for s in found["sinking"]] == [1] and found["charged_alone"] == []


def test_a_cell_out_of_a_sinking_group_needs_a_new_check_of_its_self_discharge(bench: Bench) -> None:
    """Look, rest voltage and resistance in one evening cannot show which of the cells leaks."""
    first = bench.do(f"build inspect {CAMERA} --groups 3.801V,3.799V --meter pale")
    later(bench, 1)
    bench.do(f"build inspect {CAMERA} --groups 3.800V,3.786V --meter pale")
    bench.do(f"build dismantle {CAMERA}")
    for code in first["groups"][1]:
        reasons = {r["rule"]: r for r in bench.do(f"verdict show {code}")["reasons"]}
        assert "self-discharge check" in reasons["upset"]["text"]
