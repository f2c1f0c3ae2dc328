"""What is on a sheet beside its labels: a head line, a ruler to check the scale, cut lines, cautions.

All of it keeps to the margins; a page without margins (one label) carries none of it.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from straycell.labels.boxes import Segment
from straycell.labels.faces import text_width, wrapped
from straycell.labels.layout import CAP_SHARE, DESCENT_SHARE, TextItem, fitting_size, text_item
from straycell.labels.stocks.stock import Stock

UNPRINTABLE_MM = 4.5
"""Rim that office printers leave white (common practice, no published source)."""

RULER_MM = 50.0
CALIBRATION_MM = 150.0
_SIZE_MM = 2.3
_PITCH_MM = 2.9
_CLEAR_MM = 1.2


@dataclass(frozen=True, slots=True)
class PageMarks:
    """Texts in the margins, black ruler lines and pale cut lines, in mm from the page's upper left corner."""

    texts: tuple[TextItem, ...]
    ruler: tuple[Segment, ...]
    cuts: tuple[Segment, ...]


def page_marks(
    stock: Stock, positions: Sequence[int], headings: Sequence[str], cautions: Sequence[str]
) -> PageMarks:
    """Marks of one page whose labels are at `positions`: the longest heading that fits, a ruler, cut lines.

    Cautions short of room are shrunk, then cut.
    """
    # Twice the unprintable rim, so that a feed a few millimetres off cuts no text.
    left = max(stock.left_mm, 2 * UNPRINTABLE_MM)
    width = stock.page_width_mm - 2 * left
    head, ruler = _head(stock, left, width, headings)
    foot = _foot(stock, left, width, cautions)
    return PageMarks((*head, *foot), ruler, _cuts(stock, positions))


def heading_texts(stock: Stock, now: datetime, page: int, pages: int) -> tuple[str, ...]:
    """`straycell labels, stock plain-wrap, printed 2026-10-04, page 1 of 2`, and shorter for narrow stocks."""
    day = now.date().isoformat()
    return (
        f"straycell labels, stock {stock.name}, printed {day}, page {page} of {pages}",
        f"{stock.name}, {day}, page {page} of {pages}",
        f"{stock.name}, page {page} of {pages}",
    )


def _head(
    stock: Stock, left: float, width: float, headings: Sequence[str]
) -> tuple[tuple[TextItem, ...], tuple[Segment, ...]]:
    baseline = stock.top_mm - _CLEAR_MM - 1.3
    if baseline - CAP_SHARE * _SIZE_MM < UNPRINTABLE_MM:
        return (), ()
    # Browsers and printers fit to page by default; a symbol shrunk by a tenth may no longer be read.
    note = "print at 100 %: this line is 50 mm long"
    start = left + width - RULER_MM
    note_width = text_width(note, _SIZE_MM, False)
    note_x = start - 2.0 - note_width
    texts = [text_item(note, note_x, baseline, _SIZE_MM)]
    room = note_x - 3.0 - left
    for heading in headings:
        size = fitting_size(heading, _SIZE_MM, room)
        if text_width(heading, size, False) <= room:
            texts.insert(0, text_item(heading, left, baseline, size))
            break
    mid, tick = baseline - 0.8, 1.0
    ruler = (
        (start, mid, start + RULER_MM, mid),
        *((x, mid - tick, x, mid + tick) for x in (start, start + RULER_MM)),
        *((start + mm, mid - tick / 2, start + mm, mid) for mm in range(10, 50, 10)),
    )
    return tuple(texts), ruler


def _foot(stock: Stock, left: float, width: float, cautions: Sequence[str]) -> tuple[TextItem, ...]:
    top = stock.page_height_mm - stock.bottom_mm + _CLEAR_MM
    room = stock.page_height_mm - UNPRINTABLE_MM - top
    if not cautions or room < CAP_SHARE * _SIZE_MM + DESCENT_SHARE * _SIZE_MM:
        return ()
    # A caution is shrunk before it is cut: small words warn, missing ones do not.
    for size in (_SIZE_MM, 2.1, 1.9, 1.76):
        pitch = _PITCH_MM * size / _SIZE_MM
        most = 1 + int((room - size) / pitch + 1e-9)
        lines = [line for caution in cautions for line in wrapped(caution, size, width, " ...")]
        if len(lines) <= most:
            break
    else:
        lines = wrapped("  ".join(cautions), size, width, " ...")
        if len(lines) > most:
            lines = [*lines[: most - 1], lines[most - 1] + " ..."]
    first = top + CAP_SHARE * size
    return tuple(text_item(line, left, first + n * pitch, size) for n, line in enumerate(lines))


def _cuts(stock: Stock, positions: Sequence[int]) -> tuple[Segment, ...]:
    """The outline of every label that is used, each shared edge once."""
    if not stock.cut_lines:
        return ()
    found: set[Segment] = set()
    for position in positions:
        x, y = stock.origin_mm(position)
        right, bottom = x + stock.shape.width_mm, y + stock.shape.height_mm
        x -= stock.tail_mm
        for edge in (
            (x, y, right, y),
            (x, bottom, right, bottom),
            (x, y, x, bottom),
            (right, y, right, bottom),
        ):
            # Labels share edges; rounded, one line is drawn and not two beside each other.
            found.add((round(edge[0], 3), round(edge[1], 3), round(edge[2], 3), round(edge[3], 3)))
    return tuple(sorted(found))


def calibration_marks(width: float, height: float) -> tuple[tuple[TextItem, ...], tuple[Segment, ...]]:
    """Two lines of 150 mm with ticks every 10 mm, across and down, and what to do with their measured length."""
    # A long line: half a millimetre of reading error is 0.3 % of 150 mm, and 1 % of 50 mm.
    left, top = (width - CALIBRATION_MM) / 2, 60.0
    words = (
        "Printer calibration",
        "Print this page at 100 %, without fit to page. Measure both lines with a steel ruler, end to end.",
        "Then: straycell label calibrate --printer NAME --measured LENGTH, with the length of the line across,",
        "and from then on: straycell label sheet --printer NAME. The two lines should agree within 0.5 mm;",
        "if they do not, the printer stretches one way and no factor helps.",
    )
    texts = [text_item(word, left, 24.0 + 5.0 * n, 5.0 if n == 0 else 3.2) for n, word in enumerate(words)]
    across = [(left, top, left + CALIBRATION_MM, top)]
    down = [(left, top, left, top + CALIBRATION_MM)]
    for mm in range(0, int(CALIBRATION_MM) + 1, 10):
        tick = 3.0 if mm % 50 == 0 else 1.5
        across.append((left + mm, top, left + mm, top - tick))
        down.append((left, top + mm, left - tick, top + mm))
    texts.append(text_item("150 mm across", left + 60.0, top + 5.0, 3.2))
    texts.append(text_item("150 mm down", left + 4.0, top + 76.0, 3.2))
    return tuple(texts), (*across, *down)
