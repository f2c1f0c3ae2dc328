"""The PDF sheet: read back by an independent reader from an independent renderer's pixels."""

import hashlib
import os
import subprocess
import sys
from dataclasses import replace
from datetime import timedelta, timezone
from functools import cache

import pypdfium2
import pytest
from PIL import Image, ImageChops, ImageDraw
from tests.drawing import thinned
from tests.labels.label_bench import (
    CODES,
    NOW,
    a_label,
    blanks_of,
    codes_in,
    days,
    every_kind_of_label,
    find_stock,
    grey_at,
    is_dark,
    page_texts,
    pages,
    read_symbols,
    sheet_of,
)

from straycell.acceptance.reasons import Outcome
from straycell.errors import BadData, UsageFault
from straycell.labels.boxes import Box
from straycell.labels.content import DO_NOT_USE, LabelContent, blank_content
from straycell.labels.layout import Layout, lay_out
from straycell.labels.page import RULER_MM, UNPRINTABLE_MM, heading_texts, page_marks
from straycell.labels.payload import link_payload
from straycell.labels.render import calibration_pdf, qr_matrix, sheet_pdf
from straycell.labels.stocks.files import shipped
from straycell.labels.stocks.stock import Stock, Where

CAUTIONS = ("Insulate the ends before anything else.", "Local rules and a qualified person come first.")
ON_CELLS = {n: s for n, s in shipped().items() if s.where is not Where.BOX and not n.endswith("-letter")}
ALL_STOCKS = pytest.mark.parametrize("stock", ON_CELLS.values(), ids=ON_CELLS)


def moved(box: Box, x: float, y: float) -> Box:
    return Box(box.x + x, box.y + y, box.width, box.height)


@cache
def every_kind_on(name: str) -> bytes:
    """A sheet with all kinds of labels; a worker makes one of each stock and looks at it in several ways."""
    stock = ON_CELLS[name]
    return sheet_of(every_kind_of_label(stock.forms[0]), stock, NOW, cautions=CAUTIONS)


def placed(contents: list[LabelContent], stock: Stock) -> list[tuple[Layout, float, float]]:
    """Layouts of one page with their corners."""
    return [
        (lay_out(content, stock.shape), *stock.origin_mm(place)) for place, content in enumerate(contents)
    ]


@pytest.mark.parametrize(
    ("stock", "dpi"),
    [*((name, 300) for name in ON_CELLS), *((name, 600) for name in thinned(list(ON_CELLS)))],
)
def test_every_label_is_read_back_at_every_resolution(stock: str, dpi: int) -> None:
    """All kinds of labels on all stocks; version 1, level H."""
    contents = every_kind_of_label(ON_CELLS[stock].forms[0])
    found = [symbol for page in pages(every_kind_on(stock), dpi) for symbol in read_symbols(page)]
    assert sorted(symbol.text for symbol in found) == sorted(content.code for content in contents)
    assert {(symbol.version, symbol.level) for symbol in found} == {("1", "H")}


@ALL_STOCKS
@pytest.mark.parametrize("dpi", [203, 300])
def test_every_module_has_its_colour_at_its_centre(stock: Stock, dpi: int) -> None:
    """Also where a module is no whole number of pixels: 441 centres a label, none wrong."""
    contents = every_kind_of_label(stock.forms[0])[: stock.per_page]
    page = pages(every_kind_on(stock.name), dpi)[0]
    module, dot = stock.shape.module_mm, 25.4 / dpi
    for content, (layout, x, y) in zip(contents, placed(contents, stock), strict=True):
        assert layout.symbol is not None
        seen = tuple(
            tuple(
                grey_at(
                    page,
                    int((x + layout.symbol.dark.x + (column + 0.5) * module) / dot),
                    int((y + layout.symbol.dark.y + (row + 0.5) * module) / dot),
                )
                < 128
                for column in range(21)
            )
            for row in range(21)
        )
        assert seen == qr_matrix(content.code)


def test_a_full_sheet_of_65_is_read_back_code_by_code() -> None:
    """Sixty-five blank labels on one page, all found."""
    pdf = blanks_of(CODES[:65], find_stock("sticker-65"), NOW)
    (page,) = pages(pdf, 200)
    assert sorted(codes_in([page])) == sorted(CODES[:65])


