"""A list that is imported twice: the stock on record stays what lies on the shelf."""

from __future__ import annotations

from pathlib import Path

import pytest
from tests.cli.bench import Bench

NUMBERED = "own_number,form,marking\n1,18650,INR18650\n2,18650,INR18650\n"
PLAIN = "form,marking\n18650,INR18650\n18650,INR18650\n21700,\n"


def write(bench: Bench, text: str, name: str = "list.csv") -> Path:
    """A list beside the store."""
    path = bench.store.parent / name
    path.write_text(text)
    return path


@pytest.mark.parametrize("text", [NUMBERED, PLAIN], ids=["own numbers", "no own numbers"])
@pytest.mark.parametrize("name", ["list.csv", "copy of list.csv"])
def test_the_same_list_again_is_refused_whatever_its_name(text: str, name: str, bench: Bench) -> None:
    """Nothing is taken; the message says when it was, as which cells, and the three ways on."""
    taken = bench.do(f"import cells {write(bench, text)}")["taken"]
    again = bench.run(["import", "cells", str(write(bench, text, name))])
    assert again.code == 3 and "nothing taken" in again.err
    flat = " ".join(again.out.split())
    for word in ("taken on '2026-03-01' already, as 'A00002M'", "leave the line out", "own_number"):
        assert word in flat
    assert "cell withdraw" in flat and len(bench.do("cell list")) == taken


@pytest.mark.parametrize("text", [NUMBERED, PLAIN], ids=["own numbers", "no own numbers"])
def test_of_a_list_that_has_grown_the_new_lines_are_taken(text: str, bench: Bench) -> None:
    """With --partial; what was there before is named line by line."""
    first = bench.do(f"import cells {write(bench, text)}")["taken"]
    new = "3,26650,\n" if text is NUMBERED else "26650,\n"
    grown = bench.do(f"import cells {write(bench, text + new)} --partial")
    assert (grown["taken"], [f["line"] for f in grown["refused"]]) == (1, list(range(2, first + 2)))
    assert len(bench.do("cell list")) == first + 1


def test_a_list_put_right_after_partial_brings_only_the_rest(bench: Bench) -> None:
    """The lines that were taken the first time are not taken once more."""
    bench.do(f"import cells {write(bench, PLAIN.replace('21700', '2170'))} --partial")
    assert bench.do(f"import cells {write(bench, PLAIN)} --partial")["taken"] == 1
    assert sorted(cell["form"] for cell in bench.do("cell list")) == ["18650", "18650", "21700"]


def test_an_own_number_is_known_again_in_another_list(bench: Bench) -> None:
    """One number, one print, one cell; the same number on another kind of cell is another cell."""
    bench.do(f"import cells {write(bench, NUMBERED)}")
    other = write(bench, "own_number,form,marking\n2,18650,INR18650\n2,21700,\n", "other.csv")
    done = bench.do(f"import cells {other} --partial")
    assert (done["taken"], [f["line"] for f in done["refused"]]) == (1, [2])


def test_cells_alike_in_another_list_are_other_cells(bench: Bench) -> None:
    """Twenty new cells of one print without numbers, in a list of their own."""
    bench.do(f"import cells {write(bench, PLAIN)}")
    other = write(bench, PLAIN + "18650,INR18650\n", "second tin.csv")
    assert bench.do(f"import cells '{other}'")["taken"] == 4


def test_after_a_withdrawal_the_list_may_come_again(bench: Bench) -> None:
    """An import by mistake is taken back, the history keeps it, and the right one follows."""
    bench.do(f"import cells {write(bench, NUMBERED)}")
    codes = [cell["code"] for cell in bench.do("cell list")]
    bench.do(f"cell withdraw {' '.join(codes)} --because 'wrong bench'")
    assert bench.do(f"import cells {write(bench, NUMBERED)}")["taken"] == 2


def test_a_header_with_its_unit_is_named_as_it_stands(bench: Bench) -> None:
    """`Cap in mAh` and `Cap [mAh]` are headers, not only the way to say a unit."""
    for header in ("Cap in mAh", "Cap [mAh]", "Cap (mAh)"):
        path = write(bench, f"Nr;Type;{header}\n{header[4]};18650;2200,5\n", "own.csv")
        columns = "own_number=Nr, form=Type, rated_capacity=Cap in mAh"
        assert bench.run(["import", "cells", str(path), "--columns", columns]).code == 0
    assert {bench.do(f"cell show {c['code']}")["rated_capacity_ah"] for c in bench.do("cell list")} == {
        2.2005
    }
