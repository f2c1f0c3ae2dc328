"""What the marking proposes where nothing was said, and where it speaks against what was said."""

from __future__ import annotations

import pytest

from straycell.cells import Chemistry, Form
from straycell.cli.nouns.take.facts import build_facts, with_marking
from straycell.errors import UsageFault


def test_the_marking_fills_in_what_was_not_said() -> None:
    """ICR is cobalt by IEC 61960-3 clause 5.1; the figure with mAh is the rated capacity."""
    fields, notes = with_marking({}, "ICR18650 2600mAh")
    facts = build_facts(fields)
    assert (facts.chemistry, facts.form, facts.rated_capacity_ah) == (Chemistry.LCO, Form.F18650, 2.6)
    assert "chemistry lco" in notes[0] and "2600 mAh" in notes[0]


def test_what_was_said_wins_over_the_marking() -> None:
    """A person who knows the cell."""
    fields, _ = with_marking({"chemistry": Chemistry.NMC, "rated_capacity_ah": 2.2}, "ICR18650 2600mAh")
    assert (fields["chemistry"], fields["rated_capacity_ah"]) == (Chemistry.NMC, 2.2)


def test_the_mark_of_a_primary_cell_makes_it_primary() -> None:
    """CR is lithium metal."""
    fields, notes = with_marking({}, "CR123A 3V")
    assert fields["chemistry"] is Chemistry.PRIMARY
    assert any("never charge" in note for note in notes)


def test_a_primary_mark_against_a_rechargeable_chemistry_needs_a_confirmation() -> None:
    """Charging a primary cell is the worst error of all."""
    with pytest.raises(UsageFault, match="speaks against") as caught:
        with_marking({"chemistry": Chemistry.NMC}, "CR123A 3V")
    assert "--confirm-rechargeable" in caught.value.remedy
    fields, _ = with_marking({"chemistry": Chemistry.NMC, "confirmed_rechargeable": True}, "CR123A 3V")
    assert fields["chemistry"] is Chemistry.NMC


@pytest.mark.parametrize("chemistry", [Chemistry.PRIMARY, Chemistry.UNKNOWN])
def test_a_primary_mark_agrees_with_primary_and_unknown(chemistry: Chemistry) -> None:
    """Neither lets anybody charge it."""
    assert with_marking({"chemistry": chemistry}, "CR123A")[0]["chemistry"] is chemistry


def test_an_empty_marking_proposes_nothing() -> None:
    """Unknown stays unknown."""
    assert with_marking({}, "") == ({}, [])
