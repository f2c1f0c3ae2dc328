"""A charger as an instrument: where it ends, its tail, and how well it counts what it put in."""

from __future__ import annotations

import math
from typing import Any

import pytest
from tests.cli.bench import Bench

ADD = "cell add --form 18650 --chemistry nmc --rated-capacity 2600mAh --marking INR18650"
CHARGE = "--current 0.5A --temperature 21C --peak-temperature 24C"


@pytest.fixture
def cell(bench: Bench) -> str:
    """A cell that may have a test charge."""
    (made,) = bench.prepare(ADD)
    bench.do(f"reading add {made['code']} --look clean --as-found-voltage 3.6V")
    return str(made["code"])


def charge_in(bench: Bench, code: str) -> list[str]:
    """What the two rules about charge put in say; nothing where all is as it should be."""
    found: Any = bench.do(f"verdict show {code}")["reasons"]
    return [r["status"] for r in found if r["rule"].startswith("charge-in")]


def test_a_charge_takes_the_uncertainty_of_what_was_counted(bench: Bench, cell: str) -> None:
    """2 % of 3.2 Ah is 37 mAh (1 u); without a figure of the charger the cautious default of the rules counts."""
    bench.do("charger add bay --measured-float 4.19V --end-current 50mA --capacity-accuracy 2%")
    made = bench.do(f"charge add {cell} {CHARGE} --charger bay --put-in 3.2Ah")
    assert made["put_in_ah"] == 3.2 and made["end_current_a"] == 0.05 and made["until_v"] == 4.19
    assert made["put_in_expanded_uncertainty_ah"] == pytest.approx(2 * 0.02 * 3.2 / math.sqrt(3))
    assert made["expanded_uncertainty"] > 0
    other = bench.do(f"charge add {cell} {CHARGE} --until 4.2V --put-in 3.2Ah --charger other")
    assert other["put_in_expanded_uncertainty_ah"] is None


@pytest.mark.parametrize(
    ("accuracy", "put_in_ah", "held"),
    # 20 % above 2.6 Ah is 3.12 Ah; less U of 2 % (2.31 %) that takes 3.194 Ah, less U of 10 % (11.5 %) 3.527 Ah.
    [
        ("2%", 3.18, False),
        ("2%", 3.21, True),
        ("10%", 3.21, False),
        ("10%", 3.51, False),
        ("10%", 3.55, True),
    ],
)
def test_a_charger_that_counts_well_shows_a_loss_sooner(
    bench: Bench, cell: str, accuracy: str, put_in_ah: float, held: bool
) -> None:
    """The same amount is a loss by one counter and within the error of another."""
    bench.do(f"charger add bay --measured-float 4.19V --capacity-accuracy {accuracy}")
    bench.do(f"charge add {cell} {CHARGE} --charger bay --put-in {put_in_ah}Ah")
    assert bool(charge_in(bench, cell)) == held


def test_a_later_check_of_the_counting_takes_no_float_away(bench: Bench, cell: str) -> None:
    """Each figure counts as it was measured last, and the float's date is what is due."""
    bench.do("charger add bay --measured-float 4.19V --end-current 50mA")
    bench.now = "2026-04-01T09:00:00+00:00"
    bench.do("charger add bay --capacity-accuracy 3%")
    made = bench.do(f"charge add {cell} {CHARGE} --charger bay --put-in 2Ah")
    assert made["until_v"] == 4.19 and made["end_current_a"] == 0.05
    assert made["put_in_expanded_uncertainty_ah"] == pytest.approx(2 * 0.03 * 2 / math.sqrt(3))
    (listed,) = bench.do("charger list")
    assert listed["float_v"] == 4.19 and listed["capacity_accuracy"] == "3%"
    assert listed["measured_at"].startswith("2026-03-01")
    bench.now = "2026-06-01T09:00:00+00:00"
    assert "charger" in {each["kind"] for each in bench.do("due")["due"]}


def test_an_amount_put_right_is_counted_by_the_same_charger(bench: Bench, cell: str) -> None:
    """A voltage that is typed again is a typed one: the float's U belongs to the float."""
    bench.do("charger add bay --measured-float 4.19V --capacity-accuracy 3%")
    made = bench.do(f"charge add {cell} {CHARGE} --charger bay --put-in 2Ah")
    put_right = "--mistake mistyped --because 'a digit was lost'"
    (again,) = bench.do(f"reading supersede {made['id']} {put_right} --put-in 2.4Ah")
    assert again["put_in_expanded_uncertainty_ah"] == pytest.approx(2 * 0.03 * 2.4 / math.sqrt(3))
    assert again["until_v"] == 4.19 and again["expanded_uncertainty"] == made["expanded_uncertainty"]
    (typed,) = bench.do(f"reading supersede {again['id']} {put_right} --until 4.05V")
    assert typed["until_v"] == 4.05 and typed["expanded_uncertainty"] is None


@pytest.mark.parametrize("accuracy", ["0.0001%", "0%", "-5%"])
def test_no_charger_counts_without_error(bench: Bench, accuracy: str) -> None:
    """Below the best there is, or nothing at all: refused with what to write."""
    bench.refused(f"charger add bay --capacity-accuracy={accuracy}", 3)
