"""allocate_cells against exhaustive search, its laws, and the questions nobody wishes for."""

from __future__ import annotations

import csv
import json
import random
from collections.abc import Iterator, Sequence
from itertools import combinations
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from tests.drawing import examples

from straycell.errors import BadData, StraycellError, UsageFault
from straycell.matching.allocate.cells import allocate_cells

PLENTY = 60.0
Cell = dict[str, Any]


def offer(mah: int, mohm: int, rank: int = 2, kind: object = "a") -> Cell:
    return {"kind": kind, "capacity_ah": mah / 1000, "resistance_ohm": mohm / 1000, "rank": rank}


def demand(
    cells: tuple[int, int, int],
    least_mah: int,
    most_mohm: int,
    weight: float,
    rank: int = 0,
    kind: object = "a",
) -> Cell:
    series, parallel, packs = cells
    return {
        "kind": kind,
        "series": series,
        "parallel": parallel,
        "packs": packs,
        "min_capacity_ah": least_mah / 1000,
        "max_resistance_ohm": most_mohm / 1000,
        "min_rank": rank,
        "weight": weight,
    }


def splits(cells: Sequence[Cell], parallel: int, ratio: float) -> bool:
    """Whether cells can be split into legal groups, by trying every group that holds the first cell."""
    if not cells:
        return True
    first, rest = cells[0], list(cells[1:])
    for others in combinations(range(len(rest)), parallel - 1):
        ohms = [first["resistance_ohm"], *(rest[i]["resistance_ohm"] for i in others)]
        left = [cell for i, cell in enumerate(rest) if i not in others]
        if max(ohms) <= ratio * min(ohms) * (1 + 1e-9) and splits(left, parallel, ratio):
            return True
    return False


def all_shares(offers: list[Cell], demands: list[Cell], ratio: float | None) -> Iterator[tuple[float, int]]:
    """Weight and surplus (mAh) of every way to serve the demands, by trying everything."""
    if not demands:
        yield 0, 0
        return
    asked, rest = demands[0], demands[1:]
    yield from all_shares(offers, rest, ratio)
    kinds = asked["kind"] if isinstance(asked["kind"], list) else [asked["kind"]]
    need = asked["series"] * asked["parallel"] * asked["packs"]
    for kind in kinds:
        able = [
            i
            for i, cell in enumerate(offers)
            if cell["kind"] == kind
            and cell["capacity_ah"] >= asked["min_capacity_ah"]
            and cell["resistance_ohm"] <= asked["max_resistance_ohm"]
            and cell["rank"] >= asked["min_rank"]
        ]
        for chosen in combinations(able, need):
            cells = [offers[i] for i in chosen]
            if ratio is not None and not splits(cells, asked["parallel"], ratio):
                continue
            over = sum(round((cell["capacity_ah"] - asked["min_capacity_ah"]) * 1000) for cell in cells)
            left = [cell for i, cell in enumerate(offers) if i not in chosen]
            for weight, surplus in all_shares(left, rest, ratio):
                yield asked["weight"] + weight, over + surplus


offers_of_two_kinds = st.lists(
    st.builds(
        offer,
        st.integers(1000, 1012),
        st.sampled_from([0, 40, 50, 60, 70, 90]),
        st.integers(0, 2),
        st.sampled_from(["a", "a", "b"]),
    ),
    max_size=7,
)
few_demands = st.lists(
    st.builds(
        demand,
        st.sampled_from([(1, 1, 1), (2, 1, 1), (1, 2, 1), (1, 2, 2), (1, 3, 1), (2, 1, 2)]),
        st.integers(1000, 1008),
        st.sampled_from([50, 60, 100]),
        st.sampled_from([1, 2, 2.5, 100]),
        st.integers(0, 1),
        st.sampled_from(["a", "b", ["a", "b"]]),
    ),
    min_size=1,
    max_size=3,
)
ratios = st.sampled_from([None, 1.0, 1.25, 1.5])


@examples(200)
@given(offers_of_two_kinds, few_demands, ratios)
def test_weight_and_surplus_equal_those_of_exhaustive_search(
    offers: list[Cell], demands: list[Cell], ratio: float | None
) -> None:
    """The most weight, then the least surplus, both proven."""
    best = max((weight, -surplus) for weight, surplus in all_shares(offers, demands, ratio))
    plan = allocate_cells(offers, demands, resistance_ratio=ratio, seconds=PLENTY)
    assert (plan.weight, -round(plan.surplus_ah * 1000)) == best
    assert (plan.gap_weight, plan.gap_surplus) == (0.0, 0.0)
    assert (plan.bound_weight, plan.bound_surplus_ah) == (plan.weight, plan.surplus_ah)