def test_a_long_list_goes_on_on_further_pages() -> None:
    """One label more than fits, and every page says which it is."""
    stock = find_stock("sticker-65")
    pdf = blanks_of(CODES[:66], stock, NOW)
    found = [codes_in([page]) for page in pages(pdf, 150)]
    assert [len(codes) for codes in found] == [65, 1]
    assert found[1] == [CODES[65]]
    assert ["page 1 of 2" in page_texts(pdf)[0], "page 2 of 2" in page_texts(pdf)[1]] == [True, True]


def test_skipped_places_stay_empty_and_later_pages_are_full() -> None:
    """A sheet of stickers already begun: the third place is the first to be printed."""
    stock = find_stock("plain-large")
    contents = [blank_content(code) for code in CODES[:12]]
    first, second = pages(sheet_of(contents, stock, NOW, skip=2), 150)
    assert (len(codes_in([first])), len(codes_in([second]))) == (10, 2)
    assert not is_dark(first, moved(Box(1, 1, 80, 40), *stock.origin_mm(0)), 150)
    assert is_dark(first, moved(Box(1, 1, 80, 40), *stock.origin_mm(2)), 150)


@ALL_STOCKS
def test_the_quiet_zone_is_white_in_the_pixels_and_the_symbol_fills_its_square(stock: Stock) -> None:
    """Four modules of paper on every side, measured at 600 dpi; the three finder corners are dark."""
    contents = every_kind_of_label(stock.forms[0])[: stock.per_page]
    page = pages(every_kind_on(stock.name), 600)[0]
    module = stock.shape.module_mm
    for layout, x, y in placed(contents, stock):
        assert layout.symbol is not None
        qr, symbol = moved(layout.symbol.box, x, y), moved(layout.symbol.dark, x, y)
        for side in (
            Box(qr.x, qr.y, qr.width, 4 * module),
            Box(qr.x, symbol.bottom, qr.width, 4 * module),
            Box(qr.x, qr.y, 4 * module, qr.height),
            Box(symbol.right, qr.y, 4 * module, qr.height),
        ):
            assert not is_dark(page, side.shrunk(0.1), 600)
        last = 20 * module
        for dx, dy in ((0.0, 0.0), (last, 0.0), (0.0, last)):
            assert is_dark(page, Box(symbol.x + dx, symbol.y + dy, module, module), 600)


@ALL_STOCKS
def test_ink_stays_in_the_boxes_of_the_layout(stock: Stock) -> None:
    """The layout is what gets printed: with its boxes painted over, the labels are blank."""
    contents = every_kind_of_label(stock.forms[0])[: stock.per_page]
    page = pages(sheet_of(contents, replace(stock, cut_lines=False)), 300)[0]
    dot = 25.4 / 300
    pen = ImageDraw.Draw(page)
    for layout, x, y in placed(contents, stock):
        assert layout.symbol is not None
        for box in (*layout.fills, layout.symbol.dark, *(item.box for item in layout.texts)):
            at = moved(box, x, y)
            low = at.bottom + 0.35 * at.height  # brackets, a Q and the like reach below the baseline
            pen.rectangle([at.x / dot - 1, at.y / dot - 2, at.right / dot + 1, low / dot + 1], fill=255)
    for layout, x, y in placed(contents, stock):
        assert not is_dark(page, moved(Box(0, 0, layout.shape.width_mm, layout.shape.height_mm), x, y), 300)


def test_a_discard_stands_in_a_black_field_without_figures() -> None:
    """The words are extractable text; most of the field is black, on another label most of it is white."""
    stock = find_stock("plain-wrap")
    contents = [a_label(Outcome.DISCARD), a_label(Outcome.PACK, CODES[1])]
    text = page_texts(sheet_of(contents[:1], stock))[0]
    assert DO_NOT_USE in text and "never charge" in text
    assert "mAh" not in text and "until" not in text
    (page,) = pages(sheet_of(contents, stock), 300)
    field = Box(8, 2, 34, 15)
    black, white = (dark_share(page, moved(field, x, y), 300) for _, x, y in placed(contents, stock))
    assert black > 0.6 and white < 0.4


