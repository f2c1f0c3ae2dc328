"""Where things stand on a label: laws that hold for any content, any sound shape and any font."""

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from tests.labels.label_bench import CODES, every_kind_of_label

from straycell.errors import BadData
from straycell.labels.boxes import Box, stripes
from straycell.labels.content import DO_NOT_USE, MOST_LINES, LabelContent, Line, Role, blank_content
from straycell.labels.faces import text_width
from straycell.labels.layout import ELLIPSIS, LEAST_SIZE_MM, Layout, lay_out
from straycell.labels.payload import MODULES, QUIET_MODULES
from straycell.labels.stock import LabelShape, find_stock, stock_faults, stocks

EPS = 1e-6
WRAP = find_stock("plain-wrap").shape
FREE_ROLES = [role for role in Role if role not in (Role.WARNING, Role.WRITE_IN)]


def even_font(text: str, size_mm: float, bold: bool) -> float:
    """A made-up font in which every letter is as wide as it is in bold Helvetica on average."""
    return len(text) * size_mm * (0.62 if bold else 0.56)


def overlap(a: Box, b: Box) -> bool:
    return a.x < b.right - EPS and b.x < a.right - EPS and a.y < b.bottom - EPS and b.y < a.bottom - EPS


def is_sound(layout: Layout) -> bool:
    """Nothing overlaps, nothing enters the rim that stays unprinted."""
    shape, boxes = layout.shape, layout.boxes()
    inside = all(
        box.x >= shape.inset_mm - EPS
        and box.y >= shape.inset_mm - EPS
        and box.right <= shape.width_mm - shape.inset_mm + EPS
        and box.bottom <= shape.height_mm - shape.inset_mm + EPS
        for box in boxes
    )
    return inside and not any(overlap(a, b) for n, a in enumerate(boxes) for b in boxes[n + 1 :])


@st.composite
def shapes(draw: st.DrawFn) -> LabelShape:
    """Label shapes the stock check lets through."""
    module = draw(st.floats(0.33, 1.5))
    inset = draw(st.floats(0.0, 3.0))
    height = draw(st.floats(max(12.0, 29 * module), 80.0)) + 2 * inset + 0.01
    width = 29 * module + 2 * inset + draw(st.floats(16.1, 90.0))
    return LabelShape(width, height, inset, module)


texts = st.text(st.characters(codec="latin-1", exclude_categories=["C"]), max_size=60)
wordings = st.lists(st.tuples(texts, st.one_of(st.just(""), texts)), min_size=1, max_size=3)
lines = st.builds(lambda w, role: Line(tuple(w), role), wordings, st.sampled_from(FREE_ROLES))
plain = st.builds(
    lambda body, code: LabelContent(code, tuple(body)),
    st.lists(lines, max_size=MOST_LINES),
    st.sampled_from(CODES),
)
hatched = st.builds(
    lambda line, code: LabelContent(code, (Line(((DO_NOT_USE, ""),), Role.WARNING), line), hatched=True),
    lines,
    st.sampled_from(CODES),
)
blanks = st.sampled_from(CODES).map(blank_content)


@given(st.one_of(plain, hatched, blanks), shapes(), st.sampled_from([even_font, text_width]))
def test_nothing_overlaps_and_nothing_leaves_the_label(
    content: LabelContent, shape: LabelShape, font: object
) -> None:
    """Any text, any sound shape, two fonts: always laid out, always sound, the code always in full."""
    layout = lay_out(content, shape, font)  # type: ignore[arg-type]
    assert is_sound(layout)
    assert layout.texts[0].text == content.code
    assert len(layout.hatches) == (2 if content.hatched else 0)


@given(st.one_of(plain, hatched), shapes())
def test_text_is_never_printed_below_the_smallest_size_nor_wider_than_its_box(
    content: LabelContent, shape: LabelShape
) -> None:
    """Shrunk to 5 pt at the least, then cut."""
    for item in lay_out(content, shape, even_font).texts:
        assert item.size_mm >= LEAST_SIZE_MM - EPS
        assert even_font(item.text, item.size_mm, item.bold) <= item.box.width + EPS


@given(st.one_of(plain, hatched), shapes())
def test_half_a_figure_is_never_printed(content: LabelContent, shape: LabelShape) -> None:
    """A figure or an outcome stands whole with its date, or as an ellipsis alone."""
    whole = (Role.FIGURE, Role.OUTCOME)
    assume(all(line.role in (*whole, Role.WARNING) for line in content.lines))
    allowed = {part for line in content.lines for pair in line.wordings for part in pair}
    shown = {item.text for item in lay_out(content, shape, even_font).texts}
    assert shown <= allowed | {content.code, ELLIPSIS}


@given(plain, shapes())
def test_a_date_never_stands_without_its_figure(content: LabelContent, shape: LabelShape) -> None:
    """What stands at the right edge belongs to the text on the same baseline."""
    layout = lay_out(content, shape, even_font)
    pairs = {pair for line in content.lines for pair in line.wordings}
    for item in layout.texts:
        if item.x_mm > layout.qr.right + EPS:
            row = [other for other in layout.texts if other.baseline_mm == item.baseline_mm]
            left = next((other.text for other in row if other is not item), "")
            assert (left, item.text) in pairs


