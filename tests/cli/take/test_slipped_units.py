"""A capacity typed in mAh where Ah was meant is refused with what to type, wherever it is typed or read."""

from __future__ import annotations

from pathlib import Path

import pytest
from tests.cli.bench import Bench

RUN = "--discharge-current 0.3A --cutoff 2.8V --temperature 22C"


@pytest.fixture
def code(bench: Bench) -> str:
    """A cell of 1500 mAh."""
    (cell,) = bench.prepare("cell add --form 18650 --chemistry nmc --marking 'INR18650 1500mAh'")
    return str(cell["code"])


@pytest.mark.parametrize(
    ("typed", "meant"), [("1.45mAh", "1.45Ah"), ("0.0019Ah", "1.9Ah"), ("14.9mAh", "14.9Ah")]
)
def test_a_capacity_under_a_hundredth_of_the_rating_is_a_slip(
    bench: Bench, code: str, typed: str, meant: str
) -> None:
    """It says what would be meant, and what to do with a cell that really gives no more; nothing is recorded."""
    said = bench.refused(f"reading add {code} --capacity {typed} {RUN}", 3)
    assert f"write {meant} if that is meant" in said and "1500 mAh" in said and "discard" in said
    assert bench.do(f"cell show {code}")["readings"] == []


@pytest.mark.parametrize("typed", ["15mAh", "1.45Ah", "1450mAh"])
def test_a_worn_out_cell_and_a_good_one_are_taken(bench: Bench, code: str, typed: str) -> None:
    """From a hundredth on the rules judge it and nobody asks."""
    assert bench.do(f"reading add {code} --capacity {typed} {RUN}")


def test_without_a_rating_the_size_says_it(bench: Bench) -> None:
    """And a rating itself is held against its size; a flat cell of unknown size holds anything."""
    (cell,) = bench.prepare("cell add --form 18650 --chemistry nmc")
    assert "what a 18650 holds" in bench.refused(f"reading add {cell['code']} --capacity 19mAh {RUN}", 3)
    bench.do(f"reading add {cell['code']} --capacity 20mAh {RUN}")
    slip = "cell add --form 18650 --chemistry nmc --rated-capacity 2.6mAh"
    assert "write 2.6Ah if that is meant" in bench.refused(slip, 3)
    bench.do("cell add --form pouch --chemistry lco --rated-capacity 12mAh")


def test_a_correction_may_not_slip_either(bench: Bench, code: str) -> None:
    """The right value takes the wrong one's place; a second slip is refused like the first."""
    (old,) = bench.do(f"reading add {code} --capacity 145mAh {RUN}")
    line = f"reading supersede {old['id']} --mistake mistyped --because slip --capacity"
    assert "1.45Ah" in bench.refused(f"{line} 1.45mAh", 3)
    bench.do(f"{line} 1.45Ah")


def test_a_list_names_the_line(bench: Bench, code: str, tmp_path: Path) -> None:
    """Readings of a list, and ratings of one."""
    file = tmp_path / "e.csv"
    head = "code,at,capacity_mah,discharge_current_a,cutoff_v\n"
    rows = [
        f"{code},2026-02-{day}T10:00:00+00:00,{mah},0.3,3.0\n" for day, mah in (("10", 1450), ("20", 1.4))
    ]
    file.write_text(head + "".join(rows))
    (fault,) = bench.run(f"import readings {file} --json").json["refused"]
    assert fault["line"] == 3 and "1.4Ah" in fault["remedy"]
    file.write_text("form,chemistry,rated_capacity_mah\n18650,nmc,2.6\n")
    (fault,) = bench.run(f"import cells {file} --json").json["refused"]
    assert fault["line"] == 2 and "2.6Ah" in fault["remedy"]


@pytest.mark.parametrize(
    ("what", "header", "hint"),
    [
        ("cells", "mAh", '--columns "rated_capacity_mah=mAh"'),
        ("cells", "Kap. (mAh)", '--columns "rated_capacity_mah=Kap. (mAh)"'),
        ("readings", "mAh", '--columns "capacity_mah=mAh"'),
        ("readings", "wibble", "--template"),
    ],
)
def test_a_column_that_is_only_a_unit_is_told_its_name(
    bench: Bench, code: str, tmp_path: Path, what: str, header: str, hint: str
) -> None:
    """What to type is in the refusal; where no unit is in the header, the template is named."""
    file = tmp_path / "own.csv"
    file.write_text(f"code,form,chemistry,at,{header}\n")
    faults = bench.run(f"import {what} {file} --json").json["refused"]
    assert any(hint in each["remedy"] for each in faults), faults