def test_a_hold_prints_not_yet_and_no_figure() -> None:
    """What another program extracts from the page names no figure and no outcome."""
    text = page_texts(sheet_of([a_label(Outcome.HOLD)], find_stock("roll-50x20")))[0]
    assert "NOT YET" in text and CODES[0] in text
    assert "mAh" not in text and "until" not in text
    assert not any(outcome.word in text.lower() for outcome in Outcome)


def test_a_good_cell_prints_what_the_shelf_needs() -> None:
    """Code, chemistry and form, capacity, resistance, month of the last test, the outcome with its date."""
    text = page_texts(sheet_of([a_label(Outcome.PACK)], find_stock("plain-wrap")))[0]
    for part in (
        CODES[0],
        "NMC 18650",
        "2010",
        "mAh",
        "± 60 mAh",
        "48 mΩ dc",
        "2026-09",
        "PACK until 2027-08-30",
    ):
        assert part in text


@pytest.mark.parametrize("name", [name for name, stock in shipped().items() if stock.bottom_mm > 0])
def test_every_page_carries_the_cautions_in_its_margin(name: str) -> None:
    """On both pages, below the last row, in the part of the paper a printer reaches."""
    stock = find_stock(name)
    texts = page_texts(blanks_of(CODES[:2], stock, NOW, cautions=CAUTIONS, skip=stock.per_page - 1))
    assert len(texts) == 2
    for text in texts:
        assert all(caution in text for caution in CAUTIONS)
    marks = page_marks(stock, [0], ["head"], CAUTIONS)
    foot = [item for item in marks.texts if item.text in CAUTIONS]
    assert all(item.box.y >= stock.page_height_mm - stock.bottom_mm for item in foot)
    assert all(item.box.bottom <= stock.page_height_mm - UNPRINTABLE_MM + 0.2 for item in foot)


def test_a_long_caution_is_wrapped_and_too_long_a_one_ends_in_an_ellipsis() -> None:
    """No line is wider than the margin's room, none leaves the page."""
    stock = find_stock("sticker-65")
    for words_in_it in (20, 40, 2000):
        marks = page_marks(stock, [], ["head"], [" ".join(["caution"] * words_in_it)])
        foot = [item for item in marks.texts if item.baseline_mm > stock.top_mm]
        assert foot
        assert all(item.box.right <= stock.page_width_mm - UNPRINTABLE_MM for item in foot)
        assert all(item.box.bottom <= stock.page_height_mm - 4.0 for item in foot)
        assert foot[-1].text.endswith("...") == (words_in_it == 2000)


def test_every_page_with_a_margin_says_what_it_is() -> None:
    """A narrow stock gets a shorter heading, never none: a page without its stock and number is mixed up."""
    for stock in shipped().values():
        marks = page_marks(stock, [0], heading_texts(stock, NOW, 12, 12), ())
        heads = [item.text for item in marks.texts if item.baseline_mm < stock.top_mm]
        assert len(heads) in (0, 2) and (not heads or (stock.name in heads[0] and "12 of 12" in heads[0]))
        assert heads or not marks.ruler


def test_the_ruler_is_as_long_as_it_says() -> None:
    """A sheet printed at the wrong scale shows at once: the line measures 50 mm on the page's pixels too."""
    stock = find_stock("plain-wrap")
    line = page_marks(stock, [], ["head"], ()).ruler[0]
    assert line[2] - line[0] == pytest.approx(50.0)
    assert pytest.approx(50.0) == RULER_MM
    (page,) = pages(blanks_of(CODES[:1], stock, NOW), 254)
    row = round(line[1] * 10)
    dark = [n for n in range(page.width) if grey_at(page, n, row) < 160 and n > line[0] * 10 - 5]
    assert (max(dark) - min(dark)) / 10 == pytest.approx(50.0, abs=0.4)


def test_marks_keep_clear_of_the_labels() -> None:
    """Head, ruler and cautions lie in the margins of every stock that has them."""
    for stock in shipped().values():
        marks = page_marks(stock, [0], ["straycell labels"], CAUTIONS)
        last = stock.page_height_mm - stock.bottom_mm
        for item in marks.texts:
            assert item.box.bottom <= stock.top_mm or item.box.y >= last
        assert all(max(y1, y2) <= stock.top_mm for _, y1, _, y2 in marks.ruler)


