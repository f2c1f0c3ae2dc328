"""Packs: which cells may be joined, in which shape, how evenly they share, and what a missing pack is missing."""

from __future__ import annotations

import json
import random
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st
from tests.drawing import examples
from tests.matching.pack_bench import marked, packed, reasons, shelf, wanted, why_not
from tests.matching.single_bench import LIMITS, NOW, project

from straycell.acceptance.reasons import Outcome
from straycell.cells import Chemistry, Form, Stage
from straycell.matching import Candidate, Match
from straycell.matching.answer_check import check_pack
from straycell.matching.pack.groups import shares
from straycell.matching.screen.demand import Demand, Screen
from straycell.matching.verify import UnsoundPlan
from straycell.projects import Project
from straycell.quantities import Measured
from straycell.readings import Method


def held(answer: Match, cells: list[Candidate]) -> list[float]:
    """What each group holds, added up by hand."""
    ah = {c.code: c.capacity.value for c in cells if c.capacity}
    return [sum(ah[code] for code in group) for group in answer.groups]


def test_two_in_series_of_two_in_parallel_are_found_even_and_long_enough() -> None:
    """Four of six cells, the groups nearly equal, the low end above the need."""
    cells = shelf(6)
    answer = packed(wanted(), *cells)
    assert answer.served and [len(group) for group in answer.groups] == [2, 2]
    sums = held(answer, cells)
    assert answer.spread_ah == pytest.approx(max(sums) - min(sums), abs=1e-9)
    assert answer.bound_spread_ah is not None and answer.spread_ah is not None
    assert answer.bound_spread_ah <= answer.spread_ah + 1e-12
    assert answer.runtime is not None and answer.runtime.low_h >= 8.0


def test_no_better_cells_than_needed_are_taken() -> None:
    """Where weak cells do it, the strong ones are kept for something else."""
    weak, strong = shelf(5), [marked(10 + n, 3.3, resistance_ohm=0.045, u_ohm=0.0005) for n in range(4)]
    answer = packed(wanted(runtime="5h"), *weak, *strong)
    assert answer.served
    assert not {c.code for c in strong} & {code for group in answer.groups for code in group}
    assert "kept for a more demanding project" in why_not(answer, strong[0])[1]


@pytest.mark.parametrize("outcome", [o for o in Outcome if o is not Outcome.PACK])
def test_only_pack_cells_are_joined(outcome: Outcome) -> None:
    """Solo cells are good ones, and still never joined."""
    cells = [replace(c, outcome=outcome) for c in shelf(8)]
    answer = packed(wanted(), *cells)
    assert not answer.served
    assert {why.test for why in answer.not_chosen} == {"outcome"}


@pytest.mark.parametrize(
    ("change", "test"),
    [
        ({"chemistry": Chemistry.LCO}, "chemistry lco"),
        ({"form": Form.F21700}, "form 21700"),
        ({"marking": "INR18650 2600mAh"}, "marked 'INR18650 2600mAh'"),
        ({"marking": ""}, "its marking is not known"),
    ],
)
def test_one_kind_alone_makes_a_pack(change: dict[str, object], test: str) -> None:
    """Two of one and two of another never make four; four of one leave the others out, and say why."""
    ours = shelf(4)
    others = [replace(c, facts=replace(c.facts, **change)) for c in shelf(2, first=20)]  # type: ignore[arg-type]
    assert not packed(wanted(), *ours[:2], *others).served
    answer = packed(wanted(), *ours, *others)
    assert answer.served and why_not(answer, others[0])[1].startswith(test)


def test_resistances_taken_in_two_ways_are_never_compared() -> None:
    """Two by a.c. and two by d.c. pulse: no pack."""
    cells = shelf(4)
    by_ac = [replace(c, resistance_method=Method.AC_1KHZ) for c in cells[:2]]
    assert not packed(wanted(), *by_ac, *cells[2:]).served


def test_the_ratio_of_resistances_in_a_group_is_kept_with_its_uncertainty() -> None:
    """1.5 to 1 in a pair is the limit of the rules: just met without doubt, not with it."""
    pair = [marked(0, resistance_ohm=0.040), marked(1, resistance_ohm=0.060)]
    asked = wanted(1, 2, load='current = "100mA"', cutoff="3.0V")
    assert packed(asked, *pair).served
    assert not packed(asked, pair[0], marked(1, resistance_ohm=0.0601)).served
    doubtful = [replace(c, resistance=Measured(c.resistance.value, 0.0005)) for c in pair if c.resistance]
    assert not packed(asked, *doubtful).served


