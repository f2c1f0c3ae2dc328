"""Cells and tear-downs that never were: withdrawn, kept in the history, brought back; nothing measured goes with them."""

from __future__ import annotations

from pathlib import Path

import pytest
from tests.cli.bench import Bench

ADD = "cell add --form 18650 --chemistry nmc --rated-capacity 2600mAh --marking INR18650 --teardown AT1"


@pytest.fixture
def three(bench: Bench) -> list[str]:
    """Three cells of one tear-down, and a tear-down with none."""
    bench.prepare("teardown add 'reed pump' --kind pump")
    bench.prepare("teardown add 'reed pump, twice' --kind pump")
    return [cell["code"] for cell in bench.prepare(f"{ADD} --count 3")]


def listed(bench: Bench) -> list[str]:
    """The codes of the stock."""
    return [cell["code"] for cell in bench.do("cell list")]


def test_a_phantom_cell_leaves_every_list_and_stays_in_the_history(bench: Bench, three: list[str]) -> None:
    """List, verdicts, tear-down, labels of all, what is due; its page and its history still say why."""
    gone = three[1]
    (done,) = bench.do(f"cell withdraw {gone} --because 'label without a cell'")
    assert done["stage"] == "withdrawn"
    assert listed(bench) == [three[0], three[2]]
    assert [v["code"] for v in bench.do("verdict list")] == [three[0], three[2]]
    assert [c["code"] for c in bench.do("teardown show AT1")["cells"]] == [three[0], three[2]]
    assert gone not in bench.run("due cell-never-checked").out + bench.run("stock").out
    assert "WITHDRAWN" in bench.run(f"cell show {gone}").out
    assert "label without a cell" in bench.run(f"cell history {gone}").out
    assert [c["code"] for c in bench.do("cell list --stage withdrawn")] == [gone]
    assert bench.do("verdict refresh")["refreshed"] == 0 and bench.run("store check").code == 0


def test_forty_cells_too_many_are_one_line(bench: Bench, three: list[str]) -> None:
    """The last ones; their codes are not given out again."""
    many = [cell["code"] for cell in bench.do(f"{ADD} --count 40")]
    assert [c["code"] for c in bench.do("cell withdraw --last 40 --because 'typed 40 for 4'")] == many
    assert listed(bench) == three
    (fresh,) = bench.do(ADD)
    assert fresh["code"] not in many
    assert "4 cells on record" in bench.refused("cell withdraw --last 5 --because more", 3)


def test_a_withdrawn_cell_comes_back(bench: Bench, three: list[str]) -> None:
    """As received, with what was known of it."""
    bench.do(f"cell withdraw {three[0]} --because slip")
    assert "not withdrawn" in bench.refused(f"cell withdraw {three[1]} --back --because slip", 3)
    (again,) = bench.do(f"cell withdraw {three[0]} --back --because 'it had rolled away'")
    assert (again["stage"], again["chemistry"]) == ("received", "nmc") and listed(bench) == three


@pytest.mark.parametrize(
    "seen",
    [
        "reading add {code} --look clean",
        "charge add {code} --current 0.5A --until 4.2V --temperature 21C",
        "incident add --kind drop {code} --note 'off the bench'",
        "reading add {code} --look swollen",
        "discard {code} --because old",
    ],
)
def test_a_cell_of_which_anything_is_known_stays(seen: str, bench: Bench, three: list[str]) -> None:
    """No danger once seen goes with a withdrawal; all are refused together and nothing is written."""
    bench.do(seen.format(code=three[0]))
    assert three[0] in bench.refused(f"cell withdraw {three[0]} {three[1]} --because slip", 3)
    assert listed(bench) == three


def test_readings_of_another_cell_are_taken_back_first(bench: Bench, three: list[str]) -> None:
    """Then nothing is known of the cell any more."""
    bench.do(f"reading add {three[0]} --look clean")
    bench.do(
        f"reading supersede {three[0]} --last look --mistake wrong-cell --because 'of the one beside it'"
    )
    assert bench.do(f"cell withdraw {three[0]} --because slip")[0]["stage"] == "withdrawn"


@pytest.mark.parametrize(
    "line",
    [
        "reading add {code} --look clean",
        "charge add {code} --current 0.5A --until 4.2V",
        "incident add --kind drop {code} --note x",
        "discard {code} --because old",
        "cell move {code} tin",
        "cell withdraw {code} --because twice",
    ],
)
def test_nothing_is_recorded_of_a_withdrawn_cell(line: str, bench: Bench, three: list[str]) -> None:
    """It would be of another cell, or the cell is there: the message says how to bring it back."""
    bench.do("box add tin")
    bench.do(f"cell withdraw {three[0]} --because slip")
    said = bench.refused(line.format(code=three[0]), 3)
    assert "withdrawn" in said and three[0] in said


def test_an_empty_tear_down_is_withdrawn_and_one_with_cells_is_not(bench: Bench, three: list[str]) -> None:
    """It leaves the list, takes no cell any more, and comes back."""
    assert three[0] in bench.refused("teardown withdraw AT1 --because twice", 3)
    bench.do("teardown withdraw AT2 --because 'recorded twice'")
    assert [t["code"] for t in bench.do("teardown list")] == ["AT1"]
    assert bench.do("teardown show AT2")["withdrawn"] is True
    assert "withdrawn" in bench.refused(ADD.replace("AT1", "AT2"), 3)
    assert "already" in bench.refused("teardown withdraw AT2 --because again", 3)
    bench.do("teardown withdraw AT2 --back --because 'there were two'")
    assert [t["code"] for t in bench.do("teardown list")] == ["AT1", "AT2"]
    bench.do("cell withdraw --teardown AT1 --because 'another evening'")
    bench.do("teardown withdraw AT1 --because 'another evening'")
    assert bench.do("cell list") == [] and bench.run("store check").code == 0


def test_last_does_not_go_with_other_choices(bench: Bench, three: list[str]) -> None:
    """Which cells are meant must be plain."""
    bench.refused(f"cell withdraw {three[0]} --last 1 --because slip", 2)
    bench.refused("cell withdraw --because slip", 2)
    bench.refused(f"cell withdraw {three[0]}", 2)


def test_a_match_and_a_run_time_get_on_beside_a_withdrawn_cell(
    bench: Bench, three: list[str], tmp_path: Path
) -> None:
    """It is offered to no project; asked for by name, its run time is refused in words."""
    (tmp_path / "bell.toml").write_text(BELL, encoding="utf-8")
    bench.do(f"project add {tmp_path / 'bell.toml'}")
    bench.do(f"cell withdraw {three[1]} --because 'label without a cell'")
    for line in ("match 'reed bell'", "match --all"):
        answer = bench.run(line)
        assert answer.code == 1 and three[1] not in answer.out + answer.err
    assert three[1] in bench.refused(f"runtime {three[1]} --until 3.2V --current 35mA", 3)


BELL = """
name = "reed bell"
priority = 1
[load]
current = "35mA"
[need]
runtime = "24h"
cutoff = "3.2V"
[pack]
series = 1
parallel = 1
"""
