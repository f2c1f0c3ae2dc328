"""One cell for one project: the least that does it, every other with its reason, and the plan's hash."""

from __future__ import annotations

import json
import random
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st
from tests.drawing import examples
from tests.matching.single_bench import CODES, LIMITS, NOW, cell, match, project

from straycell.acceptance.reasons import Outcome
from straycell.cells import Chemistry, Form, Stage
from straycell.matching import Candidate, Match, match_project
from straycell.projects import Project
from straycell.quantities import Measured

KEYS = {
    "project",
    "served",
    "groups",
    "spread_ah",
    "bound_spread_ah",
    "gap",
    "runtime_h",
    "why",
    "not_chosen",
    "plan",
}
LONG_CODE_COUNT = len(CODES)


def code_of(answer: Match) -> str:
    """The chosen code."""
    assert answer.served
    return answer.groups[0][0]


def test_2500_mah_at_130_ma_run_about_19_hours() -> None:
    """Common practice, no published source: 2.5 Ah / 0.13 A = 19.2 h down to an empty cell."""
    wanted = project('current = "130mA"', runtime="1h", cutoff="2.5V")
    runtime = match(wanted, cell(0, 2.5)).runtime
    assert runtime is not None
    assert runtime.expected_h == pytest.approx(19.2, abs=1.0)
    assert runtime.low_h <= runtime.expected_h <= runtime.high_h


def test_the_low_end_decides() -> None:
    """A need between the low end and the expectation is not served."""
    runtime = match(project(runtime="1h"), cell(0, 2.5, u_ah=0.1)).runtime
    assert runtime is not None and runtime.low_h < runtime.expected_h
    between_h = (runtime.low_h + runtime.expected_h) / 2
    assert not match(project(runtime=f"{between_h}h"), cell(0, 2.5, u_ah=0.1)).served
    assert match(project(runtime=f"{runtime.low_h * 0.999}h"), cell(0, 2.5, u_ah=0.1)).served


def test_a_smaller_adequate_cell_is_preferred() -> None:
    """Of three that do it, the one with the least to spare; of equals, the first code."""
    wanted = project('current = "100mA"', runtime="10h")
    cells = (cell(0, 3.4), cell(1, 1.5), cell(2, 1.5), cell(3, 2.6), cell(4, 0.9))
    assert code_of(match(wanted, *cells)) == CODES[1]


def test_a_light_cell_goes_before_a_solo_one_and_that_before_a_pack_cell() -> None:
    """The better outcome is kept, even where the lesser cell holds more."""
    wanted = project('current = "100mA"', runtime="10h")
    light, solo, pack = cell(0, 3.4, Outcome.LIGHT), cell(1, 2.5, Outcome.SOLO), cell(2, 1.5)
    assert code_of(match(wanted, pack, solo, light)) == CODES[0]
    assert code_of(match(wanted, pack, solo)) == CODES[1]


def test_every_cell_says_why() -> None:
    """The chosen one with all its tests, each other one with a reason in words and numbers."""
    wanted = project('current = "35mA"', runtime="48h", cutoff="3.2V")
    cells = [cell(0, 2.5), cell(1, 1.62), cell(2, 3.0), cell(3, outcome=Outcome.DISCARD, deciding="swollen")]
    answer = match(wanted, *cells)
    chosen = {why.test for why in answer.why}
    assert {"outcome", "runtime", "current", "voltage-drop", "charger-voltage"} <= chosen
    assert all(why.passed and why.code == CODES[0] for why in answer.why)
    told = {why.code: why for why in answer.not_chosen}
    assert set(told) == {CODES[1], CODES[2], CODES[3]}
    assert told[CODES[1]].text.startswith("1620 mAh: runs ")
    assert "48 h needed" in told[CODES[1]].text
    short_by, observed = told[CODES[1]].short_by, told[CODES[1]].observed
    assert short_by is not None and isinstance(observed, float)
    assert short_by == pytest.approx(48.0 - observed)
    assert "kept for a more demanding project" in told[CODES[2]].text
    assert "swollen" in told[CODES[3]].text


def test_the_answer_has_the_keys_of_the_command_and_is_plain_json() -> None:
    """Served and unserved alike, without NaN or infinity."""
    for answer in (match(project(), cell(0)), match(project(), cell(0, 0.2)), match(project())):
        said = answer.to_json()
        assert set(said) >= KEYS
        assert json.loads(json.dumps(said, allow_nan=False)) == said
        assert (said["plan"] is not None) == answer.served
        assert (said["runtime_h"] is not None) == answer.served


