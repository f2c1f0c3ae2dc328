"""Labels photographed as they lie in a drawer: read when they can be read, and never as another code.

A sample; `python -m tests.stress labels` takes 2,000 and 10,000 of them.
"""

from __future__ import annotations

from collections import Counter

from PIL import Image, ImageDraw
from tests.drawing import few
from tests.labels.label_bench import CODES
from tests.labels.photo_bench import CODEWORDS, photograph, spoilt

from straycell.labels.reading import find_symbols
from straycell.labels.stocks.files import shipped


def test_the_codewords_lie_where_the_standard_puts_them() -> None:
    """Version 1: 208 data modules, 26 codewords of eight; the first begins in the lower right corner (ISO/IEC 18004)."""
    counts = Counter(CODEWORDS.values())
    assert counts == dict.fromkeys(range(26), 8)
    assert [CODEWORDS[spot] for spot in ((20, 20), (20, 19), (17, 20), (16, 20))] == [0, 0, 0, 1]


def test_turned_soft_noisy_scratched_slanted_and_bent_labels_are_read() -> None:
    """Twenty-four photographs at 300 to 600 dpi, a quarter each flat and on 10, 14 and 18 mm: all of them."""
    for number, code in enumerate(CODES[: few(24)]):
        picture = photograph(code, number, shipped(), seed=2)
        assert [symbol.code for symbol in find_symbols(picture)] == [code]


def test_a_spoilt_symbol_gives_its_code_or_none() -> None:
    """A hundred and twenty corrupted pictures: some are still read, most are not, none gives another code."""
    read, made = 0, few(120)
    for code, picture in spoilt(CODES[:made], shipped()["plain-wrap"], seed=3):
        codes = [symbol.code for symbol in find_symbols(picture) if symbol.code is not None]
        assert set(codes) <= {code}
        read += len(codes)
    assert made / 12 < read < made * 11 / 12


def test_several_labels_at_all_angles_in_one_picture_are_read_where_they_lie() -> None:
    """Six labels strewn over a table: six codes, each with its corners inside its own part of the picture."""
    table = Image.new("L", (2400, 1700), 128)
    spots = []
    for number, code in enumerate(CODES[:6]):
        picture = photograph(code, number, shipped(), seed=5)
        small = picture.resize((760, 760 * picture.height // picture.width))
        small = small.crop((0, 0, 760, min(small.height, 840)))
        at = (20 + 790 * (number % 3), 10 + 850 * (number // 3))
        table.paste(small, at)
        spots.append((code, (*at, at[0] + small.width, at[1] + small.height)))
    found = {symbol.code: symbol.corners for symbol in find_symbols(table) if symbol.code}
    assert len(found) >= 4, "shrunk and cut, most are still there"
    for code, (left, top, right, bottom) in spots:
        for x, y in found.get(code, ()):
            assert left <= x <= right and top <= y <= bottom


def test_a_broken_symbol_is_said_to_be_broken() -> None:
    """Its finders are there, its data is painted over."""
    picture = photograph(CODES[0], 0, shipped(), seed=1)
    ((symbol),) = find_symbols(picture)
    xs, ys = [x for x, _ in symbol.corners], [y for _, y in symbol.corners]
    middle, reach = (sum(xs) / 4, sum(ys) / 4), (max(xs) - min(xs)) * 0.16
    pen = ImageDraw.Draw(picture)
    pen.rectangle([middle[0] - reach, middle[1] - reach, middle[0] + reach, middle[1] + reach], fill=20)
    found = find_symbols(picture)
    assert found and all(one.broken and one.code is None and one.text == "" for one in found)
