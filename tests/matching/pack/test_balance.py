"""balance_groups against exhaustive search, against proofs kept as a table, and on the shelves nobody wishes for."""

from __future__ import annotations

import csv
import random
from collections.abc import Iterator, Sequence
from itertools import combinations
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from tests.drawing import examples, thinned

from straycell.errors import BadData, NegativeAnswer, StraycellError, UsageFault
from straycell.matching.balance.deal import NoLegalGrouping, balance_groups
from straycell.matching.verify import verify_groups

PROOFS = Path(__file__).parents[2] / "reference" / "matching" / "balance_proofs.csv"
PLENTY = 60.0


def all_plans(
    capacity_mah: Sequence[int], ohms: Sequence[float], series: int, parallel: int, ratio: float
) -> Iterator[list[int]]:
    """The group sums of every legal plan, by trying everything."""
    groups = [
        (set(cells), sum(capacity_mah[cell] for cell in cells))
        for cells in combinations(range(len(ohms)), parallel)
        if max(ohms[cell] for cell in cells) <= ratio * min(ohms[cell] for cell in cells) * (1 + 1e-9)
    ]
    for plan in combinations(groups, series):
        if len(set().union(*(cells for cells, _ in plan))) == series * parallel:
            yield [total for _, total in plan]


def shelf(count: int, seed: int, spread: float = 0.2) -> tuple[list[float], list[float]]:
    """An invented shelf: capacities near 2.2 Ah by the milliampere-hour, resistances near 50 mohm."""
    chance = random.Random(seed)
    capacities = [round(min(3.4, max(0.8, chance.gauss(2.2, 0.25))), 3) for _ in range(count)]
    return capacities, [round(0.05 * chance.lognormvariate(0, spread), 4) for _ in range(count)]


small_shelves = st.lists(
    st.tuples(st.integers(1500, 1530), st.sampled_from([0.0, 0.03, 0.04, 0.045, 0.06, 0.09])),
    min_size=4,
    max_size=7,
)
small_packs = st.sampled_from([(1, 2), (2, 2), (1, 3), (2, 3), (3, 2), (2, 1), (3, 1)])


@examples(120)
@given(small_shelves, small_packs)
def test_the_weakest_group_and_the_spread_equal_those_of_exhaustive_search(
    cells: list[tuple[int, float]], pack: tuple[int, int]
) -> None:
    """Without a target: the largest weakest group, then the smallest spread, and proven."""
    mah, ohms = [cell[0] for cell in cells], [cell[1] for cell in cells]
    plans = list(all_plans(mah, ohms, *pack, 1.5))
    if not plans:
        with pytest.raises(NoLegalGrouping):
            balance_groups([c / 1000 for c in mah], ohms, series=pack[0], parallel=pack[1], seconds=PLENTY)
        return
    best = max((min(sums), min(sums) - max(sums)) for sums in plans)
    plan = balance_groups([c / 1000 for c in mah], ohms, series=pack[0], parallel=pack[1], seconds=PLENTY)
    assert (round(plan.smallest_ah * 1000), -round(plan.spread_ah * 1000)) == best
    assert plan.proven
    assert (plan.bound_smallest_ah, plan.bound_spread_ah) == (plan.smallest_ah, plan.spread_ah)


@examples(120)
@given(small_shelves, small_packs, st.integers(-20, 35))
def test_surplus_and_spread_at_a_target_equal_those_of_exhaustive_search(
    cells: list[tuple[int, float]], pack: tuple[int, int], above: int
) -> None:
    """With a target: the least surplus, then the least spread; no plan where none reaches it."""
    mah, ohms = [cell[0] for cell in cells], [cell[1] for cell in cells]
    target = 1500 * pack[1] + above
    asked: dict[str, Any] = {
        "series": pack[0],
        "parallel": pack[1],
        "target_ah": target / 1000,
        "seconds": PLENTY,
    }
    reaching = [sums for sums in all_plans(mah, ohms, *pack, 1.5) if min(sums) >= target]
    if not reaching:
        with pytest.raises(NoLegalGrouping):
            balance_groups([c / 1000 for c in mah], ohms, **asked)
        return
    best = min((sum(sums), max(sums) - min(sums)) for sums in reaching)
    plan = balance_groups([c / 1000 for c in mah], ohms, **asked)
    assert plan.surplus_ah == pytest.approx((best[0] - pack[0] * target) / 1000, abs=1e-9)
    assert round(plan.spread_ah * 1000) == best[1]
    assert plan.proven


