"""Kinds of boxes, what may lie together, kinds of incidents: data with sources, asked in plain words."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from straycell.safety.boxes import Contents, box_kinds, fit_for_damaged, kind_of, why_not
from straycell.safety.energy import Amount
from straycell.safety.incidents import find_incident, incident_kinds

ONE_WH = Amount(1.0, False, "measured")


@pytest.mark.parametrize(
    ("text", "kind"),
    [
        ("shelf", "shelf"),
        ("Metal Box, lid loose", "metal box"),
        ("bucket of dry sand, outdoors", "outdoors"),
        ("hand-over drum", "hand-over drum"),
        ("steel drum", "hand-over drum"),
        ("cardboard", None),
        ("", None),
        ("setting", None),
    ],
)
def test_a_box_is_known_by_the_words_of_its_kind(text: str, kind: str | None) -> None:
    """Free text, whole words; what says nothing is of no known kind."""
    found = kind_of(text)
    assert (found.id if found else None) == kind


def test_an_unknown_kind_is_not_fit_for_damaged_cells() -> None:
    """Unknown is never a pass."""
    assert not fit_for_damaged("cardboard") and not fit_for_damaged("shelf")
    assert all(fit_for_damaged(text) for text in ("metal box", "outdoors", "hand-over drum"))


@pytest.mark.parametrize("entry", [*box_kinds(), *incident_kinds()], ids=lambda e: e.id)
def test_every_kind_has_its_source(entry: object) -> None:
    """Published, or common practice said to be that."""
    assert len(entry.source) > 20  # type: ignore[attr-defined]


@given(
    st.lists(st.just("A00001O"), max_size=2),
    st.lists(st.just("A00002M"), max_size=2),
    st.booleans(),
    st.sampled_from(["shelf", "metal box", "hand-over drum", "cardboard"]),
)
def test_good_and_condemned_never_end_up_together(
    good: list[str], bad: list[str], condemned: bool, kind: str
) -> None:
    """Whatever lies there and whatever comes: a move that is let through mixes nothing."""
    refusal = why_not("b", kind, None, Contents(tuple(good), tuple(bad)), condemned=condemned, energy=ONE_WH)
    if refusal is None:
        assert not (good if condemned else bad)
    else:
        assert all(refusal)


@given(st.floats(0, 500), st.floats(0.1, 50), st.floats(0.1, 500))
def test_a_limit_is_never_passed(there: float, more: float, limit: float) -> None:
    """Sum of what is there and what comes against the limit."""
    contents = Contents(energy=Amount(there, False, ""))
    refused = why_not("b", "tin", limit, contents, condemned=False, energy=Amount(more, True, ""))
    assert (refused is None) is (there + more <= limit + 1e-9)


@pytest.mark.parametrize(
    ("word", "severe"),
    [
        ("short-circuit", True),
        ("Short circuit", True),
        ("reversed", True),
        ("over-charged", True),
        ("hot", True),
        ("water", True),
        ("drop", False),
        ("charger-failed", False),
        ("charger failed", False),
        ("short", True),
        ("overheated", True),
        ("crushed", True),
        ("Fell", False),
    ],
)
def test_each_incident_of_the_trade_is_known(word: str, severe: bool) -> None:
    """Short circuit, drop, reversed, over-charged, got hot, water, charger failed while connected."""
    found = find_incident(word)
    assert found is not None and found.severe is severe and found.why


def test_words_of_ones_own_are_no_known_kind() -> None:
    """They hold; nobody guesses."""
    assert find_incident("sat on") is None
