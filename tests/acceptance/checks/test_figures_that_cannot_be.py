"""Ratings, currents and capacities that no cell of the size has. The largest 18650 on sheets (shared by several
makers) hold 3.5 Ah; 2.2 Ah cells are nominal 2600 / minimum 2550 mAh, so a tenth over is already odd."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest
from tests.acceptance.bench import NMC, good, reason, reasons

from straycell.acceptance import Outcome
from straycell.acceptance.case import Case
from straycell.acceptance.rules import shipped_rules
from straycell.cells import CellFacts, Chemistry, Form
from straycell.errors import BadData
from straycell.markings import beyond_size, fill, read_marking
from straycell.store.schema.validation import require_facts

TOO_MUCH = replace(NMC, rated_capacity_ah=9.9)


@pytest.mark.parametrize(
    ("facts", "fault"),
    [
        (CellFacts(Chemistry.NMC, Form.F18650, rated_capacity_ah=3.6), False),
        (CellFacts(Chemistry.NMC, Form.F18650, rated_capacity_ah=4.1), False),
        (CellFacts(Chemistry.NMC, Form.F18650, rated_capacity_ah=4.11), True),
        (CellFacts(Chemistry.NMC, Form.F18650, rated_capacity_ah=9.9), True),
        (CellFacts(Chemistry.LFP, Form.F26650, rated_capacity_ah=4.2), False),
        (CellFacts(Chemistry.LFP, Form.F26650, rated_capacity_ah=5.0), True),
        (CellFacts(Chemistry.NMC, Form.F14500, rated_capacity_ah=3.0), True),
        (CellFacts(Chemistry.LCO, Form.POUCH, volume_cm3=10.0, rated_capacity_ah=2.5), False),
        (CellFacts(Chemistry.LCO, Form.POUCH, volume_cm3=10.0, rated_capacity_ah=2.7), True),
        (CellFacts(Chemistry.LCO, Form.POUCH, rated_capacity_ah=20.0), False),
        (CellFacts(Chemistry.NMC, Form.F18650, maker_discharge_current_a=35.0), False),
        (CellFacts(Chemistry.NMC, Form.F18650, maker_discharge_current_a=60.0), True),
        (CellFacts(Chemistry.NMC, Form.F18650, maker_charge_current_a=4.0), False),
        (CellFacts(Chemistry.NMC, Form.F18650, maker_charge_current_a=12.0), True),
    ],
)
def test_a_figure_above_what_the_size_bears_is_refused(facts: CellFacts, fault: bool) -> None:
    """At, inside and outside; where the size is not known nothing can be said."""
    assert any(beyond_size(facts)) is fault
    if fault:
        with pytest.raises(BadData, match="more than a cell of this size"):
            require_facts(facts)
    else:
        require_facts(facts)


def test_an_impossible_print_stays_as_marking_and_the_cell_counts_as_unrated() -> None:
    """9900 mAh on an 18650 is a lie: nothing is proposed from it, also where the size was said by hand."""
    print_ = "INR18650 9900mAh"
    assert read_marking(print_).rated_capacity_ah is None
    by_hand = CellFacts(Chemistry.NMC, Form.F18650, "9900mAh 3.7V")
    filled = fill(by_hand, read_marking(by_hand.marking))
    assert filled.rated_capacity_ah is None and filled.marking == "9900mAh 3.7V"


def test_no_current_is_a_share_of_an_impossible_rating() -> None:
    """A rating that came in by another way counts as none: the size's table takes its place, solo at best."""
    bench = good(facts=TOO_MUCH)
    case = Case(bench.evidence(), TOO_MUCH, shipped_rules(), bench.evidence().readings[-1].at)
    assert case.rated_ah is None and case.rate_base_ah == shipped_rules().figure("unrated-capacity", "18650")
    assert bench.outcome() is Outcome.SOLO


U_SHARE = 2 * math.hypot(0.005 * 3.0, 0.001) / math.sqrt(3) / 2.5


@pytest.mark.parametrize(
    ("share", "held"),
    [(1.0, False), (1.19, False), (1.20, False), (1.20 + 0.8 * U_SHARE, False), (1.20 + 1.3 * U_SHARE, True)],
)
def test_surely_more_than_a_fifth_above_the_rating_is_contradictory(share: float, held: bool) -> None:
    """At 120 % and within U of it the figure may be true; beyond it the print or the meter lies: hold."""
    bench = good(capacity=2.5 * share)
    verdict = bench.verdict()
    assert bool(reasons(verdict, "capacity-over-rating")) is held
    if held:
        told = reason(verdict, "capacity-over-rating")
        assert verdict.outcome is Outcome.HOLD and not bench.no_charge() and told.todo


def test_a_later_run_within_the_rating_settles_it() -> None:
    """A slip of the meter does not hold the cell for ever."""
    bench = good(capacity=3.4, first=None, second=None).charge(4.0).capacity(2.4, 4.3).capacity(2.4, 4.9)
    assert not reasons(bench.verdict(), "capacity-over-rating")