@examples(60)
@given(small_shelves, small_packs, st.tuples(st.integers(1500, 1530), st.sampled_from([0.03, 0.045, 0.09])))
def test_one_more_cell_never_weakens_the_weakest_group(
    cells: list[tuple[int, float]], pack: tuple[int, int], extra: tuple[int, float]
) -> None:
    """More to choose from is never worse."""

    def smallest(some: list[tuple[int, float]]) -> float:
        try:
            return balance_groups(
                [c / 1000 for c, _ in some],
                [r for _, r in some],
                series=pack[0],
                parallel=pack[1],
                seconds=PLENTY,
            ).smallest_ah
        except NoLegalGrouping:
            return -1.0

    assert smallest([*cells, extra]) >= smallest(cells)


def proofs() -> list[dict[str, str]]:
    with PROOFS.open(newline="") as lines:
        return list(csv.DictReader(line for line in lines if not line.startswith("#")))


@pytest.mark.parametrize("row", proofs(), ids=lambda row: row["name"])
def test_proven_optima_are_reached_and_no_bound_contradicts_them(row: dict[str, str]) -> None:
    """Optima proven once by a mixed-integer solver (tests/reference/matching/prove_balance.py)."""
    capacities = [float(figure) for figure in row["capacity_ah"].split()]
    ohms = [float(figure) for figure in row["resistance_ohm"].split()]
    plan = balance_groups(
        capacities, ohms, series=int(row["series"]), parallel=int(row["parallel"]), seconds=PLENTY
    )
    best = float(row["best_smallest_ah"])
    assert plan.bound_smallest_ah >= best - 1e-9
    assert plan.smallest_ah == pytest.approx(best, abs=1e-9)


@pytest.mark.parametrize("seed", thinned([11, 12, 13]))
def test_a_rich_shelf_meets_a_target_without_surplus(seed: int) -> None:
    """13S20P from 1,300 cells: goal met exactly, which no plan can better."""
    capacities, ohms = shelf(1300, seed)
    plan = balance_groups(capacities, ohms, series=13, parallel=20, target_ah=44.0, seconds=PLENTY)
    assert (plan.surplus_ah, plan.spread_ah, plan.smallest_ah) == (0.0, 0.0, 44.0)
    assert plan.proven and not plan.stopped_early


@pytest.mark.parametrize("seed", thinned([11, 12, 13]))
def test_the_strongest_large_pack_is_close_to_its_bound(seed: int) -> None:
    """13S20P from 1,300 cells: at most 0.1 % under the bound, at most 5 mAh uneven."""
    capacities, ohms = shelf(1300, seed)
    plan = balance_groups(capacities, ohms, series=13, parallel=20, seconds=PLENTY)
    assert plan.smallest_ah >= plan.bound_smallest_ah * 0.999
    assert plan.spread_ah <= 0.005


@pytest.mark.parametrize("seed", thinned([11, 12, 13]))
def test_a_pack_of_every_cell_is_even_to_a_milliampere_hour(seed: int) -> None:
    """13S20P from exactly 260 cells."""
    capacities, ohms = shelf(260, seed, 0.12)
    plan = balance_groups(capacities, ohms, series=13, parallel=20, seconds=PLENTY)
    assert sorted(cell for group in plan.groups for cell in group) == list(range(260))
    assert plan.spread_ah == pytest.approx(0.001) or plan.spread_ah == 0.0
    assert plan.proven


def test_the_same_input_gives_the_same_plan() -> None:
    """Work is counted in steps, so a plan repeats to the cell."""
    capacities, ohms = shelf(150, 5, 0.3)
    asked: dict[str, Any] = {"series": 6, "parallel": 5, "seconds": PLENTY, "seed": 3}
    assert balance_groups(capacities, ohms, **asked) == balance_groups(capacities, ohms, **asked)


def test_no_time_still_gives_a_legal_plan_and_says_that_it_stopped() -> None:
    """`seconds` only stops the improving."""
    capacities, ohms = shelf(400, 6)
    plan = balance_groups(capacities, ohms, series=8, parallel=10, seconds=0)
    assert plan.stopped_early
    verify_groups(plan.groups, capacities, ohms, 8, 10, 1.5, None)


def test_figures_finer_than_a_milliampere_hour_keep_their_target() -> None:
    """Capacities with all their decimals: every group truly reaches the target."""
    chance = random.Random(8)
    capacities = [chance.uniform(1.8, 2.6) for _ in range(200)]
    plan = balance_groups(capacities, [0.05] * 200, series=5, parallel=6, target_ah=13.0, seconds=PLENTY)
    assert min(sum(capacities[cell] for cell in group) for group in plan.groups) >= 13.0 - 1e-9
    assert plan.surplus_ah is not None and plan.surplus_ah < 0.001


