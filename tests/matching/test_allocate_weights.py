"""Weights become whole numbers in tiers without changing which set of demands is best."""

from __future__ import annotations

from itertools import combinations

from hypothesis import given
from hypothesis import strategies as st

from straycell.matching.allocate.market import LARGEST_WHOLE, tiers_of


def test_a_weight_above_all_lesser_ones_together_opens_a_tier_of_its_own() -> None:
    """Priorities of 1,000, 10 and 1: three tiers, each in whole units."""
    tiers = tiers_of({0: 1.0, 1: 1000.0, 2: 10.0, 3: 1.0, 4: 1000.0})
    assert [tier.worth for tier in tiers] == [{1: 1, 4: 1}, {2: 1}, {0: 1, 3: 1}]
    assert [tier.unit for tier in tiers] == [1000.0, 10.0, 1.0]


def test_weights_that_can_be_outvoted_stay_in_one_tier() -> None:
    """3 against 2 and 2: they must be weighed together."""
    assert [tier.worth for tier in tiers_of({0: 3.0, 1: 2.0, 2: 2.0})] == [{0: 3, 1: 2, 2: 2}]


def test_decimal_weights_are_exact_and_zero_weights_do_not_count() -> None:
    """0.2 and 0.3 are 2 and 3 tenths, whatever their binary fractions."""
    (tier,) = tiers_of({0: 0.2, 1: 0.3, 2: 0.0, 3: 0.2})
    assert (tier.worth, tier.unit) == ({0: 2, 1: 3, 3: 2}, 0.1)


def test_very_fine_weights_are_rounded_to_what_a_solver_can_add() -> None:
    """Sixteen digits become nine."""
    (tier,) = tiers_of({0: 1.2345678901234567, 1: 1.1, 2: 1.3})
    assert sum(tier.worth.values()) <= LARGEST_WHOLE + 3


@given(st.lists(st.sampled_from([0.5, 1.0, 2.0, 3.0, 7.5, 40.0, 1000.0, 1e9]), min_size=1, max_size=6))
def test_comparing_tier_by_tier_agrees_with_comparing_sums(weights: list[float]) -> None:
    """For every two sets of demands the order by tiers is the order by total weight."""
    tiers = tiers_of(dict(enumerate(weights)))
    sets = [set(some) for size in range(len(weights) + 1) for some in combinations(range(len(weights)), size)]
    by_sum = {frozenset(some): sum(weights[i] for i in some) for some in sets}
    by_tier = {frozenset(some): [sum(t.worth.get(i, 0) for i in some) for t in tiers] for some in sets}
    ordered = sorted(by_sum, key=lambda some: by_tier[some])
    assert [by_sum[some] for some in ordered] == sorted(by_sum.values())
