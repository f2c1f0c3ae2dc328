"""Whole servings at prices: each is the cheapest there is, and what they prove of a plan holds under exhaustive search."""

from __future__ import annotations

import random
import time
from itertools import combinations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from tests.drawing import examples, thinned
from tests.matching.test_allocate import (
    Cell,
    all_shares,
    demand,
    few_demands,
    offer,
    offers_of_two_kinds,
    splits,
)

from straycell.matching.allocate.cells import allocate_cells
from straycell.matching.allocate.column_generation import ColumnGeneration, refined
from straycell.matching.allocate.market import Plan, Tier, market_of, tiers_of
from straycell.matching.allocate.model import choices_of
from straycell.matching.allocate.restricted_master import PricingProblem, RestrictedMaster, pricing_problems
from straycell.matching.verify import verify_allocation

RATIO = 1.5
cells = st.builds(offer, st.integers(1000, 1012), st.sampled_from([0, 40, 50, 60, 70, 90]))


def problems(offers: list[Cell], demands: list[Cell], ratio: float = RATIO) -> list[PricingProblem]:
    market = market_of(offers, demands)
    choices, _, fits = choices_of(market, range(len(demands)))
    return pricing_problems(market, choices, fits, ratio)


def nothing_known(offers: list[Cell], demands: list[Cell], ratio: float) -> tuple[Plan, list[Tier]]:
    """What price asking makes of no plan at all and no bound on the weight."""
    market, everyone = market_of(offers, demands), range(len(demands))
    tiers = tiers_of({index: asked["weight"] for index, asked in enumerate(demands)})
    none = Plan({}, [0] * len(tiers), 0, [sum(tier.worth.values()) for tier in tiers], 0)
    return refined(market, everyone, tiers, ratio, time.monotonic() + 60, 0, none, 0.0), tiers


@examples(150)
@given(
    st.lists(cells, min_size=4, max_size=8),
    st.sampled_from([(1, 2, 1), (2, 2, 1), (1, 3, 1), (3, 1, 1), (1, 2, 2)]),
    st.lists(st.integers(0, 500), min_size=8, max_size=8),
)
def test_a_serving_is_the_cheapest_legal_one_at_any_prices(
    offers: list[Cell], shape: tuple[int, int, int], prices: list[int]
) -> None:
    """Against every set of cells that can be split into legal groups."""
    asked = demand(shape, 1000, 100, 1)
    need = shape[0] * shape[1] * shape[2]
    totals = [
        sum(round(offers[i]["capacity_ah"] * 1000) - 1000 + prices[i] for i in chosen)
        for chosen in combinations(range(len(offers)), need)
        if splits([offers[i] for i in chosen], shape[1], RATIO)
    ]
    found = problems(offers, [asked])
    assert len(found) == (1 if totals else 0)
    if totals:
        (problem,) = found
        cost = problem.capacity - 1000 + np.array(prices)[problem.cells]
        least, held = problem.cheapest(cost)
        assert least == min(totals)
        assert splits([offers[i] for i in held], shape[1], RATIO)


@examples(150)
@given(offers_of_two_kinds, few_demands, st.sampled_from([1.0, 1.25, 1.5]))
def test_bounds_from_prices_hold_and_plans_are_sound_even_when_nothing_is_known_before(
    offers: list[Cell], demands: list[Cell], ratio: float
) -> None:
    """Weight and surplus of exhaustive search lie between the plan and its bounds."""
    plan, tiers = nothing_known(offers, demands, ratio)
    most, least = max((weight, -surplus) for weight, surplus in all_shares(offers, demands, ratio))
    assignment = [plan.assignment.get(index, []) for index in range(len(demands))]
    verify_allocation(assignment, offers, demands, ratio)
    weight = sum(asked["weight"] for asked, held in zip(demands, assignment, strict=True) if held)
    bound = sum(one * tier.unit for one, tier in zip(plan.weight_bounds, tiers, strict=True))
    assert weight <= most
    if plan.weights == plan.weight_bounds:
        assert weight == pytest.approx(most)
    else:
        assert bound >= most - 1e-9
    if weight == pytest.approx(most):
        assert plan.surplus_bound <= -least <= plan.surplus


@examples(60)
@given(offers_of_two_kinds, few_demands)
def test_whatever_prices_are_named_their_proof_holds(offers: list[Cell], demands: list[Cell]) -> None:
    """Every plan that serves certain choices costs at least what the price list says."""
    some = problems(offers, demands)
    master = RestrictedMaster(some, len(offers), True, [], time.monotonic() + 60, 0, 10**9)
    chance = random.Random(len(offers))
    prices = np.array([chance.randint(0, 9) for _ in offers], dtype=np.int64)
    bound_by_prices, _ = master.price(prices)
    for index, problem in enumerate(some):
        asked = {**demands[problem.choice.demand], "kind": problem.choice.kind, "weight": 1}
        alone = [surplus for weight, surplus in all_shares(offers, [asked], RATIO) if weight]
        assert int(bound_by_prices.least[index]) - bound_by_prices.paid <= min(alone)


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
    assert plan.gap_weight == 0.0
    assert plan.gap_surplus <= 0.001


def test_the_work_is_bounded_by_toil_and_the_bounds_stay_true() -> None:
    """With no work left the plan stays as it was."""
    offers, demands = stock(30, 4, 7)
    market = market_of(offers, demands)
    tiers = tiers_of({index: asked["weight"] for index, asked in enumerate(demands)})
    none = Plan({}, [0] * len(tiers), 0, [sum(tier.worth.values()) for tier in tiers], 0)
    generation = ColumnGeneration(
        market, tiers, problems(offers, demands), RATIO, time.monotonic() + 60, 0, none, 0.0, work_left=0
    )
    generation.raise_weights()
    generation.lower_surplus()
    patient, _ = nothing_known(offers, demands, RATIO)
    assert generation.plan.assignment == {}
    assert generation.plan.weight_bounds >= patient.weights


def test_price_asking_repeats_to_the_cell() -> None:
    """The same question has the same answer."""
    offers, demands = stock(40, 5, 8)
    assert nothing_known(offers, demands, 1.2) == nothing_known(offers, demands, 1.2)


def test_a_choice_that_cannot_be_served_even_alone_does_not_buy() -> None:
    """Two cells a ratio of 2 apart are no pair."""
    offers = [offer(2000, 40), offer(2000, 80)]
    assert problems(offers, [demand((1, 2, 1), 1000, 100, 1)]) == []