@examples(80)
@given(
    offers_of_two_kinds,
    few_demands,
    ratios,
    st.builds(
        offer, st.integers(1000, 1012), st.sampled_from([0, 40, 90]), st.just(2), st.sampled_from(["a", "b"])
    ),
)
def test_one_more_cell_never_lowers_the_weight(
    offers: list[Cell], demands: list[Cell], ratio: float | None, extra: Cell
) -> None:
    """More stock serves at least as much."""
    with_it = allocate_cells([*offers, extra], demands, resistance_ratio=ratio, seconds=PLENTY)
    assert with_it.weight >= allocate_cells(offers, demands, resistance_ratio=ratio, seconds=PLENTY).weight


PROOFS = Path(__file__).parent.parent / "reference" / "matching" / "allocate_proofs.csv"


def proofs() -> list[dict[str, str]]:
    with PROOFS.open(newline="") as lines:
        return list(csv.DictReader(line for line in lines if not line.startswith("#")))


@pytest.mark.parametrize("row", proofs(), ids=lambda row: row["name"])
def test_proven_optima_are_reached_and_proven_again(row: dict[str, str]) -> None:
    """Optima of a plain cell-by-project model, proven once (tests/reference/matching/prove_allocate.py)."""
    offers = [offer(*figures) for figures in json.loads(row["offers"])]
    demands = [demand((s, p, n), *limits) for s, p, n, *limits in json.loads(row["demands"])]
    ratio = float(row["ratio"]) if row["ratio"] else None
    plan = allocate_cells(offers, demands, resistance_ratio=ratio, seconds=PLENTY)
    assert (plan.weight, round(plan.surplus_ah * 1000)) == (float(row["weight"]), int(row["surplus_mah"]))
    assert plan.bound_weight >= float(row["weight"])
    assert round(plan.bound_surplus_ah * 1000) <= int(row["surplus_mah"])


