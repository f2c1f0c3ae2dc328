"""Photographs of labels as a telephone takes them, made here from the printed page: turned, soft, noisy, scratched,
seen at a slant, bent around a cell. The physics is this file's own; nothing of the package is used but the page.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime

import numpy as np
import pypdfium2
from PIL import Image, ImageFilter

from straycell.labels.content import LabelContent, blank_content
from straycell.labels.layout import lay_out
from straycell.labels.render import sheet_pdf
from straycell.labels.stocks.stock import Stock

NOW = datetime(2026, 10, 4, 18, 30, tzinfo=UTC)
SIDE, FINDER = 21, 8
MOST_CODEWORDS = 8
"""What a version 1 symbol restores at level H (ISO/IEC 18004, table 9)."""

Grey = np.ndarray


@dataclass(frozen=True)
class Photo:
    """A label's picture in grey levels and where its symbol stands, in pixels: left, top, module."""

    grey: Grey
    left: float
    top: float
    module: float


def alone(stock: Stock) -> Stock:
    """The stock's label as a page of its own."""
    shape = stock.shape
    return replace(
        stock,
        page_width_mm=shape.width_mm,
        page_height_mm=shape.height_mm,
        columns=1,
        rows=1,
        left_mm=0.0,
        top_mm=0.0,
        tail_mm=0.0,
        cut_lines=False,
    )


def photos(contents: Sequence[LabelContent], stock: Stock, dpi: int) -> list[Photo]:
    """Each label as it comes out of a printer of `dpi`."""
    document = pypdfium2.PdfDocument(sheet_pdf([(alone(stock), contents)], NOW))
    pages = [document[n].render(scale=dpi / 72, grayscale=True).to_pil() for n in range(len(document))]
    document.close()
    found = []
    for content, page in zip(contents, pages, strict=True):
        symbol = lay_out(content, stock.shape).symbol
        assert symbol is not None
        px = dpi / 25.4
        dark = symbol.dark
        found.append(
            Photo(np.asarray(page, dtype=np.float32), dark.x * px, dark.y * px, symbol.module_mm * px)
        )
    return found


# --- where the codewords stand (ISO/IEC 18004, 7.7.3) ----------------------------------------------


def is_function(row: int, column: int) -> bool:
    """Finder patterns with separators and format information, and the timing patterns."""
    corner = (row < 9 and column < 9) or (row < 9 and column >= SIDE - 8) or (row >= SIDE - 8 and column < 9)
    return corner or row == 6 or column == 6


def codeword_of() -> dict[tuple[int, int], int]:
    """The codeword of every data module, in the zigzag of the standard: pairs of columns from the right, up and down."""
    placed: dict[tuple[int, int], int] = {}
    bit, upwards = 0, True
    right = SIDE - 1
    while right > 0:
        if right == 6:
            right -= 1
        rows = range(SIDE - 1, -1, -1) if upwards else range(SIDE)
        for row in rows:
            for column in (right, right - 1):
                if not is_function(row, column):
                    placed[row, column] = bit // 8
                    bit += 1
        right, upwards = right - 2, not upwards
    return placed


CODEWORDS = codeword_of()


def in_finder(row: int, column: int) -> bool:
    near_top, near_left = row < FINDER, column < FINDER
    return (
        (near_top and near_left)
        or (near_top and column >= SIDE - FINDER)
        or (row >= SIDE - FINDER and near_left)
    )


SPARED, FORMAT, TIMING = -1, -2, -3


def _word_at() -> np.ndarray:
    """The codeword of every module, or what else it is for."""
    table = np.full((SIDE, SIDE), FORMAT)
    table[6, :] = table[:, 6] = TIMING
    for row in range(SIDE):
        for column in range(SIDE):
            if in_finder(row, column):
                table[row, column] = SPARED
    for (row, column), codeword in CODEWORDS.items():
        table[row, column] = codeword
    return table


WORD_AT = _word_at()


# --- what happens to a print -----------------------------------------------------------------------


