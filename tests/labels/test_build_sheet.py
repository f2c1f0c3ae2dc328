"""The build sheet: every position drawn once with a code a camera reads, in order, all on the page."""

from __future__ import annotations

from itertools import combinations

import pypdfium2
import pytest
import zxingcpp
from hypothesis import given
from hypothesis import strategies as st
from tests.drawing import examples
from tests.labels.label_bench import CODES, NOW

from straycell.labels.boxes import Box
from straycell.labels.build_sheet import (
    PAGE_HEIGHT_MM,
    PAGE_WIDTH_MM,
    BuildSheet,
    Section,
    SheetCell,
    SheetPage,
    lay_out_sheet,
    wrapped,
)
from straycell.labels.build_sheet_render import build_sheet_pdf
from straycell.labels.faces import text_width


def sheet(series: int, parallel: int, *sections: Section, title: str = "reed-bed gauge") -> BuildSheet:
    """An invented pack with figures on every cell."""
    groups = tuple(
        tuple(
            SheetCell(CODES[s * parallel + p], ("2400 mAh, 45.2 mohm", "3.801 V at rest"))
            for p in range(parallel)
        )
        for s in range(series)
    )
    return BuildSheet(title, ("needs 8 h",), groups, sections, "foot")


def pages(content: BuildSheet) -> list[SheetPage]:
    return lay_out_sheet(content, text_width)


def overlap(one: Box, other: Box) -> bool:
    """By more than rounding."""
    return (
        min(one.right, other.right) - max(one.x, other.x) > 0.01
        and min(one.bottom, other.bottom) - max(one.y, other.y) > 0.01
    )


@pytest.mark.parametrize("shape", [(1, 1), (2, 2), (13, 4), (2, 40), (1, 60), (60, 1)])
def test_every_cell_is_drawn_once_and_all_stands_on_the_page(shape: tuple[int, int]) -> None:
    """Large packs go on over several pages; nothing leaves one, no two symbols touch."""
    content = sheet(*shape, Section("Checks", ("a long line " * 20, "short"), True))
    drawn = pages(content)
    codes = [code for page in drawn for code, _ in page.symbols]
    assert codes == sorted(codes, key=CODES.index) and len(codes) == shape[0] * shape[1]
    for page in drawn:
        boxes = [t.box for t in page.texts] + [b for _, b in page.symbols] + page.outlines + page.bars
        assert all(b.x >= 10 and b.y >= 10 and b.right <= PAGE_WIDTH_MM - 10 for b in boxes)
        assert all(b.bottom <= PAGE_HEIGHT_MM - 10 for b in boxes)
        assert not any(overlap(a, b) for (_, a), (_, b) in combinations(page.symbols, 2))
        texts = [t.box for t in page.texts]
        assert not any(overlap(a, b) for a, b in combinations(texts, 2))
        assert not any(overlap(t, b) for t in texts for _, b in page.symbols)


def test_a_camera_reads_every_code_of_the_sheet() -> None:
    """The printed page as pixels, read by an independent reader."""
    document = pypdfium2.PdfDocument(build_sheet_pdf(sheet(3, 4), NOW))
    found = [
        symbol.text
        for page in document
        for symbol in zxingcpp.read_barcodes(page.render(scale=300 / 72, grayscale=True).to_pil())
    ]
    assert sorted(found) == sorted(CODES[:12])


def test_the_wires_run_from_the_plus_of_a_group_to_the_minus_of_the_next() -> None:
    """Three groups: two wires of three parts each, from a top bar to a bottom bar."""
    page = pages(sheet(3, 2))[0]
    assert len(page.wires) == 6
    tops, bottoms = ({round(bar.y, 3) for bar in page.bars[k::2]} for k in (0, 1))
    for start in (0, 3):
        first, last = page.wires[start], page.wires[start + 2]
        assert any(t < first[1] < t + 2 for t in tops) and any(b < last[3] < b + 2 for b in bottoms)


def test_the_parts_of_a_large_group_are_joined_at_both_bars() -> None:
    """One group over several columns is one group."""
    page = pages(sheet(1, 40))[0]
    assert {t.text for t in page.texts} >= {
        "in parallel (1 of 3)",
        "in parallel (2 of 3)",
        "in parallel (3 of 3)",
    }
    assert len(page.wires) == 4


def test_the_same_sheet_is_the_same_file() -> None:
    """Byte for byte; dates come from the argument."""
    content = sheet(2, 2, Section("Checks", ("one",), True))
    assert build_sheet_pdf(content, NOW) == build_sheet_pdf(content, NOW)


@pytest.mark.parametrize("title", ["x" * 80, "Ω mega lamp \u2603", "a"])
def test_any_title_a_project_may_have_is_printed(title: str) -> None:
    """As long as a name may be, with letters the font lacks."""
    assert build_sheet_pdf(sheet(1, 2, title=title), NOW).startswith(b"%PDF")


@examples(30)
@given(st.text(alphabet="abc defghij", max_size=120), st.floats(8, 60))
def test_wrapped_lines_fit_and_lose_nothing(text: str, width: float) -> None:
    """However long a word is."""
    lines = wrapped(text, 3.0, width, text_width)
    assert all(text_width(line, 3.0, False) <= width for line in lines)
    assert "".join("".join(lines).split()) == "".join(text.split())


def test_ticks_are_drawn_for_checks_alone() -> None:
    """A square before each line to be ticked, none before a note."""
    plain, ticked = (pages(sheet(1, 1, Section("S", ("a", "b"), ticks)))[0] for ticks in (False, True))
    assert len(ticked.outlines) - len(plain.outlines) == 2


@pytest.mark.parametrize(
    ("shape", "words"), [((1, 1), "the cell"), ((1, 3), "in parallel"), ((2, 1), "group 2")]
)
def test_the_head_of_a_column_says_what_it_is(shape: tuple[int, int], words: str) -> None:
    """One cell alone is parallel to nothing."""
    document = pypdfium2.PdfDocument(build_sheet_pdf(sheet(*shape), NOW))
    told = document[0].get_textpage().get_text_range()
    assert words in told
    assert ("in parallel" in told) == (words == "in parallel")