def test_a_string_of_single_cells_compares_no_resistances() -> None:
    """In series each cell carries the same current whatever its resistance."""
    cells = [marked(n, resistance_ohm=0.03 * (n + 1)) for n in range(3)]
    assert packed(wanted(3, 1, cutoff="9.6V", load='current = "100mA"'), *cells).served


def test_one_and_a_half_to_one_in_a_pair_means_sixty_per_cent() -> None:
    """The lower resistance carries 1.5 of 2.5 parts."""
    pair = [marked(0, resistance_ohm=0.040), marked(1, resistance_ohm=0.060)]
    assert shares(pair) == pytest.approx([0.6, 0.4])


@pytest.mark.parametrize(("current", "served"), [("2.08A", True), ("2.09A", False)])
def test_the_cell_of_lowest_resistance_stays_within_its_outcome(current: str, served: bool) -> None:
    """2.5 Ah may give 1.25 A: as 60 % that is 2.083 A for the pair, though half of 2.5 A would be allowed."""
    pair = [marked(0, resistance_ohm=0.040), marked(1, resistance_ohm=0.060)]
    asked = wanted(1, 2, load=f'current = "{current}"', runtime="30min", cutoff="3.0V")
    assert packed(asked, *pair).served is served


def test_the_charge_current_is_shared_in_the_same_way() -> None:
    """60 % of 2.1 A are 1.26 A, more than 0.5C of 2.5 Ah; the answer names a gentler current."""
    pair = [marked(0, resistance_ohm=0.040), marked(1, resistance_ohm=0.060)]
    charge = 'current = "{}"\nvoltage = "4.2V"\ntolerance = "1%"'
    asked = [
        wanted(1, 2, load='current = "50mA"', cutoff="3.0V", charge=charge.format(a))
        for a in ("2.08A", "2.1A")
    ]
    assert packed(asked[0], *pair).served
    assert not packed(asked[1], *pair).served


@pytest.mark.parametrize(
    ("protection", "served", "words"),
    [
        ("fitted = true\nper_cell = true\nbalancing = true", True, ""),
        ("fitted = true\nper_cell = true", False, "need balancing"),
        ("fitted = true\nbalancing = true", False, "protection cell by cell"),
        ("fitted = false", False, "no protection is fitted"),
    ],
)
def test_a_string_is_protected_and_balanced_cell_by_cell(protection: str, served: bool, words: str) -> None:
    """What is missing is said with what to fit."""
    answer = packed(wanted(protection=protection), *shelf(6))
    assert answer.served is served
    assert words in " ".join(answer.missing)


@pytest.mark.parametrize(
    "charge",
    [
        'programming_resistor = "2.4kohm"\nvoltage = "8.4V"',
        'current = "500mA"',
        'current = "500mA"\nvoltage = "4.2V"',
    ],
)
def test_a_single_cell_charger_never_meets_a_string(charge: str) -> None:
    """Told by its programming resistor, by its voltage, or by nothing being said of it."""
    answer = packed(wanted(charge=charge), *shelf(6))
    assert not answer.served
    assert "never a single-cell charger on 2 cells in series" in answer.missing[0]
    assert 'voltage = "8.40V"' in answer.missing[0]


def test_the_voltage_of_a_string_charger_is_judged_a_cell() -> None:
    """8.5 V for two is the limit of 4.25 V each."""
    charge = 'current = "500mA"\nvoltage = "8.4V"\ntolerance = "{}"'
    assert packed(wanted(charge=charge.format("1.1%")), *shelf(6)).served
    answer = packed(wanted(charge=charge.format("1.5%")), *shelf(6))
    assert not answer.served and "4.263 V a cell" in answer.missing[0]


def test_a_device_without_protection_is_not_served_but_its_cells_can_be_reserved() -> None:
    """It says what to change, and which cell would do it then."""
    asked = project(protection="fitted = false")
    answer = packed(asked, *shelf(3))
    assert not answer.served and answer.groups == () and answer.plan is None
    assert answer.missing[0].startswith("no protection is fitted") and "fitted = true" in answer.missing[0]
    assert sorted(why.code for why in answer.not_chosen) == sorted(c.code for c in shelf(3))


# --- shapes ----------------------------------------------------------------------------------------


def test_auto_takes_one_cell_where_one_does_it_and_else_the_smallest_pack() -> None:
    """2.4 Ah at 100 mA last 20 h: 10 h need one cell, 40 h two or three."""
    asked = [
        wanted("auto", "auto", load='current = "100mA"', runtime=f"{h}h", cutoff="3.0V") for h in (10, 30, 50)
    ]
    shapes = [[len(group) for group in packed(p, *shelf(8)).groups] for p in asked]
    assert shapes == [[1], [2], [3]]