def test_cut_lines_outline_the_labels_that_are_used() -> None:
    """Two neighbours share an edge, which is drawn once: seven lines."""
    assert len(page_marks(find_stock("plain-wrap"), [0, 1], [], ()).cuts) == 7
    assert page_marks(find_stock("sticker-65"), [0, 1], [], ()).cuts == ()


def test_the_same_arguments_give_the_same_bytes() -> None:
    """Called twice; at another time the date in the file differs."""
    contents, stock = every_kind_of_label(), find_stock("plain-wrap")
    first = sheet_of(contents, stock, NOW, cautions=CAUTIONS)
    assert first == sheet_of(contents, stock, NOW, cautions=CAUTIONS)
    assert first != sheet_of(contents, stock, NOW + days(1), cautions=CAUTIONS)
    elsewhere = NOW.astimezone(timezone(timedelta(hours=2)))
    assert blanks_of(CODES[:1], stock, NOW) == blanks_of(CODES[:1], stock, elsewhere)


def test_another_process_in_another_zone_gives_the_same_bytes() -> None:
    """Neither the hash seed nor the machine's zone nor its clock gets into the file."""
    script = (
        "import hashlib; from tests.labels.label_bench import *;"
        "print(hashlib.sha256(sheet_of(every_kind_of_label(), find_stock('plain-wrap'), NOW)).hexdigest())"
    )
    env = {
        **os.environ,
        "PYTHONHASHSEED": "7",
        "TZ": "Pacific/Auckland",
        "PYTHONPATH": os.pathsep.join(sys.path),
    }
    done = subprocess.run([sys.executable, "-c", script], env=env, capture_output=True, text=True, check=True)
    here = sheet_of(every_kind_of_label(), find_stock("plain-wrap"), NOW)
    assert done.stdout.strip() == hashlib.sha256(here).hexdigest()


def test_no_labels_and_a_skip_beyond_the_page_are_wrong_usage() -> None:
    """Both are slips on the command line."""
    stock = find_stock("plain-large")
    with pytest.raises(UsageFault):
        sheet_of([], stock, NOW)
    for skip in (-1, stock.per_page):
        with pytest.raises(UsageFault):
            blanks_of(CODES[:1], stock, NOW, skip=skip)


def test_a_code_that_is_not_valid_is_never_printed() -> None:
    """A wrong check character would be refused at every later scan."""
    wrong = CODES[0][:-1] + ("A" if CODES[0][-1] != "A" else "B")
    with pytest.raises(BadData):
        blanks_of([wrong], find_stock("plain-wrap"), NOW)
    with pytest.raises(BadData):
        link_payload("http://b.lan", wrong)


def test_a_caution_prints_as_written_and_a_missing_glyph_stands_with_its_number() -> None:
    """Latin, Greek and Cyrillic are embedded; a sign the face lacks is named, not asked about."""
    pdf = blanks_of(CODES[:1], find_stock("plain-wrap"), NOW, cautions=["Łódź prüfen Ω Жук 容"])
    assert "Łódź prüfen Ω Жук [U+5BB9]" in page_texts(pdf)[0]


