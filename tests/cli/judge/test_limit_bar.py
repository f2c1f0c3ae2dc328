"""The bar of a value against its limit: sides, clearance, and what has none."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from straycell.cli.show.verdict_page import WIDTH, limit_bar

CENTRE = WIDTH // 2


@given(st.floats(0.01, 100), st.floats(0.01, 100), st.floats(0, 10))
def test_the_value_stands_on_its_side_of_the_limit(value: float, limit: float, spread: float) -> None:
    """Never left of it when above, never right of it when below; always as wide."""
    bar = limit_bar(value, limit, spread)
    assert len(bar) == WIDTH
    at = bar.index("●")
    assert (at >= CENTRE) if value >= limit else (at <= CENTRE)


def test_a_value_clear_of_its_limit_leaves_a_gap() -> None:
    """And one within its uncertainty touches it."""
    assert " " in limit_bar(0.75, 1.0, 0.1)[limit_bar(0.75, 1.0, 0.1).index("●") : CENTRE]
    assert " " not in limit_bar(0.9, 1.0, 0.15)[limit_bar(0.9, 1.0, 0.15).index("●") : CENTRE]


@pytest.mark.parametrize(("observed", "limit"), [("clean", 1.0), (1.0, None), (1.0, 0.0), (1.0, "x")])
def test_what_is_no_figure_has_no_bar(observed: object, limit: object) -> None:
    """A word, a missing or a zero limit."""
    assert limit_bar(observed, limit, 0.1) == ""