@pytest.mark.parametrize(
    ("cutoff", "series"), [("3.0V", 1), ("4.4V", 2), ("6.4V", 2), ("9.0V", 3), ("12.8V", 4)]
)
def test_auto_finds_the_string_whose_voltage_window_holds_the_cut_off(cutoff: str, series: int) -> None:
    """A full cell gives 4.2 V and may be emptied to 2.5 V: 9 V lie within three, above two."""
    answer = packed(wanted("auto", 1, load='current = "50mA"', runtime="2h", cutoff=cutoff), *shelf(6))
    assert answer.served and len(answer.groups) == series


def test_auto_widens_for_the_current() -> None:
    """3 A from cells that may give 1.2 A each take three, however short the time."""
    asked = wanted(1, "auto", load='current = "3A"', runtime="6min", cutoff="3.0V")
    answer = packed(asked, *shelf(8))
    assert answer.served and len(answer.groups[0]) == 3


def test_auto_takes_no_more_than_there_is() -> None:
    """A need of a month is answered with what is missing, not with an endless search."""
    answer = packed(
        wanted("auto", "auto", load='current = "100mA"', runtime="900h", cutoff="3.0V"), *shelf(5)
    )
    assert not answer.served and answer.missing[0].startswith("missing: 1 free cell")
    # 90 Ah for one group: no cell of this size holds a share of that, and none is asked for.
    assert any("no cell of this size was found to serve it" in line for line in answer.missing)


# --- what is missing -------------------------------------------------------------------------------


def test_an_unserved_pack_counts_the_missing_cells_and_what_they_must_be() -> None:
    """Three of four are there: one more, with figures that would do."""
    cells = shelf(3)
    answer = packed(wanted(), *cells)
    assert not answer.served
    first = answer.missing[0]
    assert first.startswith(
        "missing for 2 groups in series, each of 2 cells in parallel (4 cells): 1 more free pack cell"
    )
    ah = float(first.split("of at least ")[1].split(" mAh")[0]) / 1000
    ohm = float(first.split(" below ")[1].split(" mohm")[0]) / 1000
    found = packed(wanted(), *cells, marked(30, ah, u_ah=0.004 * ah, resistance_ohm=0.9 * ohm, u_ohm=0.0005))
    assert found.served


def test_a_need_that_would_be_served_is_named_and_is_served() -> None:
    """What change would serve it is no guess."""
    cells = shelf(4)
    answer = packed(wanted(runtime="30h"), *cells)
    change = next(line for line in answer.missing if line.startswith("a need of "))
    assert packed(wanted(runtime=f"{change.split()[3]}h"), *cells).served
    assert any(
        line == "parallel = 4 would be served by the cells at hand"
        for line in packed(
            wanted(1, 2, load='current = "100mA"', runtime="75h", cutoff="3.0V"), *shelf(9)
        ).missing
    )


def test_where_resistances_forbid_it_the_cells_behind_it_are_named() -> None:
    """Enough cells, too different: it says so, and which."""
    cells = [marked(n, resistance_ohm=0.02 * 1.6**n) for n in range(4)]
    answer = packed(wanted(1, 2, load='current = "100mA"', cutoff="3.0V"), *cells)
    assert not answer.served
    assert "their resistances keep them apart" in answer.missing[0]
    assert all(c.code in answer.missing[0] for c in cells)


@pytest.mark.parametrize("cells", [[], shelf(1), [replace(c, stage=Stage.RESERVED) for c in shelf(8)]])
def test_a_shelf_with_nothing_suitable_is_answered(cells: list[Candidate]) -> None:
    """Empty, too small or promised to others: said in words and plain JSON."""
    answer = packed(wanted(), *cells)
    assert not answer.served and answer.missing
    json.dumps(answer.to_json(), allow_nan=False)


def test_cells_of_one_figure_make_even_groups() -> None:
    """Identical figures: spread nothing, by code."""
    answer = packed(wanted(), *(marked(n) for n in range(6)))
    assert answer.spread_ah == 0.0 and answer.gap == 0.0


def test_a_resistance_of_zero_goes_with_zero_alone() -> None:
    """A meter that shows nothing: beside any other it would carry everything."""
    asked = wanted(1, 2, load='current = "100mA"', cutoff="3.0V")
    zeros = [marked(n, resistance_ohm=0.0) for n in range(2)]
    assert packed(asked, *zeros).served
    assert not packed(asked, zeros[0], marked(5)).served