def scratched(photo: Photo, share: float, dice: np.random.Generator) -> Photo:
    """Straight scratches over up to `share` of the symbol, light or dark, that spare the finders and hit no more
    codewords than level H restores.
    """
    grey, side = photo.grey.copy(), SIDE * photo.module
    top, left = round(photo.top), round(photo.left)
    window = grey[top : round(photo.top + side), left : round(photo.left + side)]
    yy, xx = np.mgrid[0 : window.shape[0], 0 : window.shape[1]]
    row = np.minimum((yy + 0.5) / photo.module, SIDE - 1).astype(int)
    column = np.minimum((xx + 0.5) / photo.module, SIDE - 1).astype(int)
    word = WORD_AT[row, column]
    hit: set[int] = set()
    area = 0.0
    for _ in range(12):
        angle, width = dice.uniform(0, np.pi), dice.uniform(0.3, 2.0) * photo.module
        cx, cy, length = (*dice.uniform(0, side, 2), dice.uniform(2, 12) * photo.module)
        along = (xx - cx) * np.cos(angle) + (yy - cy) * np.sin(angle)
        across = -(xx - cx) * np.sin(angle) + (yy - cy) * np.cos(angle)
        scar = (abs(across) < width / 2) & (abs(along) < length / 2) & (word != SPARED)
        touched = set(np.unique(word[scar]).tolist())
        if FORMAT in touched or area + scar.sum() > share * side**2:
            continue
        if len((hit | touched) - {TIMING}) > MOST_CODEWORDS:
            continue
        window[scar] = dice.choice([15.0, 245.0])
        hit |= touched - {TIMING}
        area += float(scar.sum())
    return replace(photo, grey=grey)


def bent(grey: Grey, diameter_mm: float, dpi: int) -> Grey:
    """The label around a cylinder whose axis lies along it, seen from far away: y = R sin(arc / R)."""
    radius = diameter_mm / 2 * dpi / 25.4
    height = min(grey.shape[0], int(np.pi * radius * 0.98))
    top = (grey.shape[0] - height) / 2
    seen = int(2 * radius * np.sin(height / 2 / radius))
    y = np.arange(seen) - (seen - 1) / 2
    arc = radius * np.arcsin(np.clip(y / radius, -1, 1))
    source = np.clip(arc + height / 2 + top - 0.5, 0, grey.shape[0] - 1)
    low = np.floor(source).astype(int)
    high = np.minimum(low + 1, grey.shape[0] - 1)
    part = (source - low)[:, None]
    shade = (0.55 + 0.45 * np.cos(arc / radius))[:, None]
    return np.asarray((grey[low] * (1 - part) + grey[high] * part) * shade)


def on_bench(grey: Grey, dice: np.random.Generator, margin: float = 0.25) -> Image.Image:
    """Laid on something grey, with a rim for turning and slanting."""
    rim = int(margin * max(grey.shape)) + 20
    level = float(dice.uniform(90, 170))
    return Image.fromarray(np.pad(grey, rim, constant_values=level).clip(0, 255).astype(np.uint8))


def slanted(picture: Image.Image, degrees: float, about: str) -> Image.Image:
    """Seen `degrees` off the perpendicular, the camera four widths away; about the upright or the level axis."""
    width, height = picture.size
    far, tilt = 4.0 * max(width, height), np.radians(degrees)
    corners = [(0, 0), (width, 0), (width, height), (0, height)]
    seen = []
    for x, y in corners:
        u, v = x - width / 2, y - height / 2
        flat, deep = (
            (u * np.cos(tilt), u * np.sin(tilt))
            if about == "upright"
            else (v * np.cos(tilt), v * np.sin(tilt))
        )
        zoom = far / (far + deep)
        seen.append((flat * zoom, v * zoom) if about == "upright" else (u * zoom, flat * zoom))
    shifted = [(x + width / 2, y + height / 2) for x, y in seen]
    rows, target = [], []
    for (x, y), (u, v) in zip(shifted, corners, strict=True):
        rows += [[x, y, 1, 0, 0, 0, -u * x, -u * y], [0, 0, 0, x, y, 1, -v * x, -v * y]]
        target += [u, v]
    solved = np.linalg.solve(np.array(rows, dtype=float), np.array(target, dtype=float))
    return picture.transform(
        picture.size, Image.Transform.PERSPECTIVE, list(solved), Image.Resampling.BICUBIC, fillcolor=128
    )


