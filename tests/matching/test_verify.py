"""The independent check: a sound plan passes, and every way of spoiling it is caught."""

from __future__ import annotations

import pytest

from straycell.errors import StraycellError
from straycell.matching.verify import UnsoundPlan, verify_allocation, verify_groups

CAPACITIES = [2.0, 2.1, 2.2, 2.3, 2.4]
OHMS = [0.050, 0.055, 0.060, 0.070, 0.100]


def faults(groups: list[list[int]], target_ah: float | None = None) -> str:
    """What the check says of a 2S2P plan."""
    with pytest.raises(UnsoundPlan) as refusal:
        verify_groups(groups, CAPACITIES, OHMS, 2, 2, 1.5, target_ah)
    return refusal.value.what


def test_a_sound_plan_passes() -> None:
    """Shape, cells, ratio and target all hold."""
    verify_groups([[0, 3], [1, 2]], CAPACITIES, OHMS, 2, 2, 1.5, 4.3)


@pytest.mark.parametrize(
    ("groups", "fault"),
    [
        ([[0, 1]], "not 2 groups"),
        ([[0, 1], [2]], "not 2 groups"),
        ([[0, 1], [1, 2]], "used twice"),
        ([[0, 1], [2, 5]], "does not exist"),
        ([[0, 1], [2, -1]], "does not exist"),
        ([[0, 1], [2, 4]], "resistance ratio"),
    ],
)
def test_each_broken_rule_of_a_grouping_is_caught(groups: list[list[int]], fault: str) -> None:
    """A missing group, a short group, a cell twice, cells that are none, a ratio too wide."""
    assert fault in faults(groups)


def test_a_group_below_its_target_is_caught() -> None:
    """4.1 Ah where 4.2 Ah was asked."""
    assert "holds 4.1 Ah" in faults([[0, 1], [2, 3]], 4.2)


OFFERS = [
    {"kind": "a", "capacity_ah": 2.0, "resistance_ohm": 0.05, "rank": 2},
    {"kind": "a", "capacity_ah": 2.1, "resistance_ohm": 0.06, "rank": 2},
    {"kind": "a", "capacity_ah": 2.2, "resistance_ohm": 0.10, "rank": 2},
    {"kind": "a", "capacity_ah": 1.0, "resistance_ohm": 0.05, "rank": 2},
    {"kind": "a", "capacity_ah": 2.0, "resistance_ohm": 0.05, "rank": 1},
    {"kind": "a", "capacity_ah": 2.0, "resistance_ohm": 0.20, "rank": 2},
    {"kind": "b", "capacity_ah": 2.0, "resistance_ohm": 0.05, "rank": 2},
]
PAIR = {
    "kind": ["a", "b"],
    "series": 1,
    "parallel": 2,
    "packs": 1,
    "min_capacity_ah": 1.5,
    "max_resistance_ohm": 0.15,
    "min_rank": 2,
    "weight": 1,
}


def test_a_sound_allocation_passes() -> None:
    """Served wholly, or not at all."""
    verify_allocation([[0, 1], []], OFFERS, [PAIR, PAIR], 1.5)
    verify_allocation([[0, 2]], OFFERS, [PAIR], None)


@pytest.mark.parametrize(
    ("assignment", "fault"),
    [
        ([[0]], "neither all nor none"),
        ([[0, 1], [1, 2]], "used twice"),
        ([[0, 7]], "does not exist"),
        ([[0, 3]], "too little capacity"),
        ([[0, 4]], "too low a rank"),
        ([[0, 5]], "too much resistance"),
        ([[0, 6]], "more than one kind"),
        ([[0, 2]], "cannot be split"),
        ([], "one list for each demand"),
    ],
)
def test_each_broken_rule_of_an_allocation_is_caught(assignment: list[list[int]], fault: str) -> None:
    """Half-served, used twice, out of limits, mixed kinds, ohms that cannot be split."""
    with pytest.raises(UnsoundPlan, match=fault):
        verify_allocation(assignment, OFFERS, [PAIR] * max(1, len(assignment)), 1.5)


def test_a_kind_that_is_not_accepted_is_caught() -> None:
    """A cell of kind b for a demand that takes a only."""
    with pytest.raises(UnsoundPlan, match="a kind it does not accept"):
        verify_allocation([[6]], OFFERS, [{**PAIR, "kind": "a", "parallel": 1}], None)


def test_an_unsound_plan_is_an_error_for_the_one_handler() -> None:
    """The person gets a message and a way to report it, never a traceback."""
    assert issubclass(UnsoundPlan, StraycellError)


def test_a_cell_that_is_not_on_the_list_of_a_demand_is_caught() -> None:
    """Within all limits, and yet not one that the demand may have."""
    verify_allocation([[0, 1]], OFFERS, [{**PAIR, "cells": [0, 1]}], None)
    with pytest.raises(UnsoundPlan, match="not among those it may have"):
        verify_allocation([[0, 1]], OFFERS, [{**PAIR, "cells": [0, 2]}], None)
