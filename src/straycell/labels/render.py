"""From layouts to files: the PDF sheet, in vectors, and the one-bit PNG of a single label.

The only module that knows qrcode, fpdf2 and Pillow. Dates and ids come from the arguments, so the same
arguments give the same bytes.
"""

from __future__ import annotations

import io
import warnings
from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime
from functools import lru_cache

import qrcode
from PIL import Image, ImageDraw, ImageFont, UnidentifiedImageError
from qrcode.util import MODE_ALPHA_NUM, QRData

from straycell.errors import BadData, UsageFault
from straycell.labels.boxes import stripes
from straycell.labels.content import LabelContent, blank_content
from straycell.labels.document import Paper
from straycell.labels.faces import advances, face_file, face_name, shown, text_width
from straycell.labels.layout import Layout, TextItem, lay_out
from straycell.labels.page import heading_text, page_marks
from straycell.labels.payload import MODULES, QUIET_MODULES, cell_payload
from straycell.labels.stock import LEAST_MODULE_MM, LabelShape, Stock, find_stock

MM_PER_INCH = 25.4
SINGLE_STOCK = "roll-50x20"
LEAST_DPI, MOST_DPI = 150, 1200
MOST_PIXELS = 80_000_000
STRIPE_SHARE = 0.55
_LEVELS = {"H": qrcode.ERROR_CORRECT_H, "Q": qrcode.ERROR_CORRECT_Q}


@lru_cache(maxsize=256)
def qr_matrix(code: str) -> tuple[tuple[bool, ...], ...]:
    """Modules of a cell code's symbol, row by row, True where dark, without the quiet zone."""
    payload = cell_payload(code)
    symbol = qrcode.QRCode(version=1, error_correction=_LEVELS[payload.level], border=0)
    symbol.add_data(QRData(payload.text, mode=MODE_ALPHA_NUM), optimize=0)
    symbol.make(fit=False)
    return tuple(tuple(bool(dark) for dark in row) for row in symbol.get_matrix())


# --- PDF -------------------------------------------------------------------------------------------


