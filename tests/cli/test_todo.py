"""What to do next: the work once, in words, with the command line that records it."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest
from tests.cli.bench import Bench

from straycell.acceptance.reasons import Missing
from straycell.bench.todo import todos

NOW = datetime(2026, 3, 1, 9, 0, tzinfo=UTC)
CODE = "A00001K"
FULL = "charge it full, attended: charge add CODE --current ... --until ... --temperature ..."
AND_RECORD = "charge it full, attended, and record it: charge add CODE ..."


def work(*texts: str) -> list[str]:
    """The lines of a page for these todos, in this order."""
    return [todo.on_page for todo in todos(CODE, [Missing("x", text) for text in texts], NOW)]


@pytest.mark.parametrize("texts", [(FULL, AND_RECORD), (AND_RECORD, FULL)])
def test_a_charge_that_two_rules_ask_for_is_told_once_in_the_fuller_words(texts: tuple[str, str]) -> None:
    """Whichever rule speaks first."""
    found = work(*texts)
    assert len(found) == 1 and "--temperature" in found[0]


def test_work_of_another_kind_stays_apart() -> None:
    """A charge that a check follows is not the same as a charge."""
    later = "charge it again at 0.2C, attended, and note the peak temperature"
    assert len(work(FULL, later, later)) == 2


def test_a_command_that_a_rule_spells_out_starts_with_the_program() -> None:
    """So that it can be copied."""
    assert work("look at it: reading add CODE --look clean (or what you see)") == [
        f"look at it: straycell reading add {CODE} --look clean (or what you see)"
    ]


@pytest.mark.parametrize(
    ("todo", "command"),
    [
        ("look at it: reading add CODE --look clean (or what you see)", "reading add A00001K --look clean ("),
        ("measure the rest voltage again", "reading add A00001K --voltage ... --rested ... ("),
        (
            "measure the resistance again: clean ends",
            "reading add A00001K --resistance ... --resistance-method",
        ),
        ("charge it again at 0.2C, attended", "charge add A00001K --current ..."),
        (
            "compare a capacity run now with one 28 days after a full charge",
            "reading add A00001K --capacity ...",
        ),
        ("note the size (marking like 603450)", "cell correct A00001K --marking ..."),
        ("record look, rest voltage, resistance anew", "reading add A00001K --look clean --voltage ..."),
        ("something nobody foresaw", "reading add A00001K --voltage ..."),
    ],
)
def test_what_comes_next_is_a_command_line(todo: str, command: str) -> None:
    """The command first, then why."""
    found = todos(CODE, [Missing("x", todo)], NOW)[0].as_next
    assert found.startswith(f"straycell {command}") and found.endswith(")") and "CODE" not in found


def test_the_day_that_can_decide_stands_at_the_end() -> None:
    """Only when it lies ahead."""
    late = Missing("x", "measure the rest voltage again", NOW + timedelta(days=3))
    assert todos(CODE, [late], NOW)[0].as_next.endswith("(could decide from 2026-03-04 on)")
    assert "could decide" not in todos(CODE, [late], NOW + timedelta(days=4))[0].on_page


def test_a_new_cell_is_told_to_be_charged_once(bench: Bench) -> None:
    """And every `next:` line that a write prints is a command line."""
    code = bench.do("cell add --marking 'INR18650 2500mAh'")[0]["code"]
    page = " ".join(bench.run(f"verdict show {code}").out.split())
    assert page.count("charge it full, attended") == 1
    for line in (f"reading add {code} --look clean", f"charge add {code} --current 0.5A --until 4.2V"):
        assert "\nnext: straycell " in bench.run(line).err
