"""The one-bit PNG of a single label for a label printer."""

import itertools

import pytest
from PIL import Image, ImageDraw
from tests.labels.label_bench import CODES, Symbol, a_label, every_kind_of_label, grey_at, png, read_symbols

from straycell.acceptance.reasons import Outcome
from straycell.errors import UsageFault
from straycell.labels.content import LabelContent, blank_content
from straycell.labels.render import qr_matrix, single_png
from straycell.labels.stock import LEAST_MODULE_MM, find_stock, stocks

LABELS = [*every_kind_of_label(), blank_content(CODES[20])]
DPIS = [203, 300, 600]


def symbol_area(picture: Image.Image, dpi: int) -> tuple[int, int, int]:
    """(left, top, dots a module) of the symbol: the first dark column from the left belongs to a finder pattern."""
    dark = picture.convert("L").point(lambda level: 255 if level < 128 else 0)
    half = dark.crop((0, 0, round(picture.width * 0.29), picture.height))
    area = half.getbbox()
    assert area is not None
    left, top = area[:2]
    length = next(n for n in range(picture.width) if grey_at(picture, left + n, top) == 255)
    assert length % 7 == 0
    return left, top, length // 7


@pytest.mark.parametrize("dpi", DPIS)
@pytest.mark.parametrize("content", LABELS, ids=lambda c: c.code)
def test_a_single_label_is_read_back(content: LabelContent, dpi: int) -> None:
    """Every kind of label at the usual resolutions, without an error to correct."""
    (symbol,) = read_symbols(png(single_png(content, dpi)))
    assert symbol == Symbol(content.code, "1", "H", clean=True)


@pytest.mark.parametrize(("dpi", "size"), [(203, (400, 160)), (300, (591, 236))])
def test_it_is_one_bit_and_of_the_labels_size_in_dots(dpi: int, size: tuple[int, int]) -> None:
    """50 x 20 mm: 50 / 25.4 x dpi dots; the file names its resolution so that it prints at the right size."""
    picture = png(single_png(a_label(Outcome.PACK), dpi))
    assert (picture.mode, picture.size, picture.format) == ("1", size, "PNG")
    assert picture.info["dpi"] == pytest.approx((dpi, dpi), abs=0.5)


@pytest.mark.parametrize("dpi", DPIS)
def test_modules_are_whole_dots_and_exactly_the_symbol(dpi: int) -> None:
    """Pixel by pixel the symbol is its matrix enlarged; a module is large enough for a telephone."""
    content = a_label(Outcome.SOLO)
    picture = png(single_png(content, dpi))
    left, top, dots = symbol_area(picture, dpi)
    assert dots * 25.4 / dpi >= LEAST_MODULE_MM
    for row, modules in enumerate(qr_matrix(content.code)):
        for column, dark in enumerate(modules):
            x, y = left + column * dots, top + row * dots
            cell = picture.crop((x, y, x + dots, y + dots)).convert("L")
            assert cell.getextrema() == ((0, 0) if dark else (255, 255))


@pytest.mark.parametrize("dpi", DPIS)
@pytest.mark.parametrize("content", LABELS, ids=lambda c: c.code)
def test_four_modules_of_white_surround_the_symbol(content: LabelContent, dpi: int) -> None:
    """ISO/IEC 18004, counted in dots, and all of it on the label."""
    picture = png(single_png(content, dpi))
    left, top, dots = symbol_area(picture, dpi)
    quiet, side = 4 * dots, 21 * dots
    assert left >= quiet
    assert top >= quiet
    assert top + side + quiet <= picture.height
    around = picture.convert("L").crop((left - quiet, top - quiet, left + side + quiet, top + side + quiet))
    around.paste(255, (quiet, quiet, quiet + side, quiet + side))
    assert around.getextrema() == (255, 255)


@pytest.mark.parametrize("dpi", DPIS)
def test_the_rim_stays_white(dpi: int) -> None:
    """A label printer is off by up to a millimetre: nothing stands in the rim, less two dots for round letters."""
    rim = int(find_stock("roll-50x20").shape.inset_mm * dpi / 25.4) - 2
    for content in LABELS:
        picture = png(single_png(content, dpi)).convert("L")
        ImageDraw.Draw(picture).rectangle(
            [rim, rim, picture.width - rim - 1, picture.height - rim - 1], fill=255
        )
        assert picture.getextrema() == (255, 255)


@pytest.mark.parametrize("name", stocks())
def test_a_single_label_can_be_cut_from_any_stock(name: str) -> None:
    """The size follows the stock's label."""
    stock = find_stock(name)
    picture = png(single_png(a_label(Outcome.PACK), 300, stock))
    assert picture.size == (
        round(stock.shape.width_mm / 25.4 * 300),
        round(stock.shape.height_mm / 25.4 * 300),
    )
    assert [symbol.text for symbol in read_symbols(picture)] == [CODES[0]]


def test_a_discard_is_hatched_and_a_good_cell_is_not() -> None:
    """About half of the topmost printed rows right of the symbol is dark, in many runs."""
    runs = {}
    for outcome in (Outcome.DISCARD, Outcome.PACK):
        picture = png(single_png(a_label(outcome), 300))
        y = round(1.6 / 25.4 * 300)
        row = [grey_at(picture, x, y) for x in range(200, picture.width)]
        runs[outcome] = sum(1 for a, b in itertools.pairwise(row) if a != b)
    assert runs[Outcome.DISCARD] >= 16
    assert runs[Outcome.PACK] < runs[Outcome.DISCARD]


def test_the_same_arguments_give_the_same_bytes() -> None:
    """No date gets into the picture."""
    assert single_png(a_label(Outcome.LIGHT), 203) == single_png(a_label(Outcome.LIGHT), 203)


@pytest.mark.parametrize("dpi", [-203, 0, 72, 149, 1201, 10**9])
def test_a_resolution_no_label_printer_has_is_wrong_usage(dpi: int) -> None:
    """Too coarse for a module, or so fine that the picture would fill the memory."""
    with pytest.raises(UsageFault) as fault:
        single_png(a_label(Outcome.PACK), dpi)
    assert fault.value.remedy


@pytest.mark.parametrize("dpi", range(150, 1201, 37))
def test_every_resolution_in_between_works(dpi: int) -> None:
    """Whole dots, a readable module and the quiet zone at any of them."""
    assert [s.text for s in read_symbols(png(single_png(blank_content(CODES[5]), dpi)))] == [CODES[5]]
