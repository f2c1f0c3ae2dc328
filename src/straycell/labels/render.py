"""From layouts to the PDF sheet, in vectors. The only module that knows qrcode.

Dates and ids come from the arguments, so the same arguments give the same bytes.
"""

from collections.abc import Sequence
from datetime import datetime
from functools import lru_cache

import qrcode
from qrcode.util import MODE_8BIT_BYTE, MODE_ALPHA_NUM, QRData

from straycell.errors import UsageFault
from straycell.labels.boxes import Box, Segment
from straycell.labels.content import LabelContent
from straycell.labels.document import Paper
from straycell.labels.layout import Layout, TextItem, lay_out
from straycell.labels.page import calibration_marks, heading_texts, page_marks
from straycell.labels.payload import Payload, cell_payload
from straycell.labels.stocks.stock import Stock

SCALES = (0.9, 1.1)
"""A printer that is off by more is set to "fit to page"."""

Part = tuple[Stock, Sequence[LabelContent]]
_LEVELS = {"H": qrcode.ERROR_CORRECT_H, "Q": qrcode.ERROR_CORRECT_Q}


@lru_cache(maxsize=256)
def symbol_matrix(payload: Payload) -> tuple[tuple[bool, ...], ...]:
    """Modules of a symbol, row by row, True where dark, without the quiet zone."""
    symbol = qrcode.QRCode(version=payload.version, error_correction=_LEVELS[payload.level], border=0)
    # Stated, so that the version follows from the payload and not from the library's guess.
    mode = MODE_ALPHA_NUM if payload.alphanumeric else MODE_8BIT_BYTE
    symbol.add_data(QRData(payload.text, mode=mode), optimize=0)
    # fit=False: a larger version than planned would not fit the label.
    symbol.make(fit=False)
    return tuple(tuple(bool(dark) for dark in row) for row in symbol.get_matrix())


def qr_matrix(code: str) -> tuple[tuple[bool, ...], ...]:
    """Modules of a bare cell code's symbol."""
    return symbol_matrix(cell_payload(code))


def sheet_pdf(
    parts: Sequence[Part], now: datetime, *, cautions: Sequence[str] = (), skip: int = 0, scale: float = 1.0
) -> bytes:
    """The labels of each stock in the order given, every stock on pages of its own, as a PDF.

    `skip` leaves the first places of the first page empty (a sheet of stickers already begun). `cautions` are in the
    lower margin of every page. Everything is drawn by `scale` about the page's middle. Raises UsageFault for no labels, a
    skip beyond the page, or a scale no printer needs.
    """
    if not any(contents for _, contents in parts):
        raise UsageFault("no labels to print", "name at least one cell")
    require_scale(scale)
    first_stock = parts[0][0]
    # A sheet of stickers already begun: the places that are gone must not be printed on.
    if not 0 <= skip < first_stock.per_page:
        raise UsageFault(
            f"a page of '{first_stock.name}' has no place {skip + 1}", f"start at 1 to {first_stock.per_page}"
        )
    sheets = [sheet for n, part in enumerate(parts) for sheet in _sheets(part, skip if n == 0 else 0)]
    pdf = Paper("straycell labels", now, (first_stock.page_width_mm, first_stock.page_height_mm), scale)
    for number, (stock, places, contents) in enumerate(sheets, 1):
        pdf.add_page(format=(stock.page_width_mm, stock.page_height_mm))
        _draw_marks(pdf, stock, places, heading_texts(stock, now, number, len(sheets)), cautions)
        for place, content in zip(places, contents, strict=True):
            draw_label(pdf, lay_out(content, stock.shape), *stock.origin_mm(place))
    return pdf.finished()


def require_scale(scale: float) -> float:
    """The factor itself. Raises UsageFault for one that no printer needs."""
    if not SCALES[0] <= scale <= SCALES[1]:
        raise UsageFault(
            f"a scale of {scale:g} is not a printer's error",
            f"write a factor from {SCALES[0]} to {SCALES[1]}",
        )
    return scale


_Sheet = tuple[Stock, list[int], Sequence[LabelContent]]


def _sheets(part: Part, skip: int) -> list[_Sheet]:
    """Pages of one stock: the places that are used, and what is on them."""
    stock, contents = part
    sheets: list[_Sheet] = []
    done = 0
    while done < len(contents):
        first = skip if not sheets else 0
        count = min(stock.per_page - first, len(contents) - done)
        sheets.append((stock, list(range(first, first + count)), contents[done : done + count]))
        done += count
    return sheets


def calibration_pdf(now: datetime, page_mm: tuple[float, float], scale: float = 1.0) -> bytes:
    """A page with two lines to measure, so that a printer's own scale becomes known."""
    pdf = Paper("straycell label calibration", now, page_mm, scale)
    pdf.add_page()
    _draw(pdf, *calibration_marks(*page_mm))
    return pdf.finished()


def _draw_marks(
    pdf: Paper, stock: Stock, places: list[int], headings: Sequence[str], cautions: Sequence[str]
) -> None:
    marks = page_marks(stock, places, headings, cautions)
    pdf.set_draw_color(170)
    pdf.set_line_width(0.1)
    for segment in marks.cuts:
        pdf.draw_line(*segment)
    _draw(pdf, marks.texts, marks.ruler)


def _draw(pdf: Paper, texts: Sequence[TextItem], lines: Sequence[Segment]) -> None:
    for item in texts:
        pdf.draw_text(item)
    pdf.set_draw_color(0)
    pdf.set_line_width(0.15)
    for segment in lines:
        pdf.draw_line(*segment)


def draw_label(pdf: Paper, layout: Layout, x: float, y: float) -> None:
    """One label with its upper left corner at (x, y) mm."""
    pdf.set_fill_color(0)
    for box in layout.fills:
        pdf.draw_fill(Box(x + box.x, y + box.y, box.width, box.height))
    for item in layout.texts:
        pdf.draw_text(item, x, y)
    if layout.symbol is not None:
        dark = layout.symbol.dark
        pdf.draw_symbol(symbol_matrix(layout.symbol.payload), x + dark.x, y + dark.y, layout.symbol.module_mm)