def test_an_unserved_project_says_what_is_missing_in_numbers_and_the_nearest_cell() -> None:
    """A need of 20 h at 100 mA is some 2 Ah; the nearest is the largest of those too small."""
    answer = match(project(runtime="20h"), cell(0, 1.2), cell(1, 1.9), cell(2, outcome=Outcome.HOLD))
    assert not answer.served and answer.groups == ()
    assert answer.nearest is not None and answer.nearest.code == CODES[1]
    wanted, counted, nearest, *changes = answer.missing
    assert wanted.startswith("missing: 1 free cell, solo or pack, of at least ")
    assert counted == "of 3 cells: 2 running too short, 1 on hold or discarded"
    assert nearest.startswith(f"nearest: {CODES[1]}: 1900 mAh: runs ")
    assert changes and changes[0].startswith("a need of ")


def test_the_capacity_named_as_missing_would_serve_and_a_little_less_would_not() -> None:
    """The figure is true to 2 %."""
    wanted = project(runtime="20h", pack='chemistries = ["nmc"]')
    text = match(wanted, cell(0, 1.2)).missing[0]
    named_ah = float(text.split("at least ")[1].split(" mAh")[0]) / 1000
    assert named_ah == pytest.approx(2.0, rel=0.25)
    assert match(wanted, cell(1, named_ah, Outcome.SOLO)).served
    assert not match(wanted, cell(1, named_ah * 0.98, Outcome.SOLO)).served


def test_a_charger_that_rules_out_every_cell_is_named_as_the_cause() -> None:
    """Not a better cell but a closer charger is missing."""
    answer = match(project(charge='current = "250mA"\nvoltage = "4.2V"\ntolerance = "1.5%"'), cell(0))
    assert answer.missing[0].startswith("no single cell can serve it: the charger may reach 4.263 V")
    assert "measured_float" in answer.missing[0]


def test_an_empty_shelf_is_answered() -> None:
    """No cell at all: what is wanted, and that there is none."""
    answer = match(project())
    assert not answer.served
    assert answer.nearest is None
    assert "there is no cell to choose from" in answer.missing


def test_auto_is_served_by_one_cell_when_one_does_it() -> None:
    """The smallest topology first; where one does not do it, packs are named."""
    auto = 'series = "auto"\nparallel = "auto"'
    assert match(project(pack=auto), cell(0)).served
    assert "in parallel" in match(project(pack=auto, runtime="90h"), cell(0)).missing[-1]


def test_a_pack_is_made_only_where_one_cell_does_not_do_it() -> None:
    """One cell first; a project for one cell never becomes a pack."""

    def places(wanted: Project) -> list[int]:
        return [len(group) for group in match(wanted, cell(0), cell(1)).groups]

    assert places(project(pack='parallel = "auto"')) == [1]
    assert places(project(runtime="90h")) == []
    assert places(project(runtime="45h", pack='parallel = "auto"')) == [2]
    assert places(project(pack="parallel = 2")) == [2]


def test_what_neither_one_cell_nor_a_pack_serves_names_both_and_the_shelf_once() -> None:
    """The one cell it lacks, then the pack; what lies on the shelf is listed once."""
    missing = match(project(pack='parallel = "auto"', runtime="400h"), cell(0), cell(1)).missing
    assert missing[0].startswith("missing: 1 free cell")
    assert sum("nearest" in line.split(":")[0] for line in missing) == 1
    assert any("in parallel" in line for line in missing)


def test_lamps_that_one_cell_cannot_light_are_told_so() -> None:
    """Measured at 12 V: no single cell lights them, however little they then draw."""
    lamps = 'lamps = { count = 24, drop = "0.55V", across = "10ohm", supply = "12V" }'
    answer = match(project(lamps), cell(0))
    assert answer.not_chosen[0].test == "voltage"
    json.dumps(answer.to_json(), allow_nan=False)


def test_60_lamps_behind_5_ohm_are_served_by_their_measured_point() -> None:
    """0.67 V over 5.2 ohm is about 130 mA (common practice); at 3 V supply a full cell drives more."""
    lamps = 'lamps = { count = 60, drop = "0.67V", across = "5.2ohm", supply = "3.0V" }'
    wanted = project(lamps, runtime="2h", cutoff="2.8V")
    answer = match(wanted, cell(0, 2.5))
    drawn = next(why.observed for why in answer.why if why.test == "current")
    assert isinstance(drawn, float) and 0.13 < drawn < (4.2 - 2.33) / 5.2


def test_a_project_without_protection_is_matched_with_a_loud_note() -> None:
    """Planning is allowed, finishing is not."""
    answer = match(project(protection="fitted = false"), cell(0))
    assert answer.served
    assert "no protection is fitted" in answer.warnings[0]
    assert not any("no protection" in text for text in match(project(), cell(0)).warnings)


