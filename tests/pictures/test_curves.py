"""Curves beside others of their kind: drawn whole in the terminal, told apart without colours, the same bytes each time."""

from __future__ import annotations

import io

import pytest
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image

from straycell.pictures.curves import Cone, Curve, Curves, Role

FALL = Curve("this", ((0.0, 4.0), (10.0, 3.0)))
FAINT = Curve("2 siblings", ((0.0, 3.9), (8.0, 3.0)), Role.FAINT)
GHOST = Curve("rated", ((0.0, 4.1), (12.0, 3.0)), Role.GHOST)
CONE = Cone("within", ((0.0, 4.0, 4.0), (10.0, 3.5, 4.0)))
SHOWN = Curves("a cell", "mAh", "V", (FAINT, GHOST, FALL), (CONE,), ("cut-off", 3.0))


def field(lines: list[str], height: int, rim: int = 9) -> list[str]:
    """The plot without its scale."""
    return [line[rim + 1 :] for line in lines[:height]]


def test_the_curve_falls_from_left_to_right_without_holes() -> None:
    """Two points over 60 columns: every column up to the end has a dot, each lower than or level with the one before."""
    lines = field(Curves("t", "h", "V", (FALL,)).lines(71, 10, plain=True), 10)
    tops = [min(n for n, line in enumerate(lines) if line[x : x + 1] == "*") for x in range(60)]
    assert tops == sorted(tops) and tops[0] == 0 and tops[-1] >= 8


def test_every_kind_of_curve_has_a_character_of_its_own_and_a_line_below() -> None:
    """Main, siblings, rating, cone and cut-off; each named once however often it is drawn."""
    twice = Curves("t", "mAh", "V", (FAINT, FAINT, GHOST, FALL), (CONE,), ("cut-off", 3.0))
    lines = twice.lines(72, 12, plain=True)
    drawn = "".join(field(lines, 12))
    assert all(sign in drawn for sign in "*.-:") and "".join(lines).isascii()
    legend = [line.strip() for line in lines[13:]]
    assert legend == [".. 2 siblings", "-- rated", "* this", ":: within", "+ cut-off 3 V"]
    assert lines[12].split() == ["0", "12", "mAh"]


def test_measured_points_are_marked() -> None:
    """A rest voltage is a point, not a line."""
    marked = Curves("t", "d", "V", (Curve("H00001K", ((1.0, 4.18), (16.0, 4.17)), marked=True),))
    assert "".join(field(marked.lines(72, 10, plain=True), 10)).count("o") == 2


@given(
    st.lists(st.tuples(st.floats(0, 1e5), st.floats(0, 5)), min_size=1, max_size=20),
    st.integers(20, 160),
    st.integers(2, 30),
    st.booleans(),
)
def test_any_curve_is_drawn_within_its_screen(
    points: list[tuple[float, float]], width: int, height: int, plain: bool
) -> None:
    """One point, a level line, a wild one: no line of the plot is wider than asked for."""
    curve = Curve("c", tuple(sorted(points)), marked=True)
    lines = Curves("t", "mAh", "V", (curve,), level=("cut-off", 3.0)).lines(width, height, plain=plain)
    assert all(len(line) <= max(width, 28) for line in lines[: max(height, 4)])


@pytest.mark.parametrize("kind", ["png", "svg"])
def test_the_same_curves_give_the_same_bytes(kind: str) -> None:
    """And nothing to draw is a picture that says so."""
    first, again = (SHOWN.picture(kind, 50) for _ in range(2))  # type: ignore[arg-type]
    assert first == again
    assert Curves("t", "d", "V", ()).picture(kind, 50) != first  # type: ignore[arg-type]


def test_the_main_curve_is_the_darkest_in_grey() -> None:
    """Of the main curve and a sibling alone, the first leaves more dark dots."""

    def dark(curve: Curve) -> int:
        drawn = Image.open(io.BytesIO(Curves("t", "d", "V", (curve,)).picture(dpi=60))).convert("L")
        return sum(drawn.crop((60, 40, 560, 300)).histogram()[:110])

    assert dark(FALL) > dark(Curve("this", FALL.points, Role.FAINT))