def sheet_pdf(
    contents: Sequence[LabelContent],
    stock: Stock,
    now: datetime,
    *,
    cautions: Sequence[str] = (),
    skip: int = 0,
) -> bytes:
    """The labels in the order given, on as many pages as it takes, as a PDF.

    `skip` leaves the first places of the first page empty (a sheet of stickers already begun). `cautions`
    stand in the lower margin of every page. Raises UsageFault for no labels or a skip beyond the page.
    """
    if not contents:
        raise UsageFault("no labels to print", "name at least one cell")
    if not 0 <= skip < stock.per_page:
        raise UsageFault(f"cannot skip {skip} places of a sheet of {stock.per_page}", "skip fewer")
    pdf = Paper("straycell labels", now, (stock.page_width_mm, stock.page_height_mm))
    pages = -(-(skip + len(contents)) // stock.per_page)
    for page in range(pages):
        first = max(page * stock.per_page, skip)
        last = min((page + 1) * stock.per_page, skip + len(contents))
        pdf.add_page()
        places = [place - page * stock.per_page for place in range(first, last)]
        _draw_marks(pdf, stock, places, heading_text(stock, now, page + 1, pages), cautions)
        for place, content in zip(places, contents[first - skip : last - skip], strict=True):
            _draw_label(pdf, lay_out(content, stock.shape, text_width), content.code, *stock.origin_mm(place))
    return pdf.finished()


def blank_pdf(
    codes: Sequence[str],
    stock: Stock,
    now: datetime,
    *,
    cautions: Sequence[str] = (),
    skip: int = 0,
) -> bytes:
    """Labels for codes set aside, so that cells are marked before they are measured."""
    return sheet_pdf([blank_content(code) for code in codes], stock, now, cautions=cautions, skip=skip)


def _draw_marks(pdf: Paper, stock: Stock, places: list[int], heading: str, cautions: Sequence[str]) -> None:
    marks = page_marks(stock, places, heading, cautions, text_width)
    for item in marks.texts:
        pdf.draw_text(item)
    for segments, grey, width in ((marks.cuts, 170, 0.1), (marks.ruler, 0, 0.15)):
        pdf.set_draw_color(grey)
        pdf.set_line_width(width)
        for segment in segments:
            pdf.line(*segment)


def _draw_label(pdf: Paper, layout: Layout, code: str, x: float, y: float) -> None:
    pdf.set_fill_color(0)
    for item in layout.texts:
        pdf.draw_text(item, x, y)
    for rule in layout.rules:
        pdf.rect(x + rule.x, y + rule.y, rule.width, rule.height, style="F")
    for band in layout.hatches:
        for corners in stripes(band, STRIPE_SHARE * band.height):
            pdf.polygon([(x + cx, y + cy) for cx, cy in corners], style="F")
    symbol = layout.symbol
    pdf.draw_symbol(qr_matrix(code), x + symbol.x, y + symbol.y, layout.shape.module_mm)


# --- PNG -------------------------------------------------------------------------------------------


def single_png(content: LabelContent, dpi: int, stock: Stock | None = None) -> bytes:
    """One label as a one-bit PNG for a label printer of `dpi` dots per inch (203 and 300 are usual).

    A module is a whole number of dots. Raises UsageFault when the resolution makes that impossible.
    """
    shape = _in_whole_dots((stock or find_stock(SINGLE_STOCK)).shape, dpi)
    dot = MM_PER_INCH / dpi
    image = Image.new("1", (round(shape.width_mm / dot), round(shape.height_mm / dot)), 1)
    pen = ImageDraw.Draw(image)
    pen.fontmode = "1"
    layout = lay_out(content, shape, text_width)
    for item in layout.texts:
        _pen_text(pen, item, dot)
    for rule in layout.rules:
        top = round(rule.y / dot)
        pen.line([(round(rule.x / dot), top), (round(rule.right / dot) - 1, top)], fill=0)
    for band in layout.hatches:
        for corners in stripes(band, STRIPE_SHARE * band.height):
            pen.polygon([(round(cx / dot), round(cy / dot)) for cx, cy in corners], fill=0)
    _pen_symbol(pen, layout, content.code, dot)
    out = io.BytesIO()
    image.save(out, format="PNG", dpi=(dpi, dpi), optimize=False)
    return out.getvalue()


def _in_whole_dots(shape: LabelShape, dpi: int) -> LabelShape:
    """The shape with its module rounded to whole dots, still large enough and still fitting."""
    if not LEAST_DPI <= dpi <= MOST_DPI:
        raise UsageFault(f"{dpi} dpi is no resolution of a label printer", "203 and 300 are usual: --dpi 203")
    dot = MM_PER_INCH / dpi
    room = min(shape.width_mm, shape.height_mm) - 2 * shape.inset_mm
    nearest = round(shape.module_mm / dot)
    for dots in (nearest, nearest - 1, nearest + 1):
        fitted = replace(shape, module_mm=dots * dot)
        if fitted.module_mm >= LEAST_MODULE_MM and fitted.qr_mm <= room:
            return fitted
    raise UsageFault(f"a readable QR symbol does not fit this label at {dpi} dpi", "use a larger label")


@lru_cache(maxsize=64)
def _font(name: str, size_dots: float) -> ImageFont.FreeTypeFont:
    return ImageFont.truetype(face_file(name), size_dots)


def _pen_text(pen: ImageDraw.ImageDraw, item: TextItem, dot: float) -> None:
    """Letter by letter at the place it has in the PDF: Pillow would round every width to whole dots."""
    name, size = face_name(item.bold, item.mono), item.size_mm / dot
    left, baseline = item.x_mm / dot, round(item.baseline_mm / dot)
    for letter in shown(item.text):
        pen.text((round(left), baseline), letter, fill=int(item.white), font=_font(name, size), anchor="ls")
        left += advances(name)[ord(letter)] * size


def _pen_symbol(pen: ImageDraw.ImageDraw, layout: Layout, code: str, dot: float) -> None:
    dots = round(layout.shape.module_mm / dot)
    left = round(layout.qr.x / dot) + QUIET_MODULES * dots
    top = round(layout.qr.y / dot) + QUIET_MODULES * dots
    for row, dark in enumerate(qr_matrix(code)):
        for column in range(MODULES):
            if dark[column]:
                x, y = left + column * dots, top + row * dots
                pen.rectangle([x, y, x + dots - 1, y + dots - 1], fill=0)


def grey_picture(raw: bytes, name: str) -> Image.Image:
    """The bytes of a picture file as grey levels, for reading codes. Raises BadData when it is none."""
    try:
        with warnings.catch_warnings(action="ignore"), Image.open(io.BytesIO(raw)) as picture:
            if picture.width * picture.height > MOST_PIXELS:
                raise BadData(f"{name} has {picture.width} x {picture.height} pixels", "make it smaller")
            return picture.convert("L")
    except (UnidentifiedImageError, OSError, ValueError, Image.DecompressionBombError):
        raise BadData(f"{name} is not a picture that can be read", "use PNG or JPEG") from None