def test_the_pure_rooms_load_no_qr_and_no_pdf_library() -> None:
    """`--help` and every command but `label` must stay quick to start."""
    script = (
        "import sys; import straycell.labels.layout, straycell.labels.page, straycell.labels.reading;"
        "print([m for m in ('qrcode', 'fpdf', 'PIL', 'zxingcpp') if m in sys.modules])"
    )
    env = {**os.environ, "PYTHONPATH": os.pathsep.join(sys.path)}
    done = subprocess.run([sys.executable, "-c", script], env=env, capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


# --- geometry, parsed back from the file -----------------------------------------------------------


def paths_mm(pdf: bytes) -> list[Box]:
    """The bounds of every drawn path on the first page, in mm from its upper left corner."""
    document = pypdfium2.PdfDocument(pdf)
    page = document[0]
    height, mm = page.get_height(), 25.4 / 72
    found = []
    for thing in page.get_objects(filter=[pypdfium2.raw.FPDF_PAGEOBJ_PATH]):
        left, bottom, right, top = thing.get_bounds()
        found.append(Box(left * mm, (height - top) * mm, (right - left) * mm, (top - bottom) * mm))
    document.close()
    return found


@ALL_STOCKS
def test_the_file_holds_the_geometry_of_the_stock(stock: Stock) -> None:
    """Within 0.1 mm: every symbol has 21 modules and 4 of quiet zone to the rim; every outline is the label's."""
    codes = CODES[: min(stock.per_page, 30)]
    paths = paths_mm(blanks_of(codes, stock))
    shape, side = stock.shape, 21 * stock.shape.module_mm
    for place in range(len(codes)):
        x, y = stock.origin_mm(place)
        right = x + shape.width_mm - shape.inset_mm - 4 * shape.module_mm
        wanted = Box(right - side, y + (shape.height_mm - side) / 2, side, side)
        assert any(near(path, wanted, 0.1) for path in paths), place
        if stock.cut_lines:
            left = x - stock.tail_mm
            edge = Box(left, y, shape.width_mm + stock.tail_mm, 0.0)
            assert any(near(path, edge, 0.15) for path in paths), place


def near(one: Box, other: Box, mm: float) -> bool:
    edges = ((one.x, other.x), (one.y, other.y), (one.right, other.right), (one.bottom, other.bottom))
    return all(abs(a - b) <= mm for a, b in edges)


@pytest.mark.parametrize("scale", [0.97, 1.02])
def test_a_scale_draws_everything_by_its_factor_about_the_middle(scale: float) -> None:
    """So that a printer which is off by as much prints the stock true."""
    stock = find_stock("plain-wrap")
    plain, scaled = (paths_mm(blanks_of(CODES[:4], stock, scale=factor)) for factor in (1.0, scale))
    for before, after in zip(plain, scaled, strict=True):
        wanted = Box(
            105 + (before.x - 105) * scale,
            148.5 + (before.y - 148.5) * scale,
            before.width * scale,
            before.height * scale,
        )
        assert near(after, wanted, 0.1)


@pytest.mark.parametrize("scale", [0.5, 0.89, 1.11, float("nan")])
def test_a_scale_no_printer_needs_is_wrong_usage(scale: float) -> None:
    """Such a printer is set to fit to page; a factor would only hide that."""
    with pytest.raises(UsageFault, match="scale"):
        blanks_of(CODES[:1], find_stock("plain-wrap"), scale=scale)


@pytest.mark.parametrize("page_mm", [(210.0, 297.0), (215.9, 279.4)])
def test_the_calibration_page_has_two_lines_of_150_mm(page_mm: tuple[float, float]) -> None:
    """Across and down, parsed back; and what to do with them in words."""
    pdf = calibration_pdf(NOW, page_mm)
    paths = paths_mm(pdf)
    across = [path.x + path.width / 2 for path in paths if path.width < 1.0]
    down = [path.y + path.height / 2 for path in paths if path.height < 1.0]
    assert max(across) - min(across) == pytest.approx(150.0, abs=0.05)
    assert max(down) - min(down) == pytest.approx(150.0, abs=0.05)
    assert "--measured" in page_texts(pdf)[0]


def test_stocks_of_several_forms_make_one_file() -> None:
    """Each stock on pages of its own, all numbered through; the page sizes follow."""
    parts = [
        (find_stock("plain-wrap"), [a_label(Outcome.PACK)]),
        (find_stock("roll-36x12"), [a_label(Outcome.SOLO)]),
    ]
    pdf = sheet_pdf(parts, NOW)
    sizes = [page.size for page in pages(pdf, 72)]
    assert sizes == [(596, 842), (103, 35)]  # points, rounded up
    assert "page 1 of 2" in page_texts(pdf)[0]


def dark_share(page: Image.Image, box: Box, dpi: int) -> float:
    """Share of ink in a box (mm), 0 to 1."""
    dot = 25.4 / dpi
    area = page.crop(
        (round(box.x / dot), round(box.y / dot), round(box.right / dot), round(box.bottom / dot))
    )
    histogram = ImageChops.invert(area.convert("L")).histogram()
    return sum(level * count for level, count in enumerate(histogram)) / (255 * area.width * area.height)
