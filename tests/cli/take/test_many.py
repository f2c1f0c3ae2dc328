"""The same of many cells in one line and one write: by code, by box, by tear-down; refusals name each."""

from __future__ import annotations

import pytest
from tests.cli.bench import Bench

ADD = "cell add --form 18650 --chemistry nmc --rated-capacity 2600mAh --marking INR18650 --teardown AT1"
CHARGE = "--current 0.5A --until 4.2V --temperature 21C --peak-temperature 24C"


@pytest.fixture
def four(bench: Bench) -> list[str]:
    """Four cells of one tear-down; two of them lie in a tin."""
    bench.prepare("teardown add 'reed pump' --kind pump")
    codes = [cell["code"] for cell in bench.prepare(f"{ADD} --count 4")]
    bench.prepare("box add tin")
    bench.prepare("box add sand --kind discards")
    bench.prepare(f"cell move {codes[0]} {codes[1]} tin")
    return codes


def of(items: list[dict[str, str]]) -> list[str]:
    """The cells of what was recorded."""
    return [item["cell"] for item in items]


def test_one_charge_of_many_cells(bench: Bench, four: list[str]) -> None:
    """Codes, a box, a tear-down; one cell still gives one document, and a cell named twice is charged once."""
    assert of(bench.do(f"charge add {four[2]} {four[3]} {four[2]} {CHARGE}")) == four[2:]
    assert of(bench.do(f"charge add --box tin {CHARGE}")) == four[:2]
    assert of(bench.do(f"charge add --teardown AT1 {CHARGE}")) == four
    assert of(bench.do(f"charge add --teardown AT1 --box tin {CHARGE}")) == four[:2]
    assert bench.do(f"charge add {four[0]} {CHARGE}")["cell"] == four[0]


def test_a_box_or_tear_down_means_the_cells_that_are_here_for_use(bench: Bench, four: list[str]) -> None:
    """A cell out of use is not charged with the others."""
    bench.do(f"discard {four[1]} --because dented")
    assert of(bench.do(f"charge add --teardown AT1 {CHARGE}")) == [four[0], *four[2:]]


def test_every_refused_cell_is_named_and_nothing_is_written(bench: Bench, four: list[str]) -> None:
    """Two slips in one line are read in one message."""
    refused = bench.refused(f"charge add {four[0]} A00001X A00004Z {CHARGE}", 3)
    assert "A00001X" in refused and "A00004Z" in refused and "2 of 3" in refused
    assert bench.do(f"cell show {four[0]}")["readings"] == []
    assert "slot" in bench.refused(f"charge add {four[0]} {four[1]} {CHARGE} --charger rack --slot 1", 2)


@pytest.mark.parametrize(
    ("line", "code"),
    [
        (f"charge add {CHARGE}", 2),
        (f"charge add A00002M --box tin {CHARGE}", 2),
        (f"charge add --box tun {CHARGE}", 3),
        (f"charge add --box sand {CHARGE}", 3),
        (f"charge add --teardown AT9 {CHARGE}", 3),
        ("reading supersede --mistake mistyped --current 1A --because slip", 2),
        ("reading supersede A-1 --box tin --mistake mistyped --current 1A --because slip", 2),
        ("reading supersede --box tin --last charge --mistake mistyped --current 1A --because slip", 3),
    ],
)
def test_a_choice_of_no_cell_is_refused(line: str, code: int, bench: Bench, four: list[str]) -> None:
    """None named, two ways at once, nothing there: each says what to give."""
    assert len(bench.refused(line, code).splitlines()) <= 3


def test_a_slip_made_for_a_whole_box_is_taken_back_for_all_of_it(bench: Bench, four: list[str]) -> None:
    """By what was recorded last of each cell, or by numbers; the moment of the charge stays."""
    made = bench.do(f"charge add --box tin {CHARGE}")
    bench.now = "2026-03-01T11:00:00+00:00"
    right = "--mistake mistyped --current 0.6A --because 'misread the dial'"
    done = bench.do(f"reading supersede --box tin --last charge {right}")
    assert [(item["cell"], item["current_a"], item["at"]) for item in done] == [
        (item["cell"], 0.6, item["at"]) for item in made
    ]
    numbers = " ".join(item["id"] for item in done)
    again = bench.do(f"reading supersede {numbers} --mistake wrong-cell --because 'never charged'")
    assert again == []
    assert all(r["superseded_by"] or r["retracted"] for r in bench.do(f"cell show {four[0]}")["readings"])


def test_taking_many_back_is_all_or_nothing(bench: Bench, four: list[str]) -> None:
    """One number that is no record, one taken back before: both are named, the rest stays as it was."""
    first, second = (item["id"] for item in bench.do(f"charge add --box tin {CHARGE}"))
    bench.do(f"reading supersede {first} --mistake wrong-cell --because spare")
    refused = bench.refused(f"reading supersede {second} {first} --mistake wrong-cell --because spare", 3)
    assert first in refused
    kept = bench.do(f"cell show {four[1]}")["readings"]
    assert [r["id"] for r in kept if not r["retracted"]] == [second]


def test_the_answer_for_many_cells_is_one_line(bench: Bench, four: list[str]) -> None:
    """Alike cells share the line and the cautions."""
    said = bench.run(f"charge add --teardown AT1 {CHARGE}").err
    assert said.count("now HOLD") == 1 and all(code in said for code in four)


def test_the_log_of_a_large_write_fits_a_line(bench: Bench, four: list[str]) -> None:
    """From the first to the last number of a run; two are both named, for each may be taken back."""
    bench.do(f"charge add --teardown AT1 {CHARGE}")
    bench.do(f"reading add {four[0]} --look clean --as-found-voltage 3.6V")
    shown = bench.run("log").out
    assert "A-5, A-6 " in shown and "A-1 " in shown


def test_a_box_or_a_tear_down_moves_as_a_whole(bench: Bench, four: list[str]) -> None:
    """The box it goes to comes last."""
    assert [cell["box"] for cell in bench.do("cell move --teardown AT1 sand")] == ["sand"] * 4
    assert [cell["code"] for cell in bench.do("cell move --box sand tin")] == four
