"""Cautions through the day: in full once, then short; a memory that cannot be kept means in full again."""

from __future__ import annotations

from pathlib import Path

import pytest
from tests.cli.app.test_quiet import CASES, flat, words  # noqa: F401
from tests.cli.bench import Bench

from straycell.safety import Kind, Step, cautions_for

ADD = "cell add --form 18650 --chemistry nmc --rated-capacity 2600mAh --marking INR18650"


@pytest.fixture
def day(bench: Bench, words: dict[str, str]) -> Bench:  # noqa: F811
    """A bench that remembers, on a day on which nothing was read yet."""
    bench.env["STRAYCELL_STATE"] = str(bench.store.parent / "state")
    return bench


@pytest.mark.parametrize(("line", "step"), CASES)
def test_every_danger_is_said_in_full_once_and_then_short(
    line: str,
    step: str,
    day: Bench,
    words: dict[str, str],  # noqa: F811
) -> None:
    """The same command twice on the same store: its dangers come both times, the second time in few words."""
    before = day.store.read_bytes()
    first = day.run(line.format(**words))
    day.store.write_bytes(before)
    second = day.run(line.format(**words))
    day.store.write_bytes(before)
    third = day.run(line.format(**words))
    assert first.out == second.out == third.out and len(third.err) < len(first.err)
    for caution in (c for c in cautions_for(Step(step)) if c.kind is Kind.DANGER):
        some_cells_only = Step(step) in caution.last and caution.short in flat(first.err)
        assert some_cells_only or caution.text in flat(first.err)
        assert caution.short in flat(second.err) and caution.short in flat(third.err)
    # Beside many dangers in full the deferral waits for a screen with room; it is said once a day at most.
    assert [("Local rules" in answer.err) for answer in (first, second, third)].count(True) <= 1
    assert "Local rules" not in third.err


def test_the_next_day_says_it_in_full_again(day: Bench, words: dict[str, str]) -> None:  # noqa: F811
    """A new evening begins with the whole words."""
    day.run(f"reading add {words['good']} --look clean")
    day.now = "2031-01-01T09:00:00+00:00"
    assert "in the ampere socket they short-circuit" in flat(
        day.run(f"reading add {words['good']} --look clean").err
    )


@pytest.mark.parametrize("kept", ["", "{", "[]", '{"day": 3}', '{"day": "x", "told": 1}'])
def test_a_broken_memory_means_in_full(kept: str, day: Bench, words: dict[str, str]) -> None:  # noqa: F811
    """Whatever lies in the file, nothing is left out and no error reaches the person."""
    folder = Path(day.env["STRAYCELL_STATE"])
    folder.mkdir()
    (folder / "cautions.json").write_text(kept)
    answer = day.run(f"reading add {words['good']} --look clean")
    assert answer.code == 0 and "in the ampere socket they short-circuit" in flat(answer.err)


def test_a_memory_that_cannot_be_written_changes_nothing(day: Bench, words: dict[str, str]) -> None:  # noqa: F811
    """A file in the place of the folder: said in full each time."""
    Path(day.env["STRAYCELL_STATE"]).write_text("a file")
    for _ in range(2):
        answer = day.run(f"reading add {words['good']} --look clean")
        assert answer.code == 0 and "in the ampere socket they short-circuit" in flat(answer.err)
