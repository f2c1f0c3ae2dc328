"""The last look at a served answer: a sound one passes, and each way of spoiling it is refused."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import pytest
from tests.matching.pack_bench import packed, shelf, wanted
from tests.matching.single_bench import NOW, cell, match, project

from straycell.acceptance.reasons import Outcome
from straycell.cells import Chemistry, Form, Stage
from straycell.matching import Candidate, Match
from straycell.matching.answer_check import check_answer
from straycell.matching.verify import UnsoundPlan
from straycell.projects import Project, Protection
from straycell.quantities import Measured

SHELF = shelf(8)
PACK = packed(wanted(), *SHELF)
LAMP = project('current = "200mA"')
ONE = match(LAMP, cell(0))


def refused(asked: Project, found: Match, *cells: Candidate) -> str:
    with pytest.raises(UnsoundPlan) as refusal:
        check_answer(asked, found, cells, NOW)
    return refusal.value.what


def test_sound_answers_pass_unchanged() -> None:
    """A pack, a single cell, and an answer that serves nothing."""
    assert check_answer(wanted(), PACK, SHELF, NOW) is PACK
    assert check_answer(LAMP, ONE, [cell(0)], NOW) is ONE
    nothing = Match("float lamp", False)
    assert check_answer(LAMP, nothing, [], NOW) is nothing


@pytest.mark.parametrize(
    ("protection", "fault"),
    [
        (Protection(), "served without protection"),
        (Protection(fitted=True), "without protection and balancing of each group"),
        (Protection(fitted=True, per_cell=True), "without protection and balancing of each group"),
    ],
)
def test_a_pack_whose_protection_is_dropped_is_refused(protection: Protection, fault: str) -> None:
    """All of it, that of each cell, the balancing; reserving ahead of the protection alone is allowed."""
    bare = replace(wanted(), protection=protection)
    assert fault in refused(bare, PACK, *SHELF)
    assert check_answer(bare, PACK, SHELF, NOW, planning=True) is PACK


def test_a_swapped_cell_is_refused() -> None:
    """For one of another group (used twice), for one that is not in store, and for none."""
    (a, b), (c, d) = PACK.groups
    for groups, fault in (
        (((a, b), (c, a)), "used twice"),
        (((a, b), (c, "Z999999")), "not a cell of the store"),
        (((a, b), (c,)), "unlike size"),
        (((a, b, c, d),), "not the shape"),
    ):
        assert fault in refused(wanted(), replace(PACK, groups=groups), *SHELF)


@pytest.mark.parametrize(
    ("spoil", "fault"),
    [
        (lambda c: replace(c, outcome=Outcome.HOLD), "is hold"),
        (lambda c: replace(c, stage=Stage.INSTALLED), "is installed"),
        (lambda c: replace(c, verdict_valid_until=NOW.replace(year=2020)), "has run out"),
        (lambda c: replace(c, facts=replace(c.facts, form=Form.POUCH)), "a form that does not fit"),
        (lambda c: replace(c, facts=replace(c.facts, chemistry=Chemistry.PRIMARY)), "a chemistry"),
        (lambda c: replace(c, capacity=Measured(1.9, 0.0)), "less than the device draws"),
    ],
)
def test_a_single_cell_that_must_not_be_used_is_refused(
    spoil: Callable[[Candidate], Candidate], fault: str
) -> None:
    """200 mA for 10 h is 2 Ah, from a free cell of the right kind under a verdict that stands."""
    asked = replace(LAMP, pack=replace(LAMP.pack, forms=(Form.F18650,)))
    assert fault in refused(asked, ONE, spoil(cell(0)))


def test_only_pack_cells_are_joined_in_the_last_look_too() -> None:
    """A solo cell alone is well, in a pack it is not."""
    solo = [replace(c, outcome=Outcome.SOLO) for c in SHELF]
    assert "is solo" in refused(wanted(), PACK, *solo)
    assert check_answer(LAMP, ONE, [cell(0, outcome=Outcome.SOLO)], NOW) is ONE


def test_an_answer_that_does_not_run_long_enough_is_refused() -> None:
    """Whatever the planner believed."""
    longer = replace(LAMP, need=replace(LAMP.need, runtime_h=100.0))
    assert "does not run long enough" in refused(longer, ONE, cell(0))
    assert "does not run long enough" in refused(LAMP, replace(ONE, runtime=None), cell(0))
