"""Where things stand on a label: laws that hold for any cell and any sound shape."""

import math
from dataclasses import replace

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from tests.labels.label_bench import (
    CODES,
    FIGURES,
    TODAY,
    a_cell,
    a_label,
    a_verdict,
    every_kind_of_label,
    words,
)

from straycell.acceptance.figures import Figures
from straycell.acceptance.reasons import Outcome
from straycell.cells import Chemistry, Form
from straycell.errors import BadData, UsageFault
from straycell.labels.boxes import Box, dashes, frame
from straycell.labels.content import (
    Face,
    LabelContent,
    Place,
    Purpose,
    blank_content,
    box_content,
    label_content,
)
from straycell.labels.faces import code_width, text_width
from straycell.labels.layout import LEAST_SIZE_MM, Layout, TextItem, lay_out
from straycell.labels.payload import MODULES, QUIET_MODULES, link_payload
from straycell.labels.stocks.files import shipped
from straycell.labels.stocks.stock import LabelShape, Stock, Where
from straycell.quantities import Measured
from straycell.readings import Method

EPS = 1e-6
STOCKS = shipped()
ON_CELLS = {name: stock for name, stock in STOCKS.items() if stock.where is not Where.BOX}
ALL_STOCKS = pytest.mark.parametrize("stock", ON_CELLS.values(), ids=ON_CELLS)
SMALL, CAP = 0.547, 0.729


def overlap(a: Box, b: Box) -> bool:
    return a.x < b.right - EPS and b.x < a.right - EPS and a.y < b.bottom - EPS and b.y < a.bottom - EPS


def inside(box: Box, rim: Box) -> bool:
    return (
        box.x >= rim.x - EPS
        and box.y >= rim.y - EPS
        and box.right <= rim.right + EPS
        and box.bottom <= rim.bottom + EPS
    )


def is_sound(layout: Layout) -> bool:
    """No two texts overlap, none stands on black unless it is white, nothing enters the quiet zone or the rim."""
    shape = layout.shape
    rim = Box(0, 0, shape.width_mm, shape.height_mm).shrunk(shape.inset_mm)
    texts = [item.box for item in layout.texts]
    apart = not any(overlap(a, b) for n, a in enumerate(texts) for b in texts[n + 1 :])
    for item in layout.texts:
        black = [fill for fill in layout.fills if overlap(fill, item.box)]
        apart &= all(inside(item.box, fill) for fill in black) if item.white else not black
    quiet = layout.symbol.box if layout.symbol else None
    everything = [*texts, *layout.fills]
    clear = quiet is None or not any(overlap(quiet, box) for box in everything)
    return apart and clear and all(inside(box, rim) for box in [*everything, *([quiet] if quiet else [])])


@st.composite
def shapes(draw: st.DrawFn) -> LabelShape:
    """Label shapes the stock check lets through."""
    module = draw(st.floats(0.25, 1.2))
    inset = draw(st.floats(0.0, 3.0))
    height = draw(st.floats(max(8.0, 29 * module), 60.0)) + 2 * inset + 0.01
    width = 29 * module + 2 * inset + draw(st.floats(9.1, 90.0))
    return LabelShape(width, height, inset, module, least_module_mm=0.25)


figures = st.builds(
    Figures,
    st.one_of(st.none(), st.builds(Measured, st.floats(0.02, 30), st.floats(0.0, 0.5))),
    st.just(FIGURES.capacity_at),
    st.booleans(),
    st.one_of(st.none(), st.builds(Measured, st.floats(0.001, 2), st.floats(0.0, 0.1))),
    st.sampled_from(Method),
    st.just(FIGURES.resistance_at),
)
markings = st.text(st.characters(exclude_categories=["C"]), max_size=60)


@st.composite
def contents(draw: st.DrawFn) -> LabelContent:
    """Any cell with any figures, for any purpose on a cell."""
    if draw(st.integers(0, 9)) == 0:
        return blank_content(draw(st.sampled_from(CODES)))
    cell = a_cell(
        chemistry=draw(st.sampled_from(Chemistry)), form=draw(st.sampled_from(Form)), marking=draw(markings)
    )
    verdict = a_verdict(draw(st.sampled_from(Outcome)))
    purpose = draw(st.sampled_from([Purpose.SHELF, Purpose.TINY, Purpose.BUILD]))
    place = Place(draw(markings), 13, 13, 40, 40) if purpose is Purpose.BUILD else None
    return label_content(cell, verdict, draw(figures), today=TODAY, purpose=purpose, place=place)


