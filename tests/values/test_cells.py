"""A cell's words and the legal moves of its life."""

from __future__ import annotations

import itertools

import pytest

from straycell.cells import LEGAL_MOVES, CellFacts, Chemistry, Form, Look, Stage, check_move
from straycell.errors import BadData

# The moves as the design has them, written again: from -> to
LIFE = """
received  shelved reserved condemned withdrawn
shelved   received reserved condemned withdrawn
reserved  received shelved installed condemned
installed received condemned
condemned received handed-over
handed-over
withdrawn received
"""


@pytest.mark.parametrize(("old", "new"), list(itertools.permutations(Stage, 2)))
def test_only_the_moves_of_the_design_are_legal(old: Stage, new: Stage) -> None:
    """Every pair of stages, against the table above; a refusal names the cell and the ways out."""
    allowed = {line.split()[0]: line.split()[1:] for line in LIFE.strip().splitlines()}
    if new in allowed[old]:
        check_move("B00001K", old, new)
        return
    with pytest.raises(BadData) as fault:
        check_move("B00001K", old, new)
    assert f"cell B00001K is {old} and cannot become {new}" == fault.value.what
    assert all(word in fault.value.remedy for word in allowed[old])


@pytest.mark.parametrize("stage", list(Stage))
def test_staying_where_it_is_is_no_move(stage: Stage) -> None:
    """A repeated command does no harm."""
    check_move("B00001K", stage, stage)


def test_nothing_comes_back_from_a_hand_over() -> None:
    """What has left the house cannot be put on the shelf again."""
    assert not LEGAL_MOVES[Stage.HANDED_OVER]
    with pytest.raises(BadData, match="handed-over") as fault:
        check_move("B00001K", Stage.HANDED_OVER, Stage.RECEIVED)
    assert "left the house" in fault.value.remedy


def test_a_condemned_cell_goes_into_no_build() -> None:
    """Neither reserved nor installed, nor straight to the shelf."""
    assert not LEGAL_MOVES[Stage.CONDEMNED] & {Stage.RESERVED, Stage.INSTALLED, Stage.SHELVED}


def test_the_words_are_those_of_the_interface() -> None:
    """People's scripts use these; they stay fixed (interface, words and values)."""
    assert " ".join(Chemistry) == "nmc lco nca lmo lfp liion primary unknown"
    assert " ".join(Form) == "18650 21700 26650 14500 16340 18350 13400 10440 pouch prismatic other"
    looks = (
        "clean swollen leaking burnt punctured vented smell crushed dented rust rust-specks torn-sleeve torn-ring"
        " bare-tab wet stained corroded"
    )
    assert " ".join(Look) == looks
    assert " ".join(Stage) == "received shelved reserved installed condemned handed-over withdrawn"


def test_nothing_is_assumed_of_a_cell_that_nobody_described() -> None:
    """Unknown is the default, never a chemistry or a figure."""
    facts = CellFacts()
    assert facts.chemistry is Chemistry.UNKNOWN
    assert facts.rated_capacity_ah is None and facts.full_voltage_v is None
    assert not facts.confirmed_rechargeable and not facts.bought_new
