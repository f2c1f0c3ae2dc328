"""Whole groups under a ratio: the exact model of few cells against exhaustive search, and windows, which many cells need."""

from __future__ import annotations

import random
import time

import pytest
from hypothesis import given
from hypothesis import strategies as st
from tests.drawing import examples, thinned
from tests.matching.test_allocate import Cell, all_shares, demand, few_demands, offer, offers_of_two_kinds

from straycell.matching.allocate import partition
from straycell.matching.allocate.cells import allocate_cells
from straycell.matching.allocate.market import Plan, market_of, tiers_of
from straycell.matching.allocate.whole_groups import group_model, refined
from straycell.matching.verify import verify_allocation


def nothing_known(offers: list[Cell], demands: list[Cell], ratio: float, seconds: float = 60) -> Plan:
    """What the exact model makes of no plan at all and no bound on the weight."""
    market = market_of(offers, demands)
    tiers = tiers_of({index: asked["weight"] for index, asked in enumerate(demands)})
    none = Plan({}, [0] * len(tiers), 0, [sum(tier.worth.values()) for tier in tiers], 0)
    model = group_model(market, range(len(demands)), ratio, time.monotonic() + seconds, 0)
    assert model is not None
    return refined(model, tiers, none, 0.0)


def weight_of(plan: Plan, demands: list[Cell]) -> float:
    return sum(demands[index]["weight"] for index, held in plan.assignment.items() if held)


@examples(150)
@given(offers_of_two_kinds, few_demands, st.sampled_from([1.0, 1.25, 1.5]))
def test_the_exact_model_proves_what_exhaustive_search_finds(
    offers: list[Cell], demands: list[Cell], ratio: float
) -> None:
    """Weight and surplus, with nothing known before."""
    plan = nothing_known(offers, demands, ratio)
    verify_allocation(
        [plan.assignment.get(index, []) for index in range(len(demands))], offers, demands, ratio
    )
    most, least = max((weight, -surplus) for weight, surplus in all_shares(offers, demands, ratio))
    assert weight_of(plan, demands) == pytest.approx(most)
    assert plan.weights == plan.weight_bounds
    assert plan.surplus == plan.surplus_bound == -least


@examples(80)
@given(offers_of_two_kinds, few_demands, st.sampled_from([1.0, 1.25, 1.5]))
def test_bounds_from_windows_hold_under_exhaustive_search(
    offers: list[Cell], demands: list[Cell], ratio: float
) -> None:
    """The way of large stocks, taken by small ones: weight and surplus lie between the plan and its bounds."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(partition, "group_model", lambda *_: None)
        plan = allocate_cells(offers, demands, resistance_ratio=ratio, seconds=60)
    most, least = max((weight, -surplus) for weight, surplus in all_shares(offers, demands, ratio))
    assert plan.weight <= most <= plan.bound_weight + 1e-9
    if plan.weight == most:
        assert round(plan.bound_surplus_ah * 1000) <= -least <= round(plan.surplus_ah * 1000)


def stock(count: int, projects: int, seed: int) -> tuple[list[Cell], list[Cell]]:
    """A contested stock of widely spread resistances, of which few can be joined."""
    chance = random.Random(seed)
    offers = [
        offer(round(chance.gauss(2000, 400)), round(55 * chance.lognormvariate(0, 0.4)), chance.randint(0, 2))
        for _ in range(count)
    ]
    demands = []
    for _ in range(projects):
        need = max(1, round(chance.expovariate(projects / count / 1.5)))
        parallel = min(need, chance.choice([1, 2, 3, 4, 5]))
        limits = chance.choice([1000, 1400, 1800, 2200]), chance.choice([50, 60, 80, 150])
        demands.append(demand((need // parallel, parallel, 1), *limits, chance.randint(1, 10)))
    return offers, demands


@pytest.mark.parametrize("seed", thinned([31, 32, 33]))
def test_both_gaps_close_where_groups_are_hard_to_form(seed: int) -> None:
    """70 cells, ratio 1.2: windows alone left 1 to 15 % of the surplus open here."""
    offers, demands = stock(70, 9, seed)
    plan = allocate_cells(offers, demands, resistance_ratio=1.2, seconds=60)
    assert (plan.gap_weight, plan.gap_surplus) == (0.0, 0.0)


def test_what_windows_leave_open_among_more_cells_the_exact_model_closes(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """A model too large to begin with is asked where windows did not settle it."""
    offers, demands = stock(70, 9, 33)
    monkeypatch.setattr(partition, "FEW_COLUMNS", 0)
    plan = allocate_cells(offers, demands, resistance_ratio=1.2, seconds=60)
    assert plan.gap_weight == 0.0
    assert plan.gap_surplus <= 0.001


def test_without_time_the_plan_stays_and_the_bounds_stay_true() -> None:
    """A model that cannot be asked proves nothing and loses nothing."""
    offers, demands = stock(30, 4, 7)
    hasty, patient = nothing_known(offers, demands, 1.5, seconds=0), nothing_known(offers, demands, 1.5)
    assert (hasty.assignment, hasty.surplus_bound) == ({}, 0)
    assert hasty.weight_bounds >= patient.weights


def test_a_bound_proven_beside_a_tier_at_its_best_proves_nothing_where_that_tier_is_not() -> None:
    """One cell that two want: nothing was left for the lesser one while the heavier had it, which it has not."""
    offers, demands = [offer(2000, 50)], [demand((1, 1, 1), 1000, 100, weight) for weight in (100, 1)]
    market, tiers = market_of(offers, demands), tiers_of({0: 100, 1: 1})
    model = group_model(market, [0, 1], 1.5, time.monotonic(), 0)
    assert model is not None
    assert refined(model, tiers, Plan({}, [0, 0], 0, [1, 0], 0), 0.0).weight_bounds == [1, 1]


def test_a_demand_of_two_kinds_is_served_once() -> None:
    """Two pairs on the shelf, one of each kind, of just what is asked for, so that nothing but the rule speaks against both."""
    offers = [offer(2000, 50, kind=kind) for kind in "aabb"]
    plan = nothing_known(offers, [demand((1, 2, 1), 2000, 100, 1, kind=["a", "b"])], 1.5)
    assert (len(plan.assignment[0]), plan.weights) == (2, [1])


def test_the_exact_model_repeats_to_the_cell() -> None:
    """The same question has the same answer."""
    offers, demands = stock(40, 5, 8)
    assert nothing_known(offers, demands, 1.2) == nothing_known(offers, demands, 1.2)


def test_a_stock_of_too_many_pairs_has_no_exact_model() -> None:
    """Pairs grow with the square of the cells; windows are asked instead."""
    offers = [offer(2000, 40 + number % 30) for number in range(300)]
    asked = [demand((1, 2, 1), 1000, 100, 1)]
    assert group_model(market_of(offers, asked), [0], 1.5, time.monotonic() + 60, 0) is None