def taken(
    picture: Image.Image, dice: np.random.Generator, *, degrees: float, blur: float, noise: float
) -> Image.Image:
    """Turned, out of focus by `blur` px, with sensor noise of `noise` levels, in weaker contrast."""
    turned = picture.rotate(degrees, Image.Resampling.BICUBIC, expand=True, fillcolor=128)
    soft = turned.filter(ImageFilter.GaussianBlur(blur)) if blur > 0 else turned
    levels = np.asarray(soft, dtype=np.float64)
    low, high = dice.uniform(0, 50), dice.uniform(190, 255)
    levels = low + levels * (high - low) / 255 + dice.normal(0, noise, levels.shape)
    return Image.fromarray(levels.clip(0, 255).astype(np.uint8))


# --- the two trials --------------------------------------------------------------------------------

ROUND = {10: "plain-10", 14: "plain-14", 18: "plain-wrap"}
DPIS = (300, 400, 600)


def photograph(code: str, number: int, known: Mapping[str, Stock], seed: int) -> Image.Image:
    """One readable photograph, in turn flat and on cylinders of 10, 14 and 18 mm; number and seed make it again."""
    dice = np.random.default_rng((seed, number))
    diameter = (0, *ROUND)[number % 4]
    stock = known[ROUND.get(diameter, "plain-flat")]
    dpi = DPIS[int(dice.integers(len(DPIS)))]
    (photo,) = photos([blank_content(code)], stock, dpi)
    if dice.random() < 0.7:
        photo = scratched(photo, 0.10, dice)
    picture = on_bench(bent(photo.grey, diameter, dpi) if diameter else photo.grey, dice)
    if dice.random() < 0.6:
        picture = slanted(picture, float(dice.uniform(0, 30)), ("upright", "level")[int(dice.integers(2))])
    degrees, noise = float(dice.uniform(0, 360)), float(dice.uniform(0, 14))
    blur = float(dice.uniform(0, 0.28 * photo.module))
    return taken(picture, dice, degrees=degrees, blur=blur, noise=noise)


def spoilt(
    codes: Sequence[str], stock: Stock, seed: int, first: int = 0
) -> Iterator[tuple[str, Image.Image]]:
    """One photograph for each code whose modules were flipped, painted over, swapped with another label's or smeared,
    from a little to beyond all recognition: what comes back must be that code or nothing.
    """
    pages = photos([blank_content(code) for code in codes], stock, 200)
    for at, (code, photo) in enumerate(zip(codes, pages, strict=True)):
        number = first + at
        dice = np.random.default_rng((seed, number))
        grey, other = photo.grey.copy(), pages[at - 1].grey
        side, kind = SIDE * photo.module, number % 5
        share = float(dice.uniform(0.02, 0.6))
        for _ in range(max(1, int(share * 60))):
            size = int(dice.uniform(0.6, 3.0) * photo.module)
            x = int(photo.left + dice.uniform(0, side - size))
            y = int(photo.top + dice.uniform(0, side - size))
            spot = grey[y : y + size, x : x + size]
            if kind == 0:
                spot[:] = 255 - spot
            elif kind == 1:
                spot[:] = dice.choice([0.0, 255.0])
            elif kind == 2:
                spot[:] = other[y : y + size, x : x + size]
            elif kind == 3:
                spot[:] = dice.uniform(0, 255, spot.shape)
            else:
                spot[:] = np.roll(spot, size // 2, axis=0)
        picture = on_bench(grey, dice, margin=0.05)
        yield code, taken(picture, dice, degrees=float(dice.choice([0, 90, 180, 7])), blur=0.4, noise=6.0)