@pytest.mark.parametrize("seed", thinned([41, 42, 43]))
def test_a_goal_below_what_the_weakest_cells_give_still_deals_them_evenly(seed: int) -> None:
    """60 cells, 4S5P: the least surplus there can be, and groups as even as if no goal had been given."""
    capacities, ohms = shelf(60, seed, 0.05)
    weakest = sorted(capacities)[:20]
    plan = balance_groups(capacities, ohms, series=4, parallel=5, target_ah=5.0, seconds=PLENTY)
    assert plan.surplus_ah == pytest.approx(sum(weakest) - 20.0)
    chosen = [cell for group in plan.groups for cell in group]
    even = balance_groups(
        [capacities[cell] for cell in chosen],
        [ohms[cell] for cell in chosen],
        series=4,
        parallel=5,
        seconds=PLENTY,
    )
    assert plan.spread_ah <= even.spread_ah + 1e-9


def test_cells_that_find_no_partner_are_named() -> None:
    """One outlier of resistance makes a pack of every cell impossible, and it is the one named."""
    with pytest.raises(NoLegalGrouping) as refusal:
        balance_groups([2.0, 2.0, 2.0, 2.0], [0.05, 0.05, 0.2, 0.05], series=2, parallel=2)
    assert 2 in refusal.value.cells
    assert "positions" in refusal.value.what


def test_cells_that_hold_a_group_back_are_named() -> None:
    """The weak group's one high-ohm cell keeps the strong cells out, so it is pointed at."""
    capacities = [3.0] * 6 + [1.0, 1.1]
    ohms = [0.05] * 6 + [0.08, 0.09]
    plan = balance_groups(capacities, ohms, series=4, parallel=2, seconds=PLENTY)
    assert plan.smallest_ah == pytest.approx(2.1)
    assert set(plan.limited_by) <= {6, 7} and plan.limited_by


def test_a_ratio_written_as_round_figures_is_legal_to_the_last_digit() -> None:
    """45 mohm beside 30 mohm is a ratio of 1.5, whatever the binary fractions say."""
    assert balance_groups([2.0, 2.0], [0.045, 0.03], series=1, parallel=2).groups == [[0, 1]]


def test_zero_ohm_cells_join_only_each_other() -> None:
    """A ratio to zero is not bounded."""
    assert balance_groups([2.0, 2.1], [0.0, 0.0], series=1, parallel=2).groups == [[0, 1]]
    with pytest.raises(NoLegalGrouping):
        balance_groups([2.0, 2.0], [0.0, 0.05], series=1, parallel=2)


def test_identical_cells_and_a_single_cell_are_plain_cases() -> None:
    """Nothing to choose, nothing to balance."""
    same = balance_groups([2.0] * 12, [0.05] * 12, series=3, parallel=4)
    assert (same.smallest_ah, same.spread_ah, same.proven) == (8.0, 0.0, True)
    one = balance_groups([2.0], [0.05], series=1, parallel=1, target_ah=1.5)
    assert (one.groups, one.surplus_ah, one.proven) == ([[0]], 0.5, True)


def test_too_few_cells_and_an_unreachable_target_are_negative_answers() -> None:
    """Exit code 1, with the figures that tell what is missing."""
    with pytest.raises(NegativeAnswer, match="need 6 cells, there are 0"):
        balance_groups([], [], series=3, parallel=2)
    with pytest.raises(NegativeAnswer, match="at most 4 Ah"):
        balance_groups([2.0, 2.0], [0.05, 0.05], series=1, parallel=2, target_ah=5.0)


@pytest.mark.parametrize(
    ("capacities", "ohms", "options", "kind"),
    [
        ([2.0, float("nan")], [0.05, 0.05], {}, BadData),
        ([2.0, -0.1], [0.05, 0.05], {}, BadData),
        ([2.0, 2.0], [0.05, float("inf")], {}, BadData),
        ([2.0, 2.0], [0.05, None], {}, BadData),
        ([2.0, "much"], [0.05, 0.05], {}, BadData),
        ([2.0, 2.0], [0.05], {}, BadData),
        ([2.0, 2.0], [0.05, 0.05], {"series": 0}, UsageFault),
        ([2.0, 2.0], [0.05, 0.05], {"parallel": 1.5}, UsageFault),
        ([2.0, 2.0], [0.05, 0.05], {"resistance_ratio": 0.9}, UsageFault),
        ([2.0, 2.0], [0.05, 0.05], {"target_ah": float("nan")}, UsageFault),
        ([2.0, 2.0], [0.05, 0.05], {"seconds": -1}, UsageFault),
        ([2.0, 2.0], [0.05, 0.05], {"seed": -1}, UsageFault),
    ],
)
def test_figures_that_cannot_be_taken_are_refused(
    capacities: list[float], ohms: list[float], options: dict[str, float], kind: type[StraycellError]
) -> None:
    """Each kind of bad figure is named with what to do."""
    asked: dict[str, Any] = {"series": 1, "parallel": 2, **options}
    with pytest.raises(kind) as refusal:
        balance_groups(capacities, ohms, **asked)
    assert refusal.value.remedy