@pytest.mark.parametrize("stock", stocks().values(), ids=stocks().keys())
def test_the_quiet_zone_is_four_modules_wide_on_all_sides(stock: object) -> None:
    """ISO/IEC 18004: nothing but paper within four modules of the symbol, and all of it on the label."""
    shape = stock.shape  # type: ignore[attr-defined]
    for content in [*every_kind_of_label(), blank_content(CODES[0])]:
        layout = lay_out(content, shape, text_width)
        quiet = QUIET_MODULES * shape.module_mm
        symbol = layout.symbol
        assert symbol.width == pytest.approx(MODULES * shape.module_mm)
        around = Box(symbol.x - quiet, symbol.y - quiet, symbol.width + 2 * quiet, symbol.height + 2 * quiet)
        assert not any(overlap(around, box) for box in layout.boxes()[1:])
        assert min(around.x, around.y) >= shape.inset_mm - EPS
        assert around.bottom <= shape.height_mm - shape.inset_mm + EPS


@pytest.mark.parametrize("stock", stocks().values(), ids=stocks().keys())
def test_no_shipped_stock_cuts_what_a_label_really_says(stock: object) -> None:
    """The widest figures, the longest names: no ellipsis on any shipped sheet."""
    for content in every_kind_of_label():
        layout = lay_out(content, stock.shape, text_width)  # type: ignore[attr-defined]
        assert not any(ELLIPSIS in item.text for item in layout.texts)
        assert len(layout.texts) >= 1 + len(content.lines)


def test_long_text_is_cut_with_an_ellipsis_and_figures_are_not() -> None:
    """A kind of 200 letters is cut; a figure of 200 digits is replaced."""
    long = LabelContent(
        CODES[0], (Line((("N" * 200, ""),), Role.KIND), Line((("9" * 200, "2026-01-01"),), Role.FIGURE))
    )
    _, kind, figure = lay_out(long, WRAP, text_width).texts
    assert kind.text.endswith("N" + ELLIPSIS)
    assert figure.text == ELLIPSIS


def test_the_longest_wording_that_fits_is_taken() -> None:
    """On the wide label the uncertainty stands, on a narrow one only the value."""
    line = Line((("2010 ± 60 mAh of a good cell", "2026-01-01"), ("2010 mAh", "2026-01-01")), Role.FIGURE)
    content = LabelContent(CODES[0], (line,))
    large = lay_out(content, find_stock("plain-large").shape, text_width)
    small = lay_out(content, find_stock("plain-small").shape, text_width)
    assert large.texts[1].text == line.wordings[0][0]
    assert small.texts[1].text == line.wordings[1][0]


def test_lines_of_neighbouring_labels_stand_level() -> None:
    """A label with fewer lines keeps the baselines of a full one."""
    full, short = (
        lay_out(LabelContent(CODES[0], (Line((("NMC 18650", ""),), Role.KIND),) * n), WRAP, text_width)
        for n in (4, 2)
    )
    assert [t.baseline_mm for t in short.texts] == pytest.approx([t.baseline_mm for t in full.texts[:3]])


def test_all_codes_of_a_sheet_are_of_one_size_and_the_largest_text() -> None:
    """A narrow code is not set larger than a wide one."""
    found = [lay_out(blank_content(code), WRAP, text_width).texts for code in CODES[:40]]
    assert len({round(items[0].size_mm, 6) for items in found}) == 1
    assert all(items[0].size_mm > 1.5 * max(i.size_mm for i in items[1:]) for items in found)


@pytest.mark.parametrize("width", [18.0, 20.0])
def test_a_label_too_small_for_its_code_or_warning_is_refused(width: float) -> None:
    """Such a shape is a fault of the stock too; laying out says so instead of cutting a code."""
    shape = LabelShape(width, 15.0, 0.5, 0.45)
    assert stock_faults_of(shape)
    with pytest.raises(BadData):
        lay_out(every_kind_of_label()[0], shape, text_width)


def test_lines_that_do_not_fit_below_one_another_are_refused() -> None:
    """Twenty lines on a small label are a mistake of the caller, not something to hide."""
    many = LabelContent(CODES[0], (Line((("word", ""),), Role.NOTE),) * 20)
    with pytest.raises(BadData, match="one below the other"):
        lay_out(many, WRAP, text_width)


def stock_faults_of(shape: LabelShape) -> list[str]:
    from dataclasses import replace

    return stock_faults(replace(find_stock("roll-50x20"), shape=shape))


@given(st.floats(0, 50), st.floats(0, 50), st.floats(0.5, 60), st.floats(0.5, 8), st.floats(0.2, 3))
def test_hatching_stays_in_its_band_and_fills_half_of_it(
    x: float, y: float, width: float, height: float, bar: float
) -> None:
    """Bars as wide as the gaps: over a long band half the area is dark, within a bar at either end."""
    box = Box(x, y, width, height)
    bars = list(stripes(box, bar))
    corners = [corner for polygon in bars for corner in polygon]
    assert all(x - EPS <= cx <= box.right + EPS and y - EPS <= cy <= box.bottom + EPS for cx, cy in corners)
    dark = sum(polygon_area(polygon) for polygon in bars)
    assert abs(dark - box.width * box.height / 2) <= bar * height + EPS


def polygon_area(corners: list[tuple[float, float]]) -> float:
    """The shoelace formula."""
    ring = zip(corners, corners[1:] + corners[:1], strict=True)
    return abs(sum(ax * by - bx * ay for (ax, ay), (bx, by) in ring)) / 2
