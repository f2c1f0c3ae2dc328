"""A project that has its cells: what match says of it, and what is left of a build after a cell was replaced."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest
from tests.cli.bench import Bench
from tests.sample.conftest import Built

CAMERA = "'bird-box camera'"
VENT = "'greenhouse vent opener'"


@pytest.fixture
def bench(built: Built, tmp_path: Path) -> Bench:
    """A copy of the workshop on its day."""
    shutil.copy(built.path, tmp_path / "shop.sqlite")
    return Bench(tmp_path / "shop.sqlite", built.sample.now.isoformat())


def codes_of(document: dict[str, list[list[str]]]) -> list[str]:
    return [code for group in document["groups"] for code in group]


def test_match_of_a_reserved_project_tells_what_it_holds_and_plans_nothing(bench: Bench) -> None:
    """The same keys, with the cells, the plan they were reserved by, and the state."""
    before = bench.do(f"match {CAMERA}")
    made = bench.do(f"build reserve {CAMERA} --plan {before['plan']}")
    held = bench.do(f"match {CAMERA}")
    assert set(before) <= set(held)
    assert (held["served"], held["state"], held["plan"]) == (True, "reserved", before["plan"])
    assert held["groups"] == made["groups"] and held["not_chosen"] == []
    assert held["runtime_h"]["low"] == pytest.approx(before["runtime_h"]["low"])
    answer = bench.run(f"match {CAMERA}")
    assert "has been reserved since" in answer.out and all(code in answer.out for code in codes_of(made))
    assert "build reserve" not in answer.out
    assert "build dismantle 'bird-box camera'" in answer.err


def test_match_of_a_built_project_says_since_when(bench: Bench) -> None:
    """Its cells are in a device: nothing is looked for."""
    bench.do(f"build reserve {CAMERA}")
    bench.do(f"build finish {CAMERA} --yes")
    held = bench.do(f"match {CAMERA}")
    assert held["state"] == "finished" and held["since"].startswith("2026-11-20")
    assert "has been built since 2026-11-20" in bench.run(f"match {CAMERA}").out


def test_reserved_cells_that_no_longer_do_are_a_negative_answer(bench: Bench) -> None:
    """Readings went stale while the cells waited: which test fails is told, and how to free them."""
    bench.do(f"build reserve {CAMERA}")
    bench.now = "2028-11-20T20:00:00+00:00"
    answer = bench.run(f"match {CAMERA}")
    assert answer.code == 1
    assert "No longer true of them" in answer.out
    assert "no longer do" in answer.err and max(map(len, answer.err.splitlines())) <= 80 + 2


def test_readings_of_a_built_in_cell_may_age(bench: Bench) -> None:
    """A device in use is not called unserved because its cells were measured long ago."""
    bench.do(f"build reserve {CAMERA}")
    bench.do(f"build finish {CAMERA} --yes")
    bench.now = "2028-11-20T20:00:00+00:00"
    answer = bench.run(f"match {CAMERA}")
    assert answer.code == 0 and "Not as a new match would want it" in answer.out


def test_a_freed_reservation_is_called_so_and_shows_no_caution_of_taking_apart(bench: Bench) -> None:
    """Nothing was joined: the cells are where they were, with their verdicts."""
    codes = codes_of(bench.do(f"build reserve {CAMERA}"))
    stood = {code: bench.do(f"verdict show {code}")["outcome"] for code in codes}
    answer = bench.run(f"build dismantle {CAMERA}")
    assert (answer.code, answer.err) == (0, "")
    assert "reservation freed" in answer.out and all(code in answer.out for code in codes)
    for code in codes:
        assert bench.do(f"cell show {code}")["stage"] == "shelved"
        assert bench.do(f"verdict show {code}")["outcome"] == stood[code]


def test_taking_a_build_apart_shows_the_cautions_and_puts_its_cells_on_hold(bench: Bench) -> None:
    """These were joined: each must be tested anew."""
    codes = codes_of(bench.do(f"build reserve {CAMERA}"))
    bench.do(f"build finish {CAMERA} --yes")
    answer = bench.run(f"build dismantle {CAMERA}")
    assert "dismantled" in answer.out and "caution" in answer.err and "on hold until" in answer.err
    assert {bench.do(f"cell show {code}")["stage"] for code in codes} == {"received"}
    assert {bench.do(f"verdict show {code}")["outcome"] for code in codes} == {"hold"}


def test_a_replaced_cell_keeps_the_history_of_the_build(bench: Bench) -> None:
    """Dropped, taken apart, rebuilt from others: the first build stays in the histories of its cells."""
    first = codes_of(bench.do(f"build reserve {VENT}"))
    bench.do(f"build finish {VENT} --yes")
    bench.do(f"incident add --kind drop {first[0]} --note 'fell off the ladder'")
    bench.do(f"build dismantle {VENT}")
    second = codes_of(bench.do(f"build reserve {VENT}"))
    assert not set(first) & set(second)
    told = str(bench.do(f"cell history {first[0]}"))
    for verb in ("build-reserved", "build-finished", "incident", "build-dismantled"):
        assert verb in told
    assert "greenhouse vent opener" in told and "fell off the ladder" in told
    assert "build-finished" not in str(bench.do(f"cell history {second[0]}"))


LONG = "weather mast at the far end of the upper orchard, north side"


def test_no_line_for_a_person_is_wider_than_the_page_whatever_the_name(bench: Bench, tmp_path: Path) -> None:
    """A served and an unserved project with a long name; the command to copy goes on in a second line."""
    file = tmp_path / "long.toml"
    file.write_text(
        f'name = "{LONG}"\npriority = 2\n[load]\ncurrent = "20mA"\n[need]\nruntime = "8h"\ncutoff = "3.2V"\n'
        '[pack]\nseries = 1\nparallel = 1\n[protection]\nfitted = true\ncutoff = "2.8V"\ntrip_current = "2A"\n'
    )
    bench.do(f"project add {file}")
    for line in (["match", LONG], ["match", "--all"], ["match", "bench lamp"], ["match", "tide clock"]):
        answer = bench.run(line)
        for told in [*answer.out.splitlines(), *answer.err.splitlines()]:
            assert len(told) <= 80 + 2 or LONG in told, told
    out = bench.run(["match", LONG]).out.splitlines()
    assert out[-1].strip().startswith("--plan ") and out[-2].endswith(" \\")
