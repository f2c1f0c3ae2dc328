"""The one-bit PNG of a single label for a label printer."""

import pytest
from PIL import ImageDraw
from tests.labels.label_bench import (
    CODES,
    Symbol,
    a_label,
    every_kind_of_label,
    find_stock,
    png,
    read_symbols,
)

from straycell.acceptance.reasons import Outcome
from straycell.cells import Form
from straycell.errors import UsageFault
from straycell.labels.content import LabelContent, blank_content
from straycell.labels.picture import single_png
from straycell.labels.render import qr_matrix
from straycell.labels.stocks.files import shipped
from straycell.labels.stocks.stock import LEAST_MODULE_MM, Where

ROLL = find_stock("roll-50x20")
LABELS = [*every_kind_of_label(), blank_content(CODES[20])]
DPIS = [203, 300, 600]


def symbol_area(content: LabelContent, dpi: int) -> tuple[int, int, int]:
    """(left, top, dots a module) of the symbol, searched in the pixels from the right, where it ends at its quiet zone."""
    picture = png(single_png(content, dpi, ROLL)).convert("L")
    inked = [any(picture.crop((x, 0, x + 1, picture.height)).histogram()[:128]) for x in range(picture.width)]
    right = max(x for x, ink in enumerate(inked) if ink)
    left = next(x for x in range(right, 0, -1) if inked[x] and not any(inked[max(0, x - dpi // 25) : x]))
    column = picture.crop((left, 0, left + 1, picture.height)).point(lambda level: 255 - level)
    box = column.getbbox()
    assert box is not None
    side = right - left + 1
    assert side % 21 == 0
    return left, box[1], side // 21


@pytest.mark.parametrize("dpi", DPIS)
@pytest.mark.parametrize("content", LABELS, ids=lambda c: c.code)
def test_a_single_label_is_read_back(content: LabelContent, dpi: int) -> None:
    """Every kind of label at the usual resolutions, without an error to correct."""
    (symbol,) = read_symbols(png(single_png(content, dpi, ROLL)))
    assert symbol == Symbol(content.code, "1", "H", clean=True)


@pytest.mark.parametrize(("dpi", "size"), [(203, (400, 160)), (300, (591, 236))])
def test_it_is_one_bit_and_of_the_labels_size_in_dots(dpi: int, size: tuple[int, int]) -> None:
    """50 x 20 mm: 50 / 25.4 x dpi dots; the file names its resolution so that it prints at the right size."""
    picture = png(single_png(a_label(Outcome.PACK), dpi, ROLL))
    assert (picture.mode, picture.size, picture.format) == ("1", size, "PNG")
    assert picture.info["dpi"] == pytest.approx((dpi, dpi), abs=0.5)


@pytest.mark.parametrize("dpi", DPIS)
def test_modules_are_whole_dots_and_exactly_the_symbol(dpi: int) -> None:
    """Pixel by pixel the symbol is its matrix enlarged; a module is large enough for a telephone."""
    content = a_label(Outcome.SOLO)
    picture = png(single_png(content, dpi, ROLL))
    left, top, dots = symbol_area(content, dpi)
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
    picture = png(single_png(content, dpi, ROLL))
    left, top, dots = symbol_area(content, dpi)
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
        picture = png(single_png(content, dpi, ROLL)).convert("L")
        ImageDraw.Draw(picture).rectangle(
            [rim, rim, picture.width - rim - 1, picture.height - rim - 1], fill=255
        )
        assert picture.getextrema() == (255, 255)


@pytest.mark.parametrize("name", [name for name, stock in shipped().items() if stock.where is not Where.BOX])
def test_a_single_label_can_be_cut_from_any_stock(name: str) -> None:
    """The size follows the stock's label."""
    stock = find_stock(name)
    picture = png(single_png(a_label(Outcome.PACK, form=stock.forms[0]), 300, stock))
    assert picture.size == (
        round(stock.shape.width_mm / 25.4 * 300),
        round(stock.shape.height_mm / 25.4 * 300),
    )
    assert [symbol.text for symbol in read_symbols(picture)] == [CODES[0]]


def test_a_discard_is_a_black_field_and_a_good_cell_is_not() -> None:
    """Most of the middle is black, with white letters; on a good cell most of it is white."""
    shares = {}
    for outcome in (Outcome.DISCARD, Outcome.PACK):
        picture = png(single_png(a_label(outcome), 300, ROLL)).convert("L")
        field = picture.crop((120, 30, 380, picture.height - 30))
        shares[outcome] = field.histogram()[0] / (field.width * field.height)
    assert shares[Outcome.DISCARD] > 0.55 > 0.45 > shares[Outcome.PACK]


def test_a_printer_too_coarse_for_a_thin_cells_label_is_wrong_usage() -> None:
    """Modules of 0.25 mm are two dots of 203 dpi: too coarse to be read."""
    with pytest.raises(UsageFault, match="300 dpi, not 203") as fault:
        single_png(a_label(Outcome.PACK, form=Form.F10440), 203, find_stock("roll-36x12"))
    assert fault.value.remedy


def test_the_same_arguments_give_the_same_bytes() -> None:
    """No date gets into the picture."""
    assert single_png(a_label(Outcome.LIGHT), 203, ROLL) == single_png(a_label(Outcome.LIGHT), 203, ROLL)


@pytest.mark.parametrize("dpi", [-203, 0, 72, 149, 1201, 10**9])
def test_a_resolution_no_label_printer_has_is_wrong_usage(dpi: int) -> None:
    """Too coarse for a module, or so fine that the picture would fill the memory."""
    with pytest.raises(UsageFault) as fault:
        single_png(a_label(Outcome.PACK), dpi, ROLL)
    assert fault.value.remedy


@pytest.mark.parametrize("dpi", range(150, 1201, 37))
def test_every_resolution_in_between_works(dpi: int) -> None:
    """Whole dots, a readable module and the quiet zone at any of them."""
    assert [s.text for s in read_symbols(png(single_png(blank_content(CODES[5]), dpi, ROLL)))] == [CODES[5]]