# --- laws ------------------------------------------------------------------------------------------

packs = st.builds(
    lambda shape, hours, load: wanted(
        *shape, load=load, runtime=f"{hours}h", cutoff=f"{3.2 * shape[0]:.1f}V"
    ),
    st.sampled_from([(1, 2), (2, 1), (2, 2), (1, 3)]),
    st.integers(2, 30),
    st.sampled_from(['current = "120mA"', 'power = "0.6W"']),
)
cells_of = st.lists(
    st.builds(
        marked,
        st.integers(0, 60),
        st.floats(1.0, 3.2).map(lambda x: round(x, 3)),
        st.sampled_from(["INR18650 2500mAh"] * 3 + ["INR18650 2600mAh"]),
        outcome=st.sampled_from([Outcome.PACK] * 5 + [Outcome.SOLO, Outcome.HOLD]),
        u_ah=st.just(0.01),
        resistance_ohm=st.floats(0.03, 0.08).map(lambda x: round(x, 4)),
        u_ohm=st.just(0.0004),
    ),
    max_size=8,
    unique_by=lambda c: c.code,
)


@examples(25)
@given(packs, cells_of)
def test_every_plan_is_of_one_kind_of_pack_cells_used_once_and_every_cell_says_why(
    asked: Project, cells: list[Candidate]
) -> None:
    """Checked here by hand, whatever the planner and its own check say."""
    answer = packed(asked, *cells)
    by_code = {c.code: c for c in cells}
    used = [code for group in answer.groups for code in group]
    told = [why.code for why in answer.not_chosen]
    assert sorted(used + told) == sorted(by_code)
    assert {by_code[code].outcome for code in used} <= {Outcome.PACK}
    assert len({by_code[code].facts.marking for code in used}) <= 1
    for group in answer.groups:
        ohms = [c.resistance.value for code in group if (c := by_code[code]).resistance]
        assert max(ohms) <= 1.5 * min(ohms)


@examples(20)
@given(packs, cells_of, cells_of)
def test_adding_cells_never_makes_a_served_pack_unserved(
    asked: Project, cells: list[Candidate], more: list[Candidate]
) -> None:
    """More on the shelf can only help."""
    known = {c.code for c in cells}
    if packed(asked, *cells).served:
        assert packed(asked, *cells, *(c for c in more if c.code not in known)).served


@examples(15)
@given(packs, cells_of, st.randoms(use_true_random=False))
def test_the_order_of_the_shelf_changes_no_pack(
    asked: Project, cells: list[Candidate], shuffler: random.Random
) -> None:
    """Same cells, same plan, same words."""
    shuffled = list(cells)
    shuffler.shuffle(shuffled)
    assert packed(asked, *shuffled) == packed(asked, *cells)


# --- the check of its own --------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("spoil", "fault"),
    [
        (lambda c: replace(c, outcome=Outcome.SOLO), "is solo, not pack"),
        (lambda c: replace(c, stage=Stage.RESERVED), "is reserved"),
        (lambda c: replace(c, facts=replace(c.facts, marking="other")), "more than one marking"),
        (lambda c: replace(c, facts=replace(c.facts, chemistry=Chemistry.LCO)), "more than one chemistry"),
        (lambda c: replace(c, resistance=Measured(0.2, 0.0)), "exceeds the resistance ratio"),
        (lambda c: replace(c, verdict_valid_until=NOW.replace(year=2020)), "has run out"),
        (lambda c: replace(c, resistance_method=Method.AC_1KHZ), "more than one way"),
    ],
)
def test_a_plan_that_breaks_a_rule_never_leaves_the_house(spoil: object, fault: str) -> None:
    """Each rule broken on its own is found by the check that shares no code with the planner."""
    cells = [marked(n) for n in range(4)]
    screen = Screen(Demand(wanted(), 2, 2), LIMITS, NOW)
    check_pack(screen, (cells[:2], cells[2:]))
    assert callable(spoil)
    with pytest.raises(UnsoundPlan, match=fault):
        check_pack(screen, (cells[:2], [cells[2], spoil(cells[3])]))
    with pytest.raises(UnsoundPlan, match="used twice"):
        check_pack(screen, (cells[:2], cells[1:3]))


def test_the_reasons_name_what_each_group_holds_and_how_it_shares() -> None:
    """Group by group, in numbers."""
    answer = packed(wanted(), *shelf(6))
    assert [text.split(" holds ")[0] for text in reasons(answer, "group")] == ["group 1", "group 2"]
    assert all("% of the device's current" in text for text in reasons(answer, "share"))
    assert all(why.passed for why in answer.why)
