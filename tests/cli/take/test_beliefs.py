"""What is measured and not believed, and what is believed only in part, through the command line."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from tests.cli.bench import Answer, Bench

CELL = "A00001O"
RUN = "--discharge-current 0.5A --cutoff 2.75V"
FURTHER = Path(__file__).parents[2] / "reference" / "traces" / "further"


@pytest.fixture
def cell(bench: Bench) -> Bench:
    """A good 2.5 Ah cell in its second week: looked at, charged, discharged, pulsed, charged and rested twice."""
    bench.prepare(
        "meter add fine --voltage-accuracy 0.02%+1mV --capacity-accuracy 0.5%+1mAh --resistance-accuracy 1%+0.5mohm"
    )
    bench.prepare(f"cell add --form 18650 --chemistry nmc --rated-capacity 2500mAh --code {CELL}")
    add(bench, "--look clean --as-found-voltage 3.62V", "2026-02-01T09:00Z")
    charge(bench, "2026-02-02T09:00Z")
    add(bench, f"--capacity 2400mAh {RUN}", "2026-02-02T17:00Z")
    add(bench, "--resistance 50mohm --resistance-method dc-pulse", "2026-02-02T18:00Z")
    charge(bench, "2026-02-03T09:00Z")
    add(bench, "--voltage 4.185V --rested 34h", "2026-02-04T19:00Z")
    add(bench, "--voltage 4.176V --rested 16d", "2026-02-19T19:00Z")
    assert outcome(bench) == "pack"
    return bench


def add(bench: Bench, words: str, at: str) -> None:
    bench.prepare(f"reading add {CELL} {words} --temperature 22C --meter fine --at {at}")


def charge(bench: Bench, at: str) -> None:
    bench.prepare(
        f"charge add {CELL} --current 1A --until 4.20V --end-current 100mA "
        f"--temperature 22C --peak-temperature 26C --at {at}"
    )


def outcome(bench: Bench) -> str:
    found: str = bench.do(f"cell show {CELL}")["outcome"]
    return found


def contradictions(bench: Bench) -> list[dict[str, Any]]:
    reasons = bench.do(f"verdict show {CELL}")["reasons"]
    return [reason for reason in reasons if "contradictory" in reason["text"]]


def flat(text: str) -> str:
    return " ".join(text.split())


UNBELIEVABLE = {
    "more than the size can hold": f"--capacity 4900mAh {RUN}",
    "energy over capacity that is not a mean voltage of the chemistry": f"--capacity 2395mAh --energy 10.8Wh {RUN}",
    "a resistance that fell by half": "--resistance 24mohm --resistance-method dc-pulse",
    "a rest voltage above full": "--voltage 4.235V --rested 48h",
}


@pytest.mark.parametrize("kind", UNBELIEVABLE)
def test_what_cannot_be_is_flagged_and_holds_a_good_cell(kind: str, cell: Bench) -> None:
    """Each of the four: on hold, called contradictory on the page with what to do, and said at once."""
    if "capacity" in UNBELIEVABLE[kind]:
        charge(cell, "2026-02-20T09:00Z")
    answer = cell.run(
        f"reading add {CELL} {UNBELIEVABLE[kind]} --temperature 22C --meter fine --at 2026-02-20T18:00Z"
    )
    assert answer.code == 0 and f"{CELL} is now HOLD" in answer.err and "next: " in answer.err
    found = contradictions(cell)
    assert found and all(reason["todo"] and reason["ceiling"] == "hold" for reason in found)
    page = flat(cell.run(f"cell show {CELL}").out)
    assert "HOLD" in page and "contradictory" in page


def test_a_reading_that_makes_sense_again_lifts_the_hold(cell: Bench) -> None:
    """The meter was put right: the next rest voltage below full ends the contradiction."""
    add(cell, "--voltage 4.235V --rested 17d", "2026-02-20T18:00Z")
    assert outcome(cell) == "hold"
    cell.do("reading supersede 9 --mistake mistyped --because 'read 4.235, it was 4.175' --voltage 4.175V")
    assert outcome(cell) == "pack" and not contradictions(cell)


CONDITIONS = {
    # conditions of a run: what it is called, and why
    "--discharge-current 2.5A --cutoff 2.75V --temperature 22C": ("a lower bound", "at 1C"),
    "--discharge-current 0.5A --cutoff 3.3V --temperature 22C": ("a lower bound", "to 3.3 V"),
    "--discharge-current 0.5A --cutoff 2.75V --temperature 5C": ("a lower bound", "at 5 C"),
    "--discharge-current 0.5A --cutoff 2.75V": ("a lower bound", "temperature was not recorded"),
    "--discharge-current 0.1A --cutoff 2.75V --temperature 22C": ("not comparable", "at 0.04C"),
    "--discharge-current 0.5A --cutoff 2.2V --temperature 22C": ("not comparable", "to 2.2 V"),
    "--discharge-current 0.5A --cutoff 2.75V --temperature 35C": ("not comparable", "at 35 C"),
}


@pytest.fixture
def charged(bench: Bench) -> Bench:
    """A 2.5 Ah cell fresh from a full charge that is on record."""
    bench.prepare(f"cell add --form 18650 --chemistry nmc --rated-capacity 2500mAh --code {CELL}")
    bench.prepare("meter add fine --capacity-accuracy 0.5%+1mAh")
    charge(bench, "2026-02-20T09:00Z")
    return bench


def says(answer: Answer, word: str, why: str) -> bool:
    return (
        word in flat(answer.err)
        and why in flat(answer.err)
        and "to count: charge it full" in flat(answer.err)
    )


@pytest.mark.parametrize("conditions", CONDITIONS)
def test_a_run_under_other_conditions_is_called_what_it_is(conditions: str, charged: Bench) -> None:
    """`reading add` says it at once with what to do, `cell show` beside the figure and beside the reading."""
    word, why = CONDITIONS[conditions]
    answer = charged.run(
        f"reading add {CELL} --capacity 2300mAh {conditions} --meter fine --at 2026-02-20T18:00Z"
    )
    assert says(answer, f"A-2 is {word}", why), answer.err
    for promised in ("charge it full", "0.25-1.2 A", "2.5-3 V", "15-30 C"):
        assert promised in flat(answer.err)
    page = charged.run(f"cell show {CELL}")
    assert f"{word}: " in page.out.partition("Readings")[0] and why in flat(page.out)
    assert word in page.out.partition("Readings")[2] and "to count: charge it full" in flat(page.err)


@pytest.mark.parametrize(
    "found", ["--look swollen", "--as-found-voltage 1.2V", "--voltage 4.4V", "--look punctured --look smell"]
)
def test_a_cell_that_may_have_no_charge_is_never_told_to_be_charged(found: str, charged: Bench) -> None:
    """A lower bound stays called so; how to do better is not said of a discarded cell."""
    charged.run(f"reading add {CELL} {found} --at 2026-02-20T10:00Z")
    add_line = f"reading add {CELL} --capacity 2300mAh --discharge-current 2.5A --cutoff 2.75V --at 2026-02-20T18:00Z"
    for answer in (charged.run(add_line), charged.run(f"cell show {CELL}")):
        assert "DISCARD" in answer.out + answer.err
        assert "charge it full" not in flat(answer.out + answer.err)
    assert "a lower bound" in charged.run(f"cell show {CELL}").out


def test_a_run_under_the_rules_conditions_is_not_talked_about(charged: Bench) -> None:
    """From full, 0.2C to 2.75 V at 22 C: a capacity, no more words."""
    answer = charged.run(
        f"reading add {CELL} --capacity 2300mAh {RUN} --temperature 22C --at 2026-02-20T18:00Z"
    )
    page = charged.run(f"cell show {CELL}")
    for text in (answer.err, page.out, page.err):
        assert "lower bound" not in text and "not comparable" not in text and "that counts:" not in text


def test_a_trace_says_what_its_capacity_is_worth(charged: Bench) -> None:
    """1C is faster than the rule: in `trace add`, in `trace show` and in their documents."""
    file = FURTHER / "okane-cccv-1c-minutes.csv"
    line = f"trace add {CELL} {file} --cutoff 2.5V --temperature 23C --meter fine --at 2026-02-21T18:00Z"
    answer = charged.run(line)
    assert says(answer, "is a lower bound", "at 2C") and "a lower bound: at 2C" in flat(answer.out)
    shown = charged.run("trace show 1")
    assert "a lower bound: at 2C" in flat(shown.out) and says(shown, "is a lower bound", "at 2C")
    assert charged.do("trace show 1")["capacity_is"] == "a lower bound: at 2C"


def test_a_trace_whose_capacity_counts_says_nothing_of_worth(charged: Bench) -> None:
    """0.5C of a 5 Ah cell, from a charge in the same file."""
    code = "A00002M"
    charged.do("cell add --form 21700 --chemistry nmc --rated-capacity 5000mAh --code A00002M")
    file = FURTHER / "chen-pair-inside-machine-names.csv.gz"
    answer = charged.run(f"trace add {code} {file} --cutoff 2.5V --meter fine --at 2026-02-21T18:00Z")
    assert answer.code == 0 and "lower bound" not in answer.err and "not comparable" not in answer.err
    assert charged.do("trace show 1")["capacity_is"] is None
