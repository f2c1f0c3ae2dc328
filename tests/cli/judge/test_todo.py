"""What to do next: the work once, in words, with the command line that records it."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest
from tests.cli.bench import Bench

from straycell.acceptance.reasons import Missing, Work, WorkKind, work_from_json, work_to_json
from straycell.bench.verdict_words import todos

NOW = datetime(2026, 3, 1, 9, 0, tzinfo=UTC)
CODE = "A00001K"
FULL = Work(WorkKind.CHARGE, "charge it full, attended, and record it")


def work(*asked: Work) -> list[str]:
    """The lines of a page for these pieces of work, in this order."""
    return [todo.on_page for todo in todos(CODE, [Missing("x", each) for each in asked], NOW)]


def test_a_charge_that_two_rules_ask_for_is_told_once() -> None:
    """The warming and the self-discharge check want the same charge."""
    assert len(work(FULL, FULL)) == 1 and "--temperature" in work(FULL)[0]


def test_work_in_other_words_stays_apart() -> None:
    """A charge that a check follows is not the same as a charge."""
    later = Work(WorkKind.CHARGE, "charge it again at 0.2C, attended, and note the peak temperature")
    assert len(work(FULL, later, later)) == 2


@pytest.mark.parametrize(
    ("asked", "command"),
    [
        (Work(WorkKind.LOOK, "x"), "reading add A00001K --look ..."),
        (Work(WorkKind.REST, "x"), "reading add A00001K --voltage ... --rested ... --temperature ..."),
        (Work(WorkKind.REST, "x", at_tabs=True), "--where tabs"),
        (Work(WorkKind.RESISTANCE, "x"), "reading add A00001K --resistance ... --resistance-method ..."),
        (FULL, "charge add A00001K --current ... --until ... --temperature ... --peak-temperature ..."),
        (Work(WorkKind.CAPACITY, "x", options="--energy ..."), "--temperature ... --energy ..."),
        (Work(WorkKind.MASS, "weigh it again"), "cell correct A00001K --mass ... --because ..."),
        (
            Work(WorkKind.CORRECT, "x", options="--chemistry ..."),
            "cell correct A00001K --chemistry ... --because",
        ),
        (Work(WorkKind.SUPERSEDE, "x", reading="A-7"), "reading supersede A-7 --mistake ... --because ..."),
        (Work(WorkKind.DISCARD, "x"), "discard A00001K --because ..."),
        (
            Work(WorkKind.LOOK, "x", also=(WorkKind.REST, WorkKind.RESISTANCE)),
            "reading add A00001K --look ... --voltage ... --rested ... --temperature ... --resistance ...",
        ),
    ],
)
def test_every_kind_of_work_has_its_command_line(asked: Work, command: str) -> None:
    """A whole line with the program's name, so that it can be copied; the words are not looked at."""
    line = asked.command(CODE)
    assert line.startswith("straycell ") and command in line
    assert todos(CODE, [Missing("x", asked)], NOW)[0].as_next == f"{line} ({asked.words})"


def test_the_day_that_can_decide_stands_at_the_end() -> None:
    """Only when it lies ahead."""
    late = Missing("x", Work(WorkKind.REST, "measure again"), NOW + timedelta(days=3))
    assert todos(CODE, [late], NOW)[0].as_next.endswith("(could decide from 2026-03-04 on)")
    assert "could decide" not in todos(CODE, [late], NOW + timedelta(days=4))[0].on_page


@pytest.mark.parametrize("kind", WorkKind)
def test_work_goes_to_json_and_back(kind: WorkKind) -> None:
    """Into a recorded verdict and out of it; the object has the keys of the interface."""
    asked = Work(kind, "x", NOW, (WorkKind.WAIT,), "--tabs", "A-7", at_tabs=True)
    document = work_to_json(asked, CODE)
    assert document is not None and {"kind", "words", "command", "not_before"} <= set(document)
    assert work_from_json(document) == asked
    assert work_from_json("a sentence of an older version") == Work(
        WorkKind.WAIT, "a sentence of an older version"
    )


def test_a_new_cell_is_told_to_be_charged_once(bench: Bench) -> None:
    """And every `next:` line that a write prints is a command line."""
    code = bench.do("cell add --marking 'INR18650 2500mAh'")[0]["code"]
    page = " ".join(bench.run(f"verdict show {code}").out.split())
    assert page.count("charge it full, attended") == 1
    for line in (f"reading add {code} --look clean", f"charge add {code} --current 0.5A --until 4.2V"):
        assert "\nnext: straycell " in bench.run(line).err


def test_no_charge_is_proposed_while_one_is_forbidden(bench: Bench) -> None:
    """Warm in the hand: `charging` refuses it, so the steps are to look and to measure; looked at, the charge is among them."""
    (code,) = (cell["code"] for cell in bench.do("cell add --form 18650 --chemistry nmc"))
    bench.do(f"reading add {code} --look clean --as-found-voltage 3.6V")
    assert "charge add" in bench.run(f"verdict show {code}").out
    bench.now = "2026-03-01T10:00:00+00:00"
    bench.do(f"incident add --kind warm {code}")
    shown = bench.run(f"verdict show {code}").out
    assert "charge add" not in shown and "--capacity" not in shown and "--look ..." in shown
    bench.now = "2026-03-01T11:00:00+00:00"
    bench.do(f"reading add {code} --look clean")
    assert "charge add" in bench.run(f"verdict show {code}").out


@pytest.mark.parametrize(("word", "kind"), [("warm", "warm"), ("hissing", "smoke"), ("dropped", "drop")])
def test_what_is_no_look_names_the_command_that_records_it(bench: Bench, word: str, kind: str) -> None:
    """A warm cell in the hand is no moment to search the help."""
    (code,) = (cell["code"] for cell in bench.do("cell add --form 18650"))
    said = bench.refused(f"reading add {code} --look {word}", 2)
    assert f"incident add --kind {kind} CODE" in " ".join(said.split())
    bench.do(f"incident add --kind {kind} {code}")


def test_a_discard_answers_whether_it_ever_comes_back(bench: Bench) -> None:
    """After a hand's word nothing brings it back; after one reading only that reading's mistake does."""
    first, second = (cell["code"] for cell in bench.do("cell add --form 18650 --chemistry nmc --count 2"))
    bench.do(f"discard {first} --because hissed")
    assert "no later record brings it back" in " ".join(bench.run(f"verdict show {first}").out.split())
    bench.do(f"reading add {second} --look swollen")
    page = " ".join(bench.run(f"verdict show {second}").out.split())
    assert "only if reading A-1 was a mistake" in page and "no later record" not in page
