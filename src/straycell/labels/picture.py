"""A single label as a one-bit PNG for a label printer, and picture files read in. Only this module knows Pillow."""

import io
import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from functools import lru_cache
from pathlib import Path

from PIL import Image, ImageDraw, ImageFont, ImageOps, UnidentifiedImageError

from straycell.errors import BadData, UsageFault
from straycell.files.read import read_bytes
from straycell.labels.boxes import Box
from straycell.labels.content import LabelContent
from straycell.labels.faces import advances, face_file, face_name, shown
from straycell.labels.layout import Symbol, TextItem, lay_out
from straycell.labels.payload import MODULES
from straycell.labels.render import symbol_matrix
from straycell.labels.stocks.stock import LabelShape, Stock

MM_PER_INCH = 25.4
LEAST_DPI, MOST_DPI = 150, 1200
MOST_BYTES, MOST_PIXELS = 100_000_000, 80_000_000
LONGEST_PX, JPEG_QUALITY = 1600, 80
"""Of a kept photograph: a dent is seen, and a thousand of them take a third of a gigabyte."""
_CLEAR = ("RGBA", "LA", "PA", "P")


def single_png(content: LabelContent, dpi: int, stock: Stock) -> bytes:
    """One label as a one-bit PNG for a label printer of `dpi` dots per inch (203 and 300 are usual).

    A module is a whole number of dots. Raises UsageFault when the resolution makes that impossible.
    """
    # A fine stock's module is three dots of 300 dpi; with fewer dots its modules come out unequal.
    if dpi < stock.dpi:
        raise UsageFault(
            f"stock '{stock.name}' needs a printer of {stock.dpi} dpi, not {dpi}",
            f"print at --dpi {stock.dpi}, or on a larger label: --stock plain-flag",
        )
    shape = _in_whole_dots(stock.shape, dpi)
    dot = MM_PER_INCH / dpi
    image = Image.new("1", (round(shape.width_mm / dot), round(shape.height_mm / dot)), 1)
    drawing = ImageDraw.Draw(image)
    drawing.fontmode = "1"
    layout = lay_out(content, shape)
    for box in layout.fills:
        _draw_box(drawing, box, dot)
    for item in layout.texts:
        _draw_text(drawing, item, dot)
    if layout.symbol is not None:
        _draw_symbol(drawing, layout.symbol, dot)
    out = io.BytesIO()
    image.save(out, format="PNG", dpi=(dpi, dpi), optimize=False)
    return out.getvalue()


def _in_whole_dots(shape: LabelShape, dpi: int) -> LabelShape:
    """The shape with its module rounded to whole dots, still large enough and still fitting."""
    if not LEAST_DPI <= dpi <= MOST_DPI:
        raise UsageFault(f"no label printer has {dpi} dpi", "203 and 300 are usual: --dpi 203")
    dot = MM_PER_INCH / dpi
    room = min(shape.width_mm, shape.height_mm) - 2 * shape.inset_mm
    # Modules of unequal width are what readers fail on first.
    nearest = round(shape.module_mm / dot)
    for dots in (nearest, nearest - 1, nearest + 1):
        fitted = replace(shape, module_mm=dots * dot, dot_mm=dot)
        fits = fitted.qr_mm <= room and MODULES * fitted.module_mm <= shape.symbol_most_mm
        if fits and fitted.module_mm >= shape.least_module_mm:
            return fitted
    raise UsageFault(
        f"a readable QR symbol does not fit this label at {dpi} dpi", "use a larger label, or 300 dpi"
    )


def _draw_box(drawing: ImageDraw.ImageDraw, box: Box, dot: float) -> None:
    left, top = round(box.x / dot), round(box.y / dot)
    # Pillow's rectangle includes its last row and column.
    right, bottom = max(left + 1, round(box.right / dot)), max(top + 1, round(box.bottom / dot))
    drawing.rectangle([left, top, right - 1, bottom - 1], fill=0)


@lru_cache(maxsize=64)
def _font(name: str, size_dots: float) -> ImageFont.FreeTypeFont:
    return ImageFont.truetype(face_file(name), size_dots)


def _draw_text(drawing: ImageDraw.ImageDraw, item: TextItem, dot: float) -> None:
    """Letter by letter at the place it has in the PDF: Pillow would round every width to whole dots."""
    name, size = face_name(item.bold, item.mono), item.size_mm / dot
    left, baseline = item.x_mm / dot, round(item.baseline_mm / dot)
    for letter in shown(item.text):
        drawing.text(
            (round(left), baseline), letter, fill=int(item.white), font=_font(name, size), anchor="ls"
        )
        left += advances(name)[ord(letter)] * size


def _draw_symbol(drawing: ImageDraw.ImageDraw, symbol: Symbol, dot: float) -> None:
    dots = round(symbol.module_mm / dot)
    left, top = round(symbol.dark.x / dot), round(symbol.dark.y / dot)
    for row, modules in enumerate(symbol_matrix(symbol.payload)):
        for column, dark in enumerate(modules):
            if dark:
                x, y = left + column * dots, top + row * dots
                drawing.rectangle([x, y, x + dots - 1, y + dots - 1], fill=0)


def label_font(size_px: int) -> ImageFont.FreeTypeFont:
    """The face for codes, for marks in a picture."""
    return _font("code", size_px)


def grey_picture(path: Path) -> Image.Image:
    """A picture file as grey levels, for reading codes. Raises BadData when it is none, or too large."""
    with _opened(path) as picture:
        return picture.convert("L")


def small_photograph(path: Path) -> bytes:
    """A photograph upright, at most 1600 px long, as JPEG, without what a camera adds: place, time, device, previews.

    Raises BadData when the file is no picture, or too large.
    """
    with _opened(path) as picture:
        # A JPEG is unpacked at a half, a quarter or an eighth at once: the memory for the rest is never taken.
        picture.draft("RGB", (LONGEST_PX, LONGEST_PX))
        # How the phone was held is a note beside the pixels, and goes with all other notes.
        upright = ImageOps.exif_transpose(picture).convert("RGBA" if picture.mode in _CLEAR else "RGB")
        upright.thumbnail((LONGEST_PX, LONGEST_PX))
        # Onto a fresh picture: a scaled one keeps comments and profiles, which are written out again.
        clean = Image.new("RGB", upright.size, "white")
        clean.paste(upright, mask=upright if upright.mode == "RGBA" else None)
        out = io.BytesIO()
        clean.save(out, format="JPEG", quality=JPEG_QUALITY, optimize=True)
    return out.getvalue()


@contextmanager
def _opened(path: Path) -> Iterator[Image.Image]:
    """A picture file within its bounds; a fault while it is unpacked in the block is named as well."""
    raw = read_bytes(path, f"picture {path}", MOST_BYTES)
    if raw.startswith(b"%PDF-"):
        raise BadData(
            f"{path} is a PDF, not a picture",
            "make a picture of the page first (PNG or JPEG), then read that",
        )
    try:
        with warnings.catch_warnings(action="ignore"), Image.open(io.BytesIO(raw)) as picture:
            if picture.width * picture.height > MOST_PIXELS:
                raise BadData(f"{path} has {picture.width} x {picture.height} pixels", "make it smaller")
            yield picture
    except (UnidentifiedImageError, OSError, ValueError, SyntaxError, Image.DecompressionBombError):
        raise BadData(f"{path} is not a picture that can be read", "use PNG or JPEG") from None
