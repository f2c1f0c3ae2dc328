"""Cell codes back from a picture: a scan, a photograph, or a label made here. Never a guess.

A symbol that its own error correction cannot restore is broken; one that restores to something else is foreign.
"""

from __future__ import annotations

import io
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path
from typing import TYPE_CHECKING, Any

from straycell.errors import BadData, UsageFault
from straycell.labels.payload import code_in

if TYPE_CHECKING:
    from PIL.Image import Image

Corner = tuple[int, int]
_SMALL_PX, _LARGE_PX = 1600, 3000
_TURNS_DEG = (45, 22.5)
_INK = 96
"""Of 255, once the picture is evened out: print in the shade of a round cell is darker, its paper lighter."""
_LEAST_SQUARE = 0.6
"""Area over the square of the longest side: a slant of 30 degrees leaves 0.87 of it, a bend of 60 degrees 0.95."""


@dataclass(frozen=True, slots=True)
class Found:
    """One symbol in a picture: its text, the cell code that stands for (None: foreign or broken), its corners in px."""

    text: str
    code: str | None
    broken: bool
    corners: tuple[Corner, Corner, Corner, Corner]


def read_codes(path: Path | str) -> list[str]:
    """The cell codes in a picture's QR symbols, each once, sorted. Raises as `codes_of` does."""
    return codes_of([(Path(path), read_picture(Path(path)))])


def codes_of(found: Sequence[tuple[Path, list[Found]]]) -> list[str]:
    """All codes of some pictures, each once, sorted. Raises BadData when there is none, saying what was seen."""
    codes = sorted({symbol.code for _, symbols in found for symbol in symbols if symbol.code is not None})
    if codes:
        return codes
    paths = ", ".join(str(path) for path, _ in found)
    seen = [symbol for _, symbols in found for symbol in symbols]
    foreign = [symbol for symbol in seen if not symbol.broken]
    # A foreign symbol is told apart from a broken one: the remedy is another label, not another photograph.
    if foreign:
        raise BadData(
            f"the QR symbol in {paths} is foreign, not a cell's: '{foreign[0].text[:40]}'",
            "show a label printed here",
        )
    if seen:
        raise BadData(
            f"the QR symbol in {paths} is not readable",
            "closer, sharper, evenly lit; or type the code instead",
        )
    raise BadData(f"no QR symbol found in {paths}", "closer, sharper, evenly lit; or type the code instead")


def read_picture(path: Path) -> list[Found]:
    """Every QR symbol in a picture. Raises BadData when the file is not one, UsageFault when the reader is missing."""
    # Asked first: what is missing is said before a large picture is unpacked.
    _reader()
    from straycell.labels.picture import grey_picture

    return find_symbols(grey_picture(path))


def find_symbols(picture: Image) -> list[Found]:
    """Every QR symbol in grey levels. A picture in which none is read is tried again softer, larger and turned."""
    best: list[Found] = []
    for attempt, back in _attempts(picture):
        found = [each for symbol in _read(attempt) if not is_ghost(each := _found(symbol, back))]
        read = [symbol for symbol in found if not symbol.broken]
        # A broken symbol beside a read one is mostly the same label, found once more.
        if read:
            return [
                symbol
                for symbol in found
                if not (symbol.broken and any(_overlap(symbol, one) for one in read))
            ]
        best = best or found
    return best


def _reader() -> Any:
    try:
        import zxingcpp
    except ImportError:
        raise UsageFault(
            "reading a picture needs the package zxing-cpp, which belongs to straycell and is missing",
            "install it with: pip install zxing-cpp, or type the code instead",
        ) from None
    return zxingcpp


def _read(picture: Image) -> list[Any]:
    reader = _reader()
    return list(reader.read_barcodes(picture, formats=reader.BarcodeFormat.QRCode, return_errors=True))


def _attempts(picture: Image) -> Iterator[tuple[Image, float]]:
    """The picture itself, then versions of it with the factor that leads back to its pixels (0: turned)."""
    from PIL import Image as Images
    from PIL import ImageFilter, ImageOps

    # The picture as it is comes first: filters cost time and can break a good symbol.
    yield picture, 1.0
    even = ImageOps.autocontrast(picture, cutoff=1)
    yield even.filter(ImageFilter.MedianFilter(3)), 1.0
    yield even.filter(ImageFilter.GaussianBlur(1.2)), 1.0
    longest = max(picture.size)
    # A small symbol has too few pixels a module for the reader's grid; enlarging gives it edges to find.
    if longest < _SMALL_PX:
        size = (2 * picture.width, 2 * picture.height)
        yield even.resize(size, Images.Resampling.BICUBIC).filter(ImageFilter.GaussianBlur(1.0)), 0.5
    if longest > _LARGE_PX:
        yield even.reduce(2), 2.0
    yield even.point(lambda grey: 255 * (grey > _INK)), 1.0
    # A label that lies askew in a photograph is found once the picture is turned to its rows and columns.
    for turn in _TURNS_DEG:
        yield even.rotate(turn, Images.Resampling.BICUBIC, expand=True, fillcolor=255), 0.0


def _found(symbol: Any, back: float) -> Found:
    broken = not symbol.valid
    spot = symbol.position
    points = (spot.top_left, spot.top_right, spot.bottom_right, spot.bottom_left)
    one, two, three, four = ((round(p.x * back), round(p.y * back)) for p in points)
    text = "" if broken else symbol.text
    return Found(text, None if broken else code_in(text), broken, (one, two, three, four))


def is_ghost(found: Found) -> bool:
    """True for something broken that is far from square: a gauge's fields or a row of letters, taken for finders."""
    edges = list(pairwise((*found.corners, found.corners[0])))
    area = abs(sum(x1 * y2 - x2 * y1 for (x1, y1), (x2, y2) in edges)) / 2
    return found.broken and area < _LEAST_SQUARE * max(math.dist(*edge) for edge in edges) ** 2


def _overlap(symbol: Found, other: Found) -> bool:
    """True when two symbols share a part of the picture, or the one has no place: a label seen twice, once not well."""
    if not any(x or y for x, y in symbol.corners):
        return True
    spans = [tuple(zip(*found.corners, strict=True)) for found in (symbol, other)]
    return all(min(one) <= max(two) and min(two) <= max(one) for one, two in zip(*spans, strict=True))


def marked_png(path: Path, found: Sequence[Found]) -> bytes:
    """The picture with a frame around every symbol and its code, `foreign` or `not readable` beside it."""
    from PIL import ImageDraw

    from straycell.labels.picture import grey_picture, label_font

    picture = grey_picture(path).convert("RGB")
    pen, stroke = ImageDraw.Draw(picture), max(2, max(picture.size) // 600)
    for symbol in found:
        corners = list(symbol.corners)
        if not any(x or y for x, y in corners):
            continue
        pen.line(
            [*corners, corners[0]], fill=(200, 0, 0) if symbol.code is None else (0, 110, 0), width=stroke
        )
        words = symbol.code or ("not readable" if symbol.broken else "foreign")
        left, right = min(x for x, _ in corners), max(x for x, _ in corners)
        at = (left, max(y for _, y in corners) + stroke)
        # As wide as its symbol: on a sheet of labels a larger print would hide the label below.
        font = label_font(max(12, round((right - left) / (0.62 * len(words)))))
        pen.text(at, words, fill=(0, 0, 0), font=font, stroke_width=stroke, stroke_fill=(255, 255, 255))
    out = io.BytesIO()
    picture.save(out, format="PNG")
    return out.getvalue()
