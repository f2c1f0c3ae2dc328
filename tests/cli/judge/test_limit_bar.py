"""The bar of a value against its limit: sides, clearance, and what has none."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from tests.cli.bench import Bench
from tests.sample.conftest import Built, built  # noqa: F401

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


def test_a_table_too_wide_for_the_terminal_loses_its_bars_and_no_figure(
    built: Built,  # noqa: F811
    tmp_path: Path,
) -> None:
    """Every rule of a good cell at 80 columns; with more room the bars are there."""
    bench = Bench(tmp_path / "shop.sqlite", built.sample.now.isoformat())
    bench.begin_with(built.path)
    for columns in (80, 200):
        bench.env["COLUMNS"] = str(columns)
        page = bench.run("verdict show H00001K --all").out
        table = page[page.index("Every rule") :]
        assert all(len(line) <= columns for line in page.splitlines())
        assert ("how near" in table) is (columns == 200) and "1.133 ± 0.077 times" in table
