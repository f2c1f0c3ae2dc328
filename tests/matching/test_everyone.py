"""All projects at once: whole or not at all, no cell twice, priorities first, and the plan held against every other."""

from __future__ import annotations

import json
import random
from dataclasses import replace
from datetime import date
from itertools import product

import pytest
from hypothesis import given
from hypothesis import strategies as st
from tests.drawing import examples
from tests.matching.pack_bench import marked, shelf, wanted
from tests.matching.single_bench import LIMITS, NOW, cell, match, project

from straycell.acceptance.reasons import Outcome
from straycell.matching import Candidate, StockPlan, match_all
from straycell.matching.all_projects import verify_all
from straycell.matching.all_projects_model import worths
from straycell.matching.one_project import Match
from straycell.matching.verify import UnsoundPlan
from straycell.projects import Project


def named(asked: Project, name: str, priority: int = 1, due: date | None = None) -> Project:
    """The project under another name."""
    return replace(asked, name=name, priority=priority, due=due)


def lamp(name: str, hours: float, priority: int = 1, due: date | None = None) -> Project:
    """100 mA for so many hours from one cell."""
    return named(project(runtime=f"{hours}h"), name, priority, due)


def planned(projects: list[Project], *cells: Candidate) -> StockPlan:
    return match_all(projects, cells, LIMITS, now=NOW)


def served(plan: StockPlan) -> list[str]:
    return [m.project for m in plan.plans]


def cells_of(plan: StockPlan) -> dict[str, set[str]]:
    return {m.project: {code for group in m.groups for code in group} for m in plan.plans}


def test_each_project_gets_its_own_cell_and_none_is_given_twice() -> None:
    """Two lamps, two cells: one each, though both would take the same one alone."""
    plan = planned([lamp("a", 10), lamp("b", 10)], cell(0, 1.5), cell(1, 2.5))
    assert served(plan) == ["a", "b"]
    assert sorted(code for codes in cells_of(plan).values() for code in codes) == [cell(0).code, cell(1).code]
    assert plan.gap == 0.0 and plan.unserved == ()


def test_the_strong_cell_is_kept_for_the_project_that_needs_it() -> None:
    """Served one after the other by name, the modest one would still not take the strong cell."""
    plan = planned([lamp("a modest one", 5), lamp("long one", 22)], cell(0, 2.6), cell(1, 1.2))
    assert cells_of(plan) == {"a modest one": {cell(1).code}, "long one": {cell(0).code}}


def test_a_better_priority_is_never_given_up_for_any_number_of_lesser_ones() -> None:
    """Two cells in a pack for one project of priority 1, or one each for two of priority 2."""
    pack = named(wanted(1, 2, load='current = "100mA"', runtime="30h", cutoff="3.0V"), "pack", 1)
    lesser = [lamp(f"lamp {n}", 5, 2) for n in range(2)]
    plan = planned([pack, *lesser], *shelf(2))
    assert served(plan) == ["pack"]
    assert {m.project for m in plan.unserved} == {"lamp 0", "lamp 1"}


def test_within_a_priority_the_most_projects_are_served_then_the_earliest_due() -> None:
    """One cell for two lamps of one priority: the one due first gets it; without a date comes last."""
    lamps = [
        lamp("late", 5, due=date(2027, 5, 1)),
        lamp("soon", 5, due=date(2027, 1, 1)),
        lamp("whenever", 5),
    ]
    assert served(planned(lamps, cell(0))) == ["soon"]
    assert served(planned(lamps, cell(0), cell(1))) == ["soon", "late"]
    pack = named(
        wanted(1, 2, load='current = "100mA"', runtime="30h", cutoff="3.0V"), "pack", 1, date(2026, 6, 1)
    )
    assert served(planned([pack, *lamps[:2]], *shelf(2))) == ["soon", "late"]


def test_the_least_surplus_is_spent() -> None:
    """Of three that do it the two least are taken."""
    plan = planned([lamp("a", 10), lamp("b", 10)], cell(0, 3.0), cell(1, 1.4), cell(2, 1.5))
    assert {code for codes in cells_of(plan).values() for code in codes} == {cell(1).code, cell(2).code}


def test_what_no_cell_can_serve_is_explained_as_alone() -> None:
    """The same words as `match` of that project."""
    plan = planned([lamp("a", 10), lamp("month", 700)], cell(0))
    assert plan.unserved[0].missing == match(lamp("month", 700), cell(0)).missing


