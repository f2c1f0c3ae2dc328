"""The picture of the stock: the same for the same cells, each outcome with a mark of its own, README's is current."""

from __future__ import annotations

import io
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image
from tests.bless_pictures import FOLDER, PICTURES, sample_bench

from straycell.acceptance.reasons import Outcome
from straycell.pictures.stock import Point, Scatter

POINTS = [Point(2.0, 0.03, Outcome.PACK), Point(1.0, 0.2, Outcome.DISCARD)]


@pytest.mark.parametrize("kind", ["png", "svg"])
@pytest.mark.parametrize("points", [[], POINTS])
def test_the_same_cells_give_the_same_bytes(kind: str, points: list[Point]) -> None:
    """An empty stock is drawn too."""
    first, second = (Scatter(tuple(points), 1).picture(kind) for _ in range(2))  # type: ignore[arg-type]
    assert first == second
    assert first.startswith(b"\x89PNG" if kind == "png" else b"<?xml")


def test_every_outcome_looks_different_in_grey() -> None:
    """A printer without colours: the pictures of one cell differ by outcome alone."""
    grey = set()
    for outcome in Outcome:
        drawn = Image.open(io.BytesIO(Scatter((Point(2.0, 0.03, outcome),), 0).picture(dpi=60))).convert("L")
        # the mark itself, without the legend that names it
        grey.add(drawn.crop((100, 40, 400, 330)).point(lambda level: 255 if level > 200 else 0).tobytes())
    assert len(grey) == len(Outcome)


@given(st.permutations(POINTS))
def test_a_picture_is_known_by_what_it_shows(points: list[Point]) -> None:
    """Whatever the order; another count of cells is another picture."""
    drawn = [
        Scatter(tuple(cells), more).picture(dpi=20) for cells, more in ((points, 1), (POINTS, 1), (points, 2))
    ]
    first, same, other = (Image.open(io.BytesIO(each)).info["Description"] for each in drawn)
    assert first == same != other


def test_the_strong_cells_lie_upper_left_in_the_terminal() -> None:
    """2000 mAh at 30 mohm above and left of 1000 mAh at 200 mohm; each outcome has a sign, the ends of the scale a figure."""
    lines = Scatter(tuple(POINTS), 0).lines(70, 12, plain=True)
    strong = next((n, line.index("P")) for n, line in enumerate(lines) if "P" in line)
    weak = next((n, line.index("x")) for n, line in enumerate(lines) if "x" in line)
    assert strong[0] < weak[0] and strong[1] < weak[1]
    assert lines[12].split() == ["30", "200", "mohm"]
    assert [line.strip() for line in lines[13:]] == ["P pack (1)", "x discard (1)"]
    assert "".join(lines).isascii()


def test_of_cells_on_one_spot_the_one_that_may_do_most_is_shown() -> None:
    """Three cells alike in figures."""
    alike = [Point(2.0, 0.03, outcome) for outcome in (Outcome.HOLD, Outcome.PACK, Outcome.DISCARD)]
    drawn = "".join(line.partition("|")[2] for line in Scatter(tuple(alike), 0).lines(60, 8, plain=True)[:8])
    assert "P" in drawn and "h" not in drawn
    assert Scatter((), 0).lines() == ["no cell has both a capacity and a resistance that count today"]


def test_the_pictures_of_the_readme_are_current(tmp_path: Path) -> None:
    """By the digest of what each shows, since letters may differ between versions of the library.

    Else: python -m tests.bless_pictures.
    """
    bench, readme = sample_bench(tmp_path), (FOLDER.parent / "README.md").read_text(encoding="utf-8")
    for name, draw in PICTURES.items():
        assert f"(sample_db/{name})" in readme
        with Image.open(FOLDER / name) as there, Image.open(io.BytesIO(draw(bench))) as now:
            assert there.info["Description"] == now.info["Description"], name
            assert there.size == now.size, name
