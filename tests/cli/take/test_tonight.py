"""What this bench wrote, slips taken back, mixed-up cells put right, several cells at once."""

from __future__ import annotations

from pathlib import Path

import pytest
from tests.cli.bench import Bench

ADD = "cell add --form 18650 --chemistry nmc --rated-capacity 2600mAh --marking INR18650"


@pytest.fixture
def pair(bench: Bench) -> tuple[str, str]:
    """Two cells, just recorded."""
    first, second = (cell["code"] for cell in bench.do(f"{ADD} --count 2"))
    return first, second


def numbers(bench: Bench, code: str) -> list[str]:
    """What counts of a cell's readings, by number."""
    shown = bench.do(f"cell show {code}")
    return [r["id"] for r in shown["readings"] if not r["superseded_by"] and not r["retracted"]]


def test_the_log_lists_today_with_numbers_to_take_back(bench: Bench, pair: tuple[str, str]) -> None:
    """Newest last, nothing of yesterday; --json has the same numbers."""
    bench.do(f"reading add {pair[0]} --look clean")
    bench.now = "2026-03-02T09:00:00+00:00"
    (made,) = bench.do(f"reading add {pair[1]} --as-found-voltage 3.6V")
    logged = bench.do("log --today")
    assert [each["numbers"] for each in logged] == [[made["id"]]]
    assert made["id"] in bench.run("log").out and "reading undo" in bench.run("log").err
    assert len(bench.do("log --since 2026-03-01")) == 4


def test_undo_takes_the_last_write_back(bench: Bench, pair: tuple[str, str]) -> None:
    """All of it, as mistyped, with the reason in the history; a second undo finds nothing to take back."""
    kept = bench.do(f"reading add {pair[0]} --look clean")[0]["id"]
    made = bench.do(f"reading add {pair[0]} --as-found-voltage 3.6V")
    done = bench.do("reading undo --because 'wrong cell in hand'")
    assert done["superseded"] == [r["id"] for r in made]
    assert numbers(bench, pair[0]) == [kept]
    assert "wrong cell in hand" in " ".join(bench.run(f"cell history {pair[0]}").out.split())
    assert "log --today" in bench.refused("reading undo --because again", 3)


def test_undo_is_for_the_last_hour(bench: Bench, pair: tuple[str, str]) -> None:
    """After that a person names the number."""
    bench.do(f"reading add {pair[0]} --look clean")
    bench.now = "2026-03-01T10:00:01+00:00"
    assert "reading supersede" in bench.refused("reading undo --because late", 3)


def test_undo_needs_a_reading(bench: Bench, pair: tuple[str, str]) -> None:
    """A cell just added is no reading."""
    assert "log --today" in bench.refused("reading undo --because slip", 3)


def test_undo_reaches_past_printed_labels(bench: Bench, pair: tuple[str, str], tmp_path: Path) -> None:
    """They are printed at the end of an evening, and the slip is seen on them; here it has condemned the cell."""
    (made,) = bench.do(f"reading add {pair[0]} --look dented")
    bench.do(f"label sheet {pair[0]} --out {tmp_path / 'labels.pdf'}")
    assert "reading undo" in bench.run("log").err
    assert bench.do("reading undo --because slip")["superseded"] == [made["id"]]
    assert bench.do(f"verdict show {pair[0]}")["outcome"] == "hold"


def test_swap_moves_what_was_measured(bench: Bench, pair: tuple[str, str]) -> None:
    """Both ways, as taken on the wrong cell; the history keeps it."""
    first, second = pair
    bench.do(f"reading add {first} --look clean --as-found-voltage 3.6V")
    bench.do(f"reading add {second} --look swollen")
    assert bench.do(f"verdict show {second}")["outcome"] == "discard"
    moved = bench.do(f"cell swap {first} {second} --because 'labels mixed up'")
    assert {(item["cell"], item["quantity"]) for item in moved} == {
        (second, "look"),
        (second, "as-found-voltage"),
        (first, "look"),
    }
    assert bench.do(f"verdict show {first}")["outcome"] == "discard"
    assert bench.do(f"verdict show {second}")["outcome"] == "hold"


def test_swap_since_leaves_older_readings(bench: Bench, pair: tuple[str, str]) -> None:
    """Labels that were mixed up last week say nothing of the day before."""
    first, second = pair
    kept = bench.do(f"reading add {first} --look clean")[0]["id"]
    bench.now = "2026-03-05T09:00:00+00:00"
    bench.do(f"reading add {first} --as-found-voltage 3.6V")
    bench.do(f"cell swap {first} {second} --since 2026-03-04 --because mixed")
    assert numbers(bench, first) == [kept]


@pytest.mark.parametrize(("line", "code"), [("{a} {a}", 2), ("{a} {b}", 3), ("{a} H99999X", 3)])
def test_a_swap_of_nothing_is_refused(line: str, code: int, bench: Bench, pair: tuple[str, str]) -> None:
    """One cell, cells without readings, an unknown code: nothing is written."""
    before = bench.store.read_bytes()
    bench.refused(f"cell swap {line.format(a=pair[0], b=pair[1])} --because mixed", code)
    assert bench.store.read_bytes() == before


def test_several_cells_move_at_once(bench: Bench, pair: tuple[str, str]) -> None:
    """In one write: a full or unknown box moves none of them."""
    bench.do("box add tin --kind 'metal box'")
    moved = bench.do(f"cell move {pair[0]} {pair[1]} tin")
    assert [cell["box"] for cell in moved] == ["tin", "tin"]
    bench.refused(f"cell move {pair[0]} {pair[1]} nowhere", 3)