def test_who_went_without_is_told_what_is_missing_and_who_went_before() -> None:
    """In numbers, and by name."""
    plan = planned([lamp("first", 10, 1), lamp("second", 10, 2)], cell(0))
    words = " ".join(plan.unserved[0].missing)
    assert plan.unserved[0].missing[0].startswith("missing: 1 free cell") and "'first'" in words


def test_every_cell_tells_what_became_of_it() -> None:
    """Given, kept, or the first test it failed for the project it came nearest to."""
    shelf_ = [cell(0, 1.5), cell(1, 2.5), cell(2, 0.3), cell(3, outcome=Outcome.HOLD)]
    plan = planned([lamp("a", 10)], *shelf_)
    told = {why.code: why.test for why in plan.cells}
    assert told == {
        shelf_[0].code: "given",
        shelf_[1].code: "kept",
        shelf_[2].code: "runtime",
        shelf_[3].code: "outcome",
    }


def test_a_pack_and_single_cells_share_one_stock() -> None:
    """Solo cells go to lamps, pack cells that are needed to the pack."""
    camera = named(wanted(), "camera", 1)
    cells = [*shelf(5), *(replace(c, outcome=Outcome.SOLO) for c in shelf(2, first=20))]
    plan = planned([camera, *(lamp(f"lamp {n}", 5, 2) for n in range(3))], *cells)
    assert len(plan.plans) == 4 and plan.gap == 0.0
    pack = {c.code for c in cells if c.outcome is Outcome.PACK}
    assert cells_of(plan)["camera"] <= pack


def test_two_packs_of_one_kind_divide_the_stock() -> None:
    """Eight alike cells, two packs of four."""
    plan = planned([named(wanted(), "camera"), named(wanted(), "gate")], *shelf(8))
    assert served(plan) == ["camera", "gate"]


def test_a_pack_that_needs_its_cells_mixed_is_served_from_what_is_left() -> None:
    """Strong and weak in one group last together, though the weak alone would not."""
    asked = wanted(1, 2, load='current = "100mA"', runtime="35h", cutoff="3.0V")
    cells = [marked(0, 2.6), marked(1, 1.9)]
    plan = planned([named(asked, "mixed")], *cells)
    assert served(plan) == ["mixed"]


def test_a_pack_of_strong_and_weak_cells_keeps_its_priority() -> None:
    """Neither cell of the pair lasts by itself among its like; a lesser lamp wants one of them."""
    pack = named(wanted(1, 2, load='current = "100mA"', runtime="35h", cutoff="3.0V"), "pack", 1)
    cells = [marked(0, 2.9), marked(1, 1.6)]
    plan = planned([pack, lamp("lamp", 5, 2)], *cells)
    assert served(plan) == ["pack"] and plan.objective == plan.bound


def test_two_packs_and_a_lamp_are_dealt_so_that_all_are_served() -> None:
    """The pair that comes to mind first would leave two cells that are too weak together, and too unlike."""
    asked = wanted(1, 2, load='current = "120mA"', runtime="24h", cutoff="3.2V")
    figures = [(2.755, 0.0411), (1.13, 0.0516), (3.135, 0.0554), (1.542, 0.0728)]
    cells = [marked(n, ah, resistance_ohm=ohm, u_ohm=0.0004) for n, (ah, ohm) in enumerate(figures)]
    lone = marked(9, 1.9, "another")
    plan = planned([named(asked, "one"), named(asked, "two"), lamp("lamp", 9, 1)], *cells, lone)
    assert served(plan) == ["lamp", "one", "two"]


@pytest.mark.parametrize("projects", [[], [lamp("a", 5)]])
def test_nothing_to_serve_or_nothing_to_serve_with_is_answered(projects: list[Project]) -> None:
    """No project, no cell: an empty plan in plain JSON."""
    plan = planned(projects)
    assert plan.plans == () and plan.objective == 0.0 and len(plan.unserved) == len(projects)
    said = plan.to_json()
    assert {"plans", "unserved", "objective", "bound", "gap"} <= set(said)
    json.dumps(said, allow_nan=False)


def test_a_project_without_protection_takes_no_cell_from_others() -> None:
    """It is told what to fit, and the cell goes to the next."""
    bare = named(project(runtime="10h", protection="fitted = false"), "bare", 1)
    plan = planned([bare, lamp("sound", 10, 2)], cell(0))
    assert served(plan) == ["sound"] and "protection" in plan.unserved[0].missing[0]