@given(contents(), shapes())
def test_nothing_overlaps_and_nothing_leaves_the_label(content: LabelContent, shape: LabelShape) -> None:
    """Any cell, any sound shape: sound, or refused because the texts do not fit; the code always stands in full."""
    try:
        layout = lay_out(content, shape)
    except BadData:
        assume(False)
        return
    assert is_sound(layout)
    assert content.code in {item.text for item in layout.texts}


@given(contents(), shapes())
def test_no_print_is_smaller_than_5_pt_and_the_headline_is_the_largest(
    content: LabelContent, shape: LabelShape
) -> None:
    """Rather no label than one that nobody can read; what decides at the shelf is seen first."""
    try:
        texts = lay_out(content, shape).texts
    except BadData:
        assume(False)
        return
    assert all(item.size_mm >= LEAST_SIZE_MM - EPS for item in texts if item.text != content.unit)
    heads = {row for wording in content.headline for row in wording.split("\n")}
    largest = max(texts, key=lambda item: item.size_mm)
    assert largest.text in heads


@given(contents(), shapes())
def test_a_text_is_printed_whole_or_not_at_all(content: LabelContent, shape: LabelShape) -> None:
    """Half a figure is a wrong figure: every text is one of its wordings; only optional ones may be missing."""
    try:
        shown = {item.text for item in lay_out(content, shape).texts}
    except BadData:
        assume(False)
        return
    heads = {row for wording in content.headline for row in wording.split("\n")}
    allowed = heads | {content.unit, *content.rules} | {w for line in content.lines for w in line.wordings}
    assert shown <= allowed
    for line in content.lines:
        assert line.optional or set(line.wordings) & shown


@ALL_STOCKS
def test_every_kind_of_label_fits_on_every_stock(stock: Stock) -> None:
    """The widest figures, the longest names, each purpose; nothing needed is left out."""
    for content in [*every_kind_of_label(stock.forms[0]), blank_content(CODES[0])]:
        assert is_sound(lay_out(content, stock.shape))


@ALL_STOCKS
def test_the_quiet_zone_is_four_modules_wide_on_all_sides(stock: Stock) -> None:
    """ISO/IEC 18004: nothing but paper within four modules of the symbol, and all of it on the label."""
    shape = stock.shape
    for content in [*every_kind_of_label(stock.forms[0]), blank_content(CODES[0])]:
        layout = lay_out(content, shape)
        assert layout.symbol is not None
        quiet, dark = QUIET_MODULES * shape.module_mm, layout.symbol.dark
        assert dark.width == pytest.approx(MODULES * shape.module_mm)
        around = Box(dark.x - quiet, dark.y - quiet, dark.width + 2 * quiet, dark.height + 2 * quiet)
        assert not any(overlap(around, box) for box in [*layout.fills, *(item.box for item in layout.texts)])
        assert inside(around, Box(0, 0, shape.width_mm, shape.height_mm).shrunk(shape.inset_mm))


def figure_mm(stock: Stock) -> float:
    """Height of the capacity's digits."""
    item = next(
        item
        for item in lay_out(a_label(Outcome.PACK, form=stock.forms[0]), stock.shape).texts
        if item.text == "2010"
    )
    return CAP * item.size_mm


@pytest.mark.parametrize("name", [name for name in ON_CELLS if name != "sticker-65"])
def test_the_capacity_is_three_millimetres_high_on_every_stock(name: str) -> None:
    """Read at a metre."""
    assert figure_mm(STOCKS[name]) >= 3.0


def test_small_print_is_as_large_as_the_law_asks_of_small_packages() -> None:
    """0.9 mm in small letters below 80 cm2 (Regulation (EU) 1169/2011, article 13), a fifth more but on the shortest cell."""
    for name, stock in ON_CELLS.items():
        least = min(
            item.size_mm
            for item in lay_out(a_label(Outcome.PACK, form=stock.forms[0]), stock.shape).texts
            if item.text != "mAh"
        )
        assert SMALL * least >= (0.9 if name.startswith("plain-short") else 1.2 * 0.9), name


