"""Bars against a line, in the terminal and as a file: lengths in proportion, signs beside names, figures whole."""

from __future__ import annotations

import io
import re

import pytest
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image

from straycell.pictures.bars import Bar, Chart

BARS = (Bar("first", 10, 20, 40, "!", "20 of 50 Wh"), Bar("second", 80, 80, 80, words="80 of 100 Wh"))
CHART = Chart("two boxes", "%", BARS, 100.0, "limit")


def test_a_bar_is_as_long_as_its_figure() -> None:
    """Of a line at 100, 10 is sure and 40 may be, 80 is sure: counted in characters."""
    first, second, line, signs = CHART.lines(80)
    assert signs == "! beyond its line"
    assert first.count("=") == pytest.approx(second.count("=") / 8, abs=1)
    assert first.count("=") + first.count("-") == pytest.approx(second.count("=") / 2, abs=1)
    assert first.index("|") == second.index("|") == line.index("|")
    assert first.startswith("first ! ") and first.endswith("20 of 50 Wh") and "limit 100 %" in line


def test_thousands_of_hours_are_written_out() -> None:
    """Nobody at a bench reads powers of ten: 4638 h, and a need of 12000 h."""
    chart = Chart(
        "candidates",
        "h",
        (Bar("first", 4638.2, 5000.0, 5300.0), Bar("second", 0.0123, 0.02, 0.03)),
        12000.0,
        "needed",
    )
    first, second, line = chart.lines(80)
    assert first.endswith("4638 h") and second.endswith("0.0123 h") and "needed 12000 h" in line


def test_without_a_line_nothing_is_compared() -> None:
    """The longest bar fills the room."""
    lines = Chart("gear", "Wh", BARS, None).lines(80)
    assert len(lines) == 2 and not any("|" in line for line in lines)


def test_a_chart_without_bars_says_why() -> None:
    """In the terminal in words; a picture can be made all the same."""
    empty = Chart("boxes", "%", (), 100.0, "limit", "no box yet")
    assert empty.lines(80) == ["no box yet"]
    assert empty.picture(dpi=40).startswith(b"\x89PNG")


@given(
    st.lists(st.tuples(st.floats(0, 300), st.floats(0, 100)), min_size=1, max_size=6),
    st.integers(40, 200),
    st.one_of(st.none(), st.floats(1, 400)),
)
def test_no_figure_is_cut_at_any_width(
    found: list[tuple[float, float]], width: int, line: float | None
) -> None:
    """Every bar's words are there whole, beside it or below it; no bar is longer than the screen."""
    bars = tuple(
        Bar(f"bar {n}", low, low, low + more, words=f"figure {n} of some length")
        for n, (low, more) in enumerate(found)
    )
    lines = Chart("t", "Wh", bars, line, "line").lines(width)
    for bar in bars:
        assert sum(drawn.endswith(bar.words) for drawn in lines) == 1
    assert all(len(drawn) <= width for drawn in lines if "=" in drawn and "line" not in drawn)


@pytest.mark.parametrize("kind", ["png", "svg"])
def test_the_same_chart_gives_the_same_bytes(kind: str) -> None:
    """Another figure gives another file; its digest is inside."""
    first, again = (CHART.picture(kind, 50) for _ in range(2))  # type: ignore[arg-type]
    other = Chart("two boxes", "%", BARS[:1], 100.0, "limit").picture(kind, 50)  # type: ignore[arg-type]
    assert first == again != other


def test_what_is_beyond_its_line_looks_different_in_grey() -> None:
    """A failed bar is darker than one that is met, and its sign is written; dollar signs in a name stay letters."""

    def grey(sign: str) -> Image.Image:
        drawn = Chart("t", "%", (Bar("a $x$ b", 80, 80, 80, sign),), 100.0, "limit").picture(dpi=60)
        return Image.open(io.BytesIO(drawn)).convert("L")

    met, failed = grey(""), grey("!")
    assert met.tobytes() != failed.tobytes()
    svg = Chart("t", "%", (Bar("a $x$ b", 1, 1, 1),), 100.0, "limit").picture("svg").decode()
    assert re.search(r"<!-- a \$x\$ b -->", svg)