def test_a_cell_in_two_plans_never_leaves_the_house() -> None:
    """The last check, on its own."""
    twice = [Match("a", True, (("K1",),)), Match("b", True, (("K1",),))]
    with pytest.raises(UnsoundPlan, match="K1"):
        verify_all(twice)


def test_weights_put_any_better_priority_above_all_lesser_ones_together() -> None:
    """Exact in floating point, for more priorities than anybody has."""
    projects = [lamp(f"{p}-{n}", 5, p, date(2027, 1, 1 + n)) for p in range(1, 6) for n in range(9)]
    worth = worths(projects)
    for priority in range(1, 5):
        lesser = [int(worth[p.name]) for p in projects if p.priority > priority]
        assert min(int(worth[p.name]) for p in projects if p.priority == priority) > sum(lesser)
    level = [worth[p.name] for p in projects if p.priority == 3]
    assert level == sorted(level, reverse=True) and sum(level[:4]) < sum(level[4:])


# --- against every other plan ----------------------------------------------------------------------

HOURS = [4, 8, 12, 16, 20, 24]
lamps_of = st.lists(
    st.tuples(st.sampled_from(HOURS), st.integers(1, 3), st.sampled_from([None, 1, 2])),
    min_size=1,
    max_size=4,
)
cells_of_some = st.lists(
    st.tuples(
        st.floats(0.4, 3.2), st.sampled_from([Outcome.PACK, Outcome.SOLO, Outcome.LIGHT, Outcome.HOLD])
    ),
    max_size=4,
)


def made(asked: list[tuple[int, int, int | None]]) -> list[Project]:
    return [
        lamp(f"lamp {n}", hours, priority, date(2027, 1, day) if day else None)
        for n, (hours, priority, day) in enumerate(asked)
    ]


def value(projects: list[Project], served_names: set[str]) -> list[object]:
    """What the rules call better, by hand: for each priority how many, then which due dates, the earliest first."""
    found: list[object] = []
    for priority in sorted({p.priority for p in projects}):
        level = [p for p in projects if p.priority == priority and p.name in served_names]
        ranks = sorted({p.due or date.max for p in projects if p.priority == priority})
        found += [len(level), -sum(ranks.index(p.due or date.max) for p in level)]
    return found


@examples(25)
@given(lamps_of, cells_of_some)
def test_no_other_plan_serves_more_by_the_rules(
    asked: list[tuple[int, int, int | None]], stock: list[tuple[float, Outcome]]
) -> None:
    """Every way to give cells to projects, tried one by one."""
    projects, cells = made(asked), [cell(n, ah, outcome) for n, (ah, outcome) in enumerate(stock)]
    fits = {(p.name, c.code): match(p, c).served for p in projects for c in cells}
    best = max(
        value(projects, {p.name for p, c in zip(projects, given_, strict=True) if c})
        for given_ in product([None, *cells], repeat=len(projects))
        if len(taken := [c.code for c in given_ if c]) == len(set(taken))
        and all(fits[p.name, c.code] for p, c in zip(projects, given_, strict=True) if c)
    )
    plan = planned(projects, *cells)
    assert value(projects, set(served(plan))) == best
    assert plan.gap == 0.0 and plan.bound == plan.objective
    used = [code for codes in cells_of(plan).values() for code in codes]
    assert len(used) == len(set(used))
    assert all(fits[name, code] for name, codes in cells_of(plan).items() for code in codes)


@examples(15)
@given(lamps_of, cells_of_some, st.floats(0.4, 3.2))
def test_one_more_cell_never_lowers_the_objective(
    asked: list[tuple[int, int, int | None]], stock: list[tuple[float, Outcome]], ah: float
) -> None:
    """More on the shelf can only help."""
    projects, cells = made(asked), [cell(n, ah_, outcome) for n, (ah_, outcome) in enumerate(stock)]
    more = planned(projects, *cells, cell(50, ah, Outcome.SOLO)).objective
    assert more >= planned(projects, *cells).objective


@examples(8)
@given(st.integers(0, 999))
def test_the_order_of_projects_and_cells_changes_nothing(seed: int) -> None:
    """Same input, same plans, packs among them."""
    chance = random.Random(seed)
    projects = [
        named(wanted(runtime=f"{chance.randint(2, 9)}h"), "camera", 2),
        lamp("a", 9, 1),
        lamp("b", 5, 3),
    ]
    cells = shelf(7, seed)
    first = planned(projects, *cells)
    chance.shuffle(projects)
    chance.shuffle(cells)
    assert planned(projects, *cells) == first