def stock(cells: int, projects: int, seed: int, distinct: bool) -> tuple[list[Cell], list[Cell]]:
    """An invented contested stock: about half as much again is wanted as there is."""
    chance = random.Random(seed)
    offers = [
        offer(
            round(min(3400, max(600, chance.gauss(2000, 450)))),
            round(55 * chance.lognormvariate(0, 0.3)),
            chance.choice([0, 1, 2]),
        )
        for _ in range(cells)
    ]
    demands = []
    for _ in range(projects):
        need = max(1, round(chance.expovariate(projects / cells / 1.5)))
        parallel = min(need, chance.choice([1, 2, 4]))
        least = chance.uniform(1000, 2500) if distinct else chance.choice([1000, 1400, 1800, 2200])
        most = chance.uniform(45, 120) if distinct else chance.choice([50, 70, 100])
        weight = chance.randint(1, 10)
        demands.append(
            demand((need // parallel, parallel, 1), round(least), round(most), weight, chance.choice([0, 2]))
        )
    return offers, demands


@pytest.mark.parametrize(("cells", "distinct"), [(200, False), (200, True), (2000, False), (2000, True)])
def test_a_contested_stock_is_shared_with_both_gaps_closed(cells: int, distinct: bool) -> None:
    """Weight and surplus proven, also where all limits differ."""
    offers, demands = stock(cells, cells // 10, 21, distinct)
    plan = allocate_cells(offers, demands, seconds=PLENTY)
    assert (plan.gap_weight, plan.gap_surplus, plan.stopped_early) == (0.0, 0.0, False)
    assert 0 < sum(plan.served) < len(demands)


def test_a_contested_stock_under_a_ratio_keeps_its_weight() -> None:
    """With the ratio rule: weight gap 0, surplus gap at most 0.1 %."""
    offers, demands = stock(2000, 100, 22, False)
    plan = allocate_cells(offers, demands, resistance_ratio=1.5, seconds=PLENTY)
    assert plan.gap_weight == 0.0
    assert plan.gap_surplus <= 0.001


def test_each_run_of_parallel_cells_in_the_answer_is_a_legal_group() -> None:
    """So that a caller need not search for the groups again."""
    offers, demands = stock(120, 10, 23, False)
    plan = allocate_cells(offers, demands, resistance_ratio=1.25, seconds=PLENTY)
    for cells, asked in zip(plan.assignment, demands, strict=True):
        for start in range(0, len(cells), asked["parallel"]):
            ohms = [offers[cell]["resistance_ohm"] for cell in cells[start : start + asked["parallel"]]]
            assert max(ohms) <= 1.25 * min(ohms) * (1 + 1e-9)


@pytest.mark.parametrize("ratio", [None, 1.3])
def test_the_same_input_gives_the_same_plan(ratio: float | None) -> None:
    """Work is counted in turns and nodes, so a plan repeats to the cell."""
    offers, demands = stock(120, 10, 24, True)
    first = allocate_cells(offers, demands, resistance_ratio=ratio, seconds=PLENTY, seed=5)
    assert not first.stopped_early
    assert first == allocate_cells(offers, demands, resistance_ratio=ratio, seconds=PLENTY, seed=5)


@pytest.mark.parametrize("ratio", [None, 1.5])
def test_no_time_still_serves_demands_soundly_and_says_that_it_stopped(ratio: float | None) -> None:
    """`seconds` only stops the search; the bounds stay true."""
    offers, demands = stock(300, 30, 25, False)
    hasty = allocate_cells(offers, demands, resistance_ratio=ratio, seconds=0)
    patient = allocate_cells(offers, demands, resistance_ratio=ratio, seconds=PLENTY)
    assert hasty.stopped_early and hasty.weight > 0
    assert hasty.weight <= patient.weight <= hasty.bound_weight


def test_nothing_is_written_to_stdout(capfd: pytest.CaptureFixture[str]) -> None:
    """stdout carries data: the solver's banner must not appear there."""
    allocate_cells([offer(2000, 50)], [demand((1, 1, 1), 1000, 100, 1)])
    assert capfd.readouterr().out == ""


def test_a_priority_is_never_given_up_for_any_number_of_lesser_ones() -> None:
    """One demand of weight 10^12 against ten of weight 1 and one of weight 3 that want the same cells."""
    offers = [offer(2000 + i, 50) for i in range(10)]
    heavy = demand((1, 10, 1), 1000, 100, 1e12)
    light = [demand((1, 1, 1), 1000, 100, 1) for _ in range(10)]
    assert allocate_cells(offers, [*light, heavy]).served == [False] * 10 + [True]
    plan = allocate_cells([*offers, offer(2100, 50)], [*light, demand((1, 1, 1), 1000, 100, 3), heavy])
    assert plan.served == [False] * 10 + [True, True]
    assert plan.gap_weight == 0.0


def test_a_shared_stock_beats_serving_by_weight_in_turn() -> None:
    """The heaviest demand would take what two others need; together those weigh more."""
    offers = [offer(2000, 50) for _ in range(4)]
    demands = [
        demand((1, 4, 1), 1000, 100, 3),
        demand((1, 2, 1), 1000, 100, 2),
        demand((2, 1, 1), 1000, 100, 2),
    ]
    assert allocate_cells(offers, demands).served == [False, True, True]


def test_no_better_cells_than_needed_are_spent() -> None:
    """The small cell goes to the modest demand although the large one would do as well."""
    offers = [offer(3000, 50), offer(1100, 50), offer(2100, 50)]
    plan = allocate_cells(offers, [demand((1, 1, 1), 2000, 100, 1), demand((1, 1, 1), 1000, 100, 1)])
    assert plan.assignment == [[2], [1]]
    assert plan.surplus_ah == pytest.approx(0.2)


@pytest.mark.parametrize("ratio", [None, 1.5])
def test_a_demand_takes_only_cells_of_its_list(ratio: float | None) -> None:
    """The cheapest cell within all limits is not on the list; without enough listed cells nothing is served."""
    offers = [offer(2000 + 100 * i, 50) for i in range(4)]
    pair = demand((1, 2, 1), 1000, 100, 1)
    plan = allocate_cells(offers, [{**pair, "cells": [1, 3]}], resistance_ratio=ratio)
    assert sorted(plan.assignment[0]) == [1, 3]
    assert allocate_cells(offers, [{**pair, "cells": [2]}], resistance_ratio=ratio).served == [False]
    # Another demand may still have what the first cannot.
    both = allocate_cells(offers, [{**pair, "cells": {1, 3}}, pair], resistance_ratio=ratio)
    assert (both.served, sorted(both.assignment[1])) == ([True, True], [0, 2])


def test_a_served_demand_uses_exactly_one_of_its_kinds() -> None:
    """One cell of each kind is not a pair; two of one kind are."""
    either = demand((1, 2, 1), 1000, 100, 1, kind=["a", "b"])
    assert allocate_cells([offer(2000, 50, kind="a"), offer(2000, 50, kind="b")], [either]).served == [False]
    plan = allocate_cells([offer(2000, 50, kind=k) for k in "abb"], [either])
    assert sorted(plan.assignment[0]) == [1, 2]


def test_a_pair_of_chemistry_and_form_is_one_kind_and_a_set_of_pairs_is_several() -> None:
    """The kind of an offer is often a tuple; in a demand it must not be taken for a list of two kinds."""
    offers = [offer(2000, 50, kind=("nmc", "18650"))]
    for kind in [("nmc", "18650"), {("nmc", "18650"), ("lco", "pouch")}, [("nmc", "18650")]]:
        assert allocate_cells(offers, [demand((1, 1, 1), 1000, 100, 1, kind=kind)]).served == [True]
    assert allocate_cells(offers, [demand((1, 1, 1), 1000, 100, 1, kind=("lco", "pouch"))]).served == [False]


def test_objects_do_as_well_as_mappings() -> None:
    """Offers and demands may be plain objects with the same names."""
    cells = [SimpleNamespace(**offer(2000, 50))]
    asked = [SimpleNamespace(**demand((1, 1, 1), 1000, 100, 2))]
    assert allocate_cells(cells, asked).weight == 2


def test_an_empty_shelf_and_an_empty_list_of_projects_are_plain_answers() -> None:
    """Nothing served, nothing spent, both proven."""
    for offers, demands in (([], []), ([], [demand((1, 1, 1), 1000, 100, 1)]), ([offer(2000, 50)], [])):
        plan = allocate_cells(offers, demands)
        assert (sum(plan.served), plan.weight, plan.surplus_ah, plan.gap_weight) == (0, 0.0, 0.0, 0.0)
        assert len(plan.assignment) == len(demands)


def test_a_demand_larger_than_the_stock_is_left_out_wholly() -> None:
    """No demand is served in part."""
    plan = allocate_cells(
        [offer(2000, 50)] * 3, [demand((2, 2, 1), 1000, 100, 9), demand((1, 1, 1), 1000, 100, 1)]
    )
    assert plan.served == [False, True]


def test_identical_cells_and_zero_resistance_are_plain_cases() -> None:
    """Zero ohm joins only zero ohm under a ratio; without one it is a cell like any other."""
    same = allocate_cells([offer(2000, 50)] * 6, [demand((1, 3, 2), 2000, 50, 1)], resistance_ratio=1.0)
    assert (same.served, same.surplus_ah) == ([True], 0.0)
    mixed = [offer(2000, 0), offer(2000, 50)]
    pair = [demand((1, 2, 1), 1000, 100, 1)]
    assert allocate_cells(mixed, pair, resistance_ratio=1.5).served == [False]
    assert allocate_cells(mixed, pair).served == [True]
    assert allocate_cells([offer(2000, 0)] * 2, pair, resistance_ratio=1.5).served == [True]


@pytest.mark.parametrize(
    ("cell", "asked", "options", "kind"),
    [
        ({"capacity_ah": float("nan")}, {}, {}, BadData),
        ({"capacity_ah": -1.0}, {}, {}, BadData),
        ({"resistance_ohm": float("nan")}, {}, {}, BadData),
        ({"resistance_ohm": None}, {}, {}, BadData),
        ({"rank": "best"}, {}, {}, BadData),
        ({"kind": {"a": 1}}, {}, {}, BadData),
        ({}, {"weight": -1}, {}, BadData),
        ({}, {"weight": float("inf")}, {}, BadData),
        ({}, {"min_capacity_ah": float("nan")}, {}, BadData),
        ({}, {"kind": []}, {}, BadData),
        ({}, {"series": 0}, {}, UsageFault),
        ({}, {"packs": 1.5}, {}, UsageFault),
        ({}, {}, {"resistance_ratio": 0.5}, UsageFault),
        ({}, {}, {"seconds": float("nan")}, UsageFault),
    ],
)
def test_figures_that_cannot_be_taken_are_refused(
    cell: Cell, asked: Cell, options: dict[str, Any], kind: type[StraycellError]
) -> None:
    """Each kind of bad figure is named with what to do."""
    with pytest.raises(kind) as refusal:
        allocate_cells(
            [{**offer(2000, 50), **cell}], [{**demand((1, 1, 1), 1000, 100, 1), **asked}], **options
        )
    assert refusal.value.remedy


def test_a_missing_field_is_named() -> None:
    """Which offer, and which field."""
    with pytest.raises(BadData, match=r"offers\[0\] has no rank"):
        allocate_cells([{"kind": "a", "capacity_ah": 2.0, "resistance_ohm": 0.05}], [])