@ALL_STOCKS
def test_the_gauge_stands_at_the_edge_and_fills_from_below(stock: Stock) -> None:
    """Three equal fields over the whole height; as many are black as the outcome says."""
    for outcome, filled in ((Outcome.LIGHT, 1), (Outcome.SOLO, 2), (Outcome.PACK, 3)):
        layout = lay_out(a_label(outcome), stock.shape)
        black = [fill for fill in layout.fills if min(fill.width, fill.height) > 1.0]
        assert len(black) == filled
        assert {round(fill.x, 6) for fill in black} == {round(stock.shape.inset_mm, 6)}
        lowest = max(black, key=lambda fill: fill.bottom)
        assert lowest.bottom == pytest.approx(stock.shape.height_mm - stock.shape.inset_mm)


def test_all_codes_of_a_blank_sheet_are_of_one_size_and_the_largest_text() -> None:
    """The face for codes is monospaced: no code is set larger than another."""
    found = [lay_out(blank_content(code), STOCKS["plain-wrap"].shape).texts for code in CODES[:40]]
    assert len({round(items[0].size_mm, 6) for items in found}) == 1
    assert all(items[0].mono and items[0].size_mm > 1.5 * items[1].size_mm for items in found)


def test_a_box_label_takes_the_whole_width_for_its_name() -> None:
    """No symbol, no gauge."""
    layout = lay_out(box_content("round, good", "metal box", 400.0, 33), STOCKS["plain-box"].shape)
    assert layout.symbol is None and layout.fills == () and is_sound(layout)
    assert max(item.size_mm for item in layout.texts) * CAP > 6.0


@pytest.mark.parametrize("width", [20.5, 22.0])
def test_a_label_too_small_for_its_texts_is_refused(width: float) -> None:
    """Laying out says so instead of cutting a code or a warning."""
    with pytest.raises(BadData, match=r"do not fit|does not fit"):
        for content in every_kind_of_label():
            lay_out(content, LabelShape(width, 14.0, 0.5, 0.44))


def test_an_address_gets_the_modules_its_label_allows() -> None:
    """A round cell's label keeps its symbol within 60 degrees; a longer address goes on a flag, or nowhere."""
    short = replace(a_label(Outcome.PACK), payload=link_payload("https://b.lan", CODES[0]))
    wrap = STOCKS["plain-wrap"].shape
    layout = lay_out(short, wrap)
    assert layout.symbol is not None and layout.symbol.payload.version == 2
    assert layout.symbol.dark.width <= math.pi * 18.2 / 6 + EPS
    assert layout.symbol.module_mm >= 0.33 and is_sound(layout)
    long = replace(short, payload=link_payload("https://bench.some-long-name.example/straycell", CODES[0]))
    assert long.payload is not None and long.payload.version > 3
    with pytest.raises(UsageFault, match="too long"):
        lay_out(long, wrap)
    assert is_sound(lay_out(long, STOCKS["plain-flag"].shape))


@given(st.floats(0, 50), st.floats(0, 50), st.floats(4, 60), st.floats(4, 60))
def test_a_frame_and_its_dashes_stay_inside_and_end_in_the_corners(
    x: float, y: float, width: float, height: float
) -> None:
    """Dashed or not: nothing outside, the four corners are dark."""
    box = Box(x, y, width, height)
    for bars in (frame(box, 0.4), list(dashes(box, 1.8, 1.1, 0.5))):
        assert all(inside(bar, box) for bar in bars)
        for cx, cy in ((x, y), (box.right, y), (x, box.bottom), (box.right, box.bottom)):
            assert any(b.x - EPS <= cx <= b.right + EPS and b.y - EPS <= cy <= b.bottom + EPS for b in bars)


def test_widths_are_measured_in_the_face_that_prints() -> None:
    """A code in the face for codes, all else in the bold text face."""

    def width(item: TextItem) -> float:
        return (
            code_width(item.text, item.size_mm)
            if item.mono
            else text_width(item.text, item.size_mm, item.bold)
        )

    for content in every_kind_of_label():
        assert words(content)
        for item in lay_out(content, STOCKS["plain-wrap"].shape).texts:
            assert item.box.width == pytest.approx(width(item))
            assert item.mono == (item.text == content.code)
    assert {content.face for content in every_kind_of_label()} == {Face.GAUGE, Face.NOT_YET, Face.DO_NOT_USE}
