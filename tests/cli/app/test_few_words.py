"""How many words a command prints on both streams: few enough that the ones that matter are read."""

from __future__ import annotations

import pytest
from tests.cli.app.test_quiet import CASES, flat
from tests.cli.bench import Bench

from straycell.safety import Kind, Step, cautions_for

ADD = "cell add --form 18650 --chemistry nmc --rated-capacity 2600mAh --marking INR18650"
FIRST, AGAIN, DISCARD = 80, 40, 60


@pytest.fixture
def cells(day: Bench) -> list[str]:
    """Cells, on a day on which nothing was read yet."""
    return [cell["code"] for cell in day.do("cell list")]


@pytest.fixture
def day(bench: Bench) -> Bench:
    """A bench that remembers what was read today."""
    bench.prepare(f"{ADD} --count 4")
    bench.env["STRAYCELL_STATE"] = str(bench.store.parent / "state")
    return bench


READINGS = [
    "--look clean",
    "--as-found-voltage 3.71V",
    "--look clean --as-found-voltage 3.71V",
    "--look torn-sleeve --as-found-voltage 3.71V",
    "--resistance 45mohm --resistance-method ac-1khz",
    "--voltage 3.71V --rested 26h --temperature 21C",
]
RUN = "--capacity 2450mAh --discharge-current 0.5A --cutoff 3.0V --temperature 21C"


@pytest.mark.parametrize("reading", READINGS)
def test_a_reading_is_answered_in_few_words(reading: str, day: Bench, cells: list[str]) -> None:
    """The first of the day at most 80, a later one of its kind at most 40."""
    first = day.run(f"reading add {cells[0]} {reading}")
    again = day.run(f"reading add {cells[1]} {reading}")
    assert first.code == again.code == 0
    assert len((first.out + first.err).split()) <= FIRST, first.err
    assert len((again.out + again.err).split()) <= AGAIN, again.out + again.err


def test_a_capacity_that_does_not_count_says_what_one_must_be_once_a_day(
    day: Bench, cells: list[str]
) -> None:
    """No second step beside it; after that why it does not count is enough."""
    day.run(f"reading add {cells[0]} --look clean")
    first, again = (day.run(f"reading add {code} {RUN}") for code in cells[:2])
    assert "charge it full, attended" in first.err and "lower bound" in again.err
    assert len((first.out + first.err).split()) <= FIRST, first.out + first.err
    assert len((again.out + again.err).split()) <= AGAIN, again.out + again.err


def test_a_discard_is_answered_in_few_words(day: Bench, cells: list[str]) -> None:
    """With every danger of it in full the first time, and the deferral left to a screen with room."""
    first, again = (day.run(f"discard {code} --because old") for code in cells[:2])
    assert len((first.out + first.err).split()) <= DISCARD, first.err
    assert len((again.out + again.err).split()) <= DISCARD, again.err


def test_the_answer_comes_first_then_the_next_step_then_the_cautions(day: Bench, cells: list[str]) -> None:
    """Nothing scrolls the answer away."""
    for line in (f"reading add {cells[0]} --look clean", f"discard {cells[1]} --because old"):
        heads = [
            text.partition(":")[0] for text in day.run(line).err.splitlines() if not text.startswith(" ")
        ]
        assert "next" in heads and heads.index("next") < heads.index("caution"), line


@pytest.mark.parametrize("reading", ["--look clean", "--look swollen", "--as-found-voltage 0.9V"])
def test_cautions_read_before_take_two_lines(reading: str, day: Bench, cells: list[str]) -> None:
    """On a screen of 80 columns, for a damaged cell and one that lay low, too."""
    for code in cells[:3]:
        answer = day.run(f"reading add {code} {reading}")
    shown = answer.err[answer.err.index("caution:") :].splitlines()
    assert len(shown) <= 2, shown


@pytest.mark.parametrize(
    ("reading", "most"), [("--look swollen", DISCARD), ("--as-found-voltage 0.9V", FIRST)]
)
def test_a_reading_that_discards_is_answered_in_few_words(
    reading: str, most: int, day: Bench, cells: list[str]
) -> None:
    """Later ones, once the deferral was said: a damaged cell as a discard; why 0.9 V condemns takes more."""
    for code in cells[:3]:
        answer = day.run(f"reading add {code} {reading}")
    assert len((answer.out + answer.err).split()) <= most, answer.err


def test_every_danger_belongs_to_a_step_that_a_command_is_tried_at() -> None:
    """Fresh eyes: the table of commands leaves no danger out that a command can say."""
    tried = {Step(step) for _, step in CASES}
    untried = {Step.CAPACITY, Step.BUILD, Step.DISMANTLE, Step.LOW_VOLTAGE}
    assert tried | untried == set(Step)
    for step in Step:
        assert all(flat(c.short) for c in cautions_for(step) if c.kind is Kind.DANGER), step