def test_the_plan_hash_follows_project_and_figures_and_nothing_else() -> None:
    """Other cells on the shelf and another hour leave it; a figure or a word of the project changes it."""
    plan = match(project(), cell(0)).plan
    assert plan is not None and len(plan) == 16
    assert match(project(), cell(0), cell(1, outcome=Outcome.HOLD)).plan == plan
    later = replace(cell(0), verdict_valid_until=None)
    assert match(project(), later).plan == plan
    assert match(project(), cell(0, 2.49)).plan != plan
    assert match(project(runtime="9h"), cell(0)).plan != plan
    assert match(project(), cell(1)).plan != plan


def test_ten_thousand_cells_on_hold_cost_nothing_much() -> None:
    """A shelf full of undecided cells is counted, not computed: one line each and a count."""
    on_hold = [replace(cell(0, outcome=Outcome.HOLD), code=f"K{n:05d}X") for n in range(10_000)]
    answer = match(project(), *on_hold)
    assert "of 10000 cells: 10000 on hold or discarded" in answer.missing


shelves = st.lists(
    st.builds(
        cell,
        st.integers(0, LONG_CODE_COUNT - 1),
        st.none() | st.floats(0.05, 6.0),
        st.sampled_from(Outcome),
        u_ah=st.floats(0.0, 0.2),
        resistance_ohm=st.none() | st.floats(0.005, 2.0),
        u_ohm=st.floats(0.0, 0.05),
        stage=st.sampled_from([Stage.SHELVED, Stage.RECEIVED, Stage.RESERVED]),
        valid_days=st.none() | st.floats(-20.0, 20.0),
        chemistry=st.sampled_from(Chemistry),
        form=st.sampled_from([Form.F18650, Form.F14500]),
    ),
    max_size=7,
    unique_by=lambda c: c.code,
)
KINDS = 'chemistries = ["nmc", "lfp", "lco"]'
LOADS = ('current = "60mA"', 'power = "0.3W"', 'resistance = "47ohm"')
projects = st.builds(
    lambda load, hours, peak: project(
        load, runtime=f"{hours}h", need=f'peak_current = "{peak}A"', pack=KINDS
    ),
    st.sampled_from(LOADS),
    st.integers(1, 40),
    st.sampled_from(["0.1", "0.4", "0.9"]),
)


@examples(50)
@given(projects, shelves)
def test_no_cell_on_hold_discarded_stale_or_promised_is_ever_chosen(
    wanted: Project, shelf: list[Candidate]
) -> None:
    """And every cell of the shelf is either chosen or says why not, once."""
    answer = match(wanted, *shelf)
    by_code = {c.code: c for c in shelf}
    for code in (code for group in answer.groups for code in group):
        chosen = by_code[code]
        assert chosen.outcome >= Outcome.LIGHT
        assert chosen.stage in (Stage.SHELVED, Stage.RECEIVED)
        assert chosen.verdict_valid_until is None or chosen.verdict_valid_until >= NOW
    told = [why.code for why in answer.not_chosen] + [code for group in answer.groups for code in group]
    assert sorted(told) == sorted(by_code)


@examples(50)
@given(projects, shelves, shelves)
def test_adding_cells_never_makes_a_served_project_unserved(
    wanted: Project, shelf: list[Candidate], more: list[Candidate]
) -> None:
    """More on the shelf can only help."""
    known = {c.code for c in shelf}
    if match(wanted, *shelf).served:
        assert match(wanted, *shelf, *(c for c in more if c.code not in known)).served


@examples(50)
@given(projects, shelves, st.randoms(use_true_random=False))
def test_the_order_of_the_shelf_changes_nothing(
    wanted: Project, shelf: list[Candidate], shuffler: random.Random
) -> None:
    """Same cells, same plan, same words."""
    shuffled = list(shelf)
    shuffler.shuffle(shuffled)
    assert match_project(wanted, shuffled, LIMITS, now=NOW) == match_project(wanted, shelf, LIMITS, now=NOW)


@examples(50)
@given(projects, shelves)
def test_a_more_uncertain_figure_never_lets_a_cell_in(wanted: Project, shelf: list[Candidate]) -> None:
    """Doubling every uncertainty can only lose a project."""

    def doubled(figure: Measured | None) -> Measured | None:
        return Measured(figure.value, 2 * figure.u) if figure else None

    vague = [replace(c, capacity=doubled(c.capacity), resistance=doubled(c.resistance)) for c in shelf]
    if match(wanted, *vague).served:
        assert match(wanted, *shelf).served
