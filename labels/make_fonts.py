"""Makes the font files of src/straycell/labels/fonts from the DejaVu fonts 2.37.

`python labels/make_fonts.py FOLDER`, where FOLDER holds the three DejaVu files. Kept: Latin, Greek, Cyrillic and the
usual signs. The zero of the code face gets a slash in place of its dot, which is lost in small print.
"""

from __future__ import annotations

import sys
from pathlib import Path

from fontTools import subset
from fontTools.pens.ttGlyphPen import TTGlyphPen
from fontTools.ttLib import TTFont

TARGET = Path(__file__).parent.parent / "src" / "straycell" / "labels" / "fonts"
SIGNS = "U+2000-206F,U+2070-20BF,U+2100-214F,U+2150-22FF,U+25A0-26FF,U+2713-2718,U+FB01-FB02"
WIDE = f"U+0020-007E,U+00A0-052F,U+1E00-1EFF,{SIGNS}"
NARROW = "U+0020-007E,U+00A0-00FF"
FACES = (
    ("DejaVuSansCondensed.ttf", "text.ttf", WIDE),
    ("DejaVuSansCondensed-Bold.ttf", "text-bold.ttf", WIDE),
    ("DejaVuSansMono-Bold.ttf", "code.ttf", NARROW),
)
STROKE = 0.30  # of the counter's width: as heavy as the dot was, and open on both sides


def main(folder: Path) -> None:
    """Write the three files."""
    for source, name, characters in FACES:
        options = [
            "--no-hinting",
            "--layout-features=",
            "--notdef-outline",
            "--drop-tables+=GSUB,GPOS,GDEF,kern",
        ]
        subset.main(
            [str(folder / source), f"--unicodes={characters}", f"--output-file={TARGET / name}", *options]
        )
    slash_zero(TARGET / "code.ttf")


def slash_zero(path: Path) -> None:
    """Replace the innermost contour of the zero by a bar from lower left to upper right across its counter."""
    font = TTFont(path, recalcTimestamp=False)
    table = font["glyf"]
    name = font.getBestCmap()[ord("0")]
    coordinates, ends, flags = table[name].getCoordinates(table)
    starts = [0, *(end + 1 for end in ends[:-1])]
    contours = [coordinates[start : end + 1] for start, end in zip(starts, ends, strict=True)]
    spans = sorted(
        range(len(contours)), key=lambda n: max(x for x, _ in contours[n]) - min(x for x, _ in contours[n])
    )
    dot, counter = spans[0], spans[1]
    left, right = (edge(x for x, _ in contours[counter]) for edge in (min, max))
    low, high = (edge(y for _, y in contours[counter]) for edge in (min, max))
    half, rise = STROKE * (right - left), (high - low) * 0.24
    bar = [
        (left, low + rise - half),
        (left, low + rise + half),
        (right, high - rise + half),
        (right, high - rise - half),
    ]
    pen = TTGlyphPen(None)
    for number, start in enumerate(starts):
        if number != dot:
            redraw(pen, coordinates[start : ends[number] + 1], flags[start : ends[number] + 1])
    pen.moveTo(tuple(map(round, bar[0])))
    for corner in bar[1:]:
        pen.lineTo(tuple(map(round, corner)))
    pen.closePath()
    table[name] = pen.glyph()
    font.save(path)


def redraw(pen: TTGlyphPen, points: object, flags: object) -> None:
    """One contour of quadratic curves, as TrueType holds it: runs of off-curve points between on-curve ones."""
    marks = list(zip(points, flags, strict=True))  # type: ignore[call-overload]
    first = next(n for n, (_, flag) in enumerate(marks) if flag & 1)
    marks = marks[first:] + marks[:first]
    pen.moveTo(marks[0][0])
    pending: list[tuple[int, int]] = []
    for point, flag in [*marks[1:], marks[0]]:
        pending.append(point)
        if flag & 1:
            pen.qCurveTo(*pending) if len(pending) > 1 else pen.lineTo(point)
            pending = []
    pen.closePath()


if __name__ == "__main__":
    main(Path(sys.argv[1]))
