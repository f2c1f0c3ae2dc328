"""allocate_cells against exhaustive search, its laws, and the questions nobody wishes for."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import combinations
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from straycell.errors import BadData, StraycellError, UsageFault
from straycell.matching.allocate import allocate_cells

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


@settings(max_examples=200, deadline=None)
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


@settings(max_examples=80, deadline=None)
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
