"""The sheet beside which a pack is joined: where every cell sits, drawn with its code, and what to do in which order.

Pure: everything in millimetres from a page's upper left corner; the width of a text is asked of a `Measure`.
Groups stand side by side in series order, the cells of a group one below the other between their two bars.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from itertools import pairwise

from straycell.labels.boxes import Box
from straycell.labels.layout import CAP_SHARE, DESCENT_SHARE, Measure, TextItem, fitting_size
from straycell.labels.payload import SIDE_MODULES

PAGE_WIDTH_MM, PAGE_HEIGHT_MM = 210.0, 297.0
MARGIN_MM = 14.0
MODULE_MM = 0.35
QR_MM = SIDE_MODULES * MODULE_MM
CELL_MM = (31.5, 13.0)
GAP_MM = 4.5
BAR_MM = 1.2
HEAD_MM = 5.0
SIGN_MM = 3.0
PITCH_MM = 1.4
"""Line pitch as a multiple of the print's size."""

BODY_MM, NAME_MM, TITLE_MM = 3.2, 3.6, 6.0
TICK_MM = 2.6
Segment = tuple[float, float, float, float]


@dataclass(frozen=True, slots=True)
class SheetCell:
    """One cell on the sheet: its code, and up to two short lines beside its QR symbol."""

    code: str
    lines: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Section:
    """A heading and its lines; `ticks` puts an empty square before each, to be ticked with a pen."""

    heading: str
    lines: tuple[str, ...]
    ticks: bool = False


@dataclass(frozen=True, slots=True)
class BuildSheet:
    """Everything on the sheet. `groups` in series order from the minus end; `facts` stand below the title."""

    title: str
    facts: tuple[str, ...]
    groups: tuple[tuple[SheetCell, ...], ...]
    sections: tuple[Section, ...]
    foot: str


@dataclass(slots=True)
class SheetPage:
    """One page, ready to draw: texts, QR symbols (with their quiet zone), outlines, filled bars and wires."""

    texts: list[TextItem] = field(default_factory=list)
    symbols: list[tuple[str, Box]] = field(default_factory=list)
    outlines: list[Box] = field(default_factory=list)
    bars: list[Box] = field(default_factory=list)
    wires: list[Segment] = field(default_factory=list)


@dataclass(slots=True)
class _Pen:
    """Where the next thing goes, page after page."""

    measure: Measure
    pages: list[SheetPage] = field(default_factory=lambda: [SheetPage()])
    y: float = MARGIN_MM

    @property
    def page(self) -> SheetPage:
        return self.pages[-1]

    @property
    def room(self) -> float:
        return PAGE_HEIGHT_MM - MARGIN_MM - FOOT_MM - self.y

    def turn(self) -> None:
        self.pages.append(SheetPage())
        self.y = MARGIN_MM

    def text(self, text: str, x: float, baseline: float, size: float, bold: bool = False) -> None:
        width = self.measure(text, size, bold)
        box = Box(x, baseline - CAP_SHARE * size, width, (CAP_SHARE + DESCENT_SHARE) * size)
        self.page.texts.append(TextItem(text, x, baseline, size, bold, box))


FOOT_MM = 8.0
WIDTH_MM = PAGE_WIDTH_MM - 2 * MARGIN_MM


def lay_out_sheet(sheet: BuildSheet, measure: Measure) -> list[SheetPage]:
    """The pages of a sheet; what does not fit on one goes on the next."""
    pen = _Pen(measure)
    _head(pen, sheet)
    _groups(pen, sheet.groups)
    for section in sheet.sections:
        _section(pen, section)
    _feet(pen, sheet)
    return pen.pages


def _head(pen: _Pen, sheet: BuildSheet) -> None:
    size = fitting_size(sheet.title, TITLE_MM, WIDTH_MM, True, pen.measure)
    pen.y += CAP_SHARE * size
    pen.text(sheet.title, MARGIN_MM, pen.y, size, True)
    pen.y += 3.0
    for fact in sheet.facts:
        for line in wrapped(fact, BODY_MM, WIDTH_MM, pen.measure):
            pen.y += PITCH_MM * BODY_MM
            pen.text(line, MARGIN_MM, pen.y, BODY_MM)
    pen.y += 4.0


# --- the drawing -----------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class _Column:
    """Cells of one group that stand one below the other; a large group takes more than one."""

    group: int
    part: int
    parts: int
    cells: tuple[SheetCell, ...]


def _columns(groups: Sequence[Sequence[SheetCell]], most: int) -> list[_Column]:
    found = []
    for number, group in enumerate(groups, 1):
        parts = -(-len(group) // most)
        share = -(-len(group) // parts)
        for part in range(parts):
            cells = tuple(group[part * share : (part + 1) * share])
            found.append(_Column(number, part, parts, cells))
    return found


def _groups(pen: _Pen, groups: Sequence[Sequence[SheetCell]]) -> None:
    """Bands of columns across the page, each as high as its longest column."""
    room = PAGE_HEIGHT_MM - 2 * MARGIN_MM - FOOT_MM - 40.0
    columns = _columns(groups, max(1, int((room - _band_mm(0)) / _row_mm())))
    across = max(1, int((WIDTH_MM + GAP_MM) / (CELL_MM[0] + GAP_MM)))
    for start in range(0, len(columns), across):
        band = columns[start : start + across]
        height = _band_mm(max(len(column.cells) for column in band))
        if pen.room < height:
            pen.turn()
        for place, column in enumerate(band):
            _column(pen, column, MARGIN_MM + place * (CELL_MM[0] + GAP_MM), pen.y, height, len(groups))
        for place, (one, other) in enumerate(pairwise(band)):
            _wire(pen.page, one, other, place, pen.y, height)
        pen.y += height + 4.0


def _row_mm() -> float:
    return CELL_MM[1] + 1.5


def _band_mm(rows: int) -> float:
    return HEAD_MM + 2 * BAR_MM + 1.5 + rows * _row_mm() + SIGN_MM


def _column(pen: _Pen, column: _Column, x: float, y: float, height: float, groups: int) -> None:
    alone = "in parallel" if len(column.cells) > 1 or column.parts > 1 else "the cell"
    name = f"group {column.group}" if groups > 1 else alone
    if column.parts > 1:
        name += f" ({column.part + 1} of {column.parts})"
    size = fitting_size(name, NAME_MM, CELL_MM[0] - SIGN_MM - 1.0, True, pen.measure)
    pen.text(name, x, y + CAP_SHARE * NAME_MM, size, True)
    top, bottom = y + HEAD_MM, y + height - SIGN_MM - BAR_MM
    for bar_y, sign, sign_y in ((top, "+", top - 0.6), (bottom, "-", bottom + BAR_MM + SIGN_MM - 0.6)):
        pen.page.bars.append(Box(x, bar_y, CELL_MM[0], BAR_MM))
        pen.text(sign, x + CELL_MM[0] - 2.6, sign_y, SIGN_MM + 1.0, True)
    for row, cell in enumerate(column.cells):
        _cell(pen, cell, Box(x, top + BAR_MM + 1.5 + row * _row_mm(), *CELL_MM))


def _cell(pen: _Pen, cell: SheetCell, box: Box) -> None:
    pen.page.outlines.append(box)
    pen.page.symbols.append((cell.code, Box(box.x + 0.6, box.y + (box.height - QR_MM) / 2, QR_MM, QR_MM)))
    x = box.x + QR_MM + 1.6
    room = box.right - x - 0.8
    size = fitting_size(cell.code, 4.2, room, True, pen.measure)
    baseline = box.y + 1.4 + CAP_SHARE * size
    pen.text(cell.code, x, baseline, size, True)
    for line in cell.lines[:2]:
        small = fitting_size(line, 2.5, room, False, pen.measure)
        baseline += 3.4
        pen.text(line, x, baseline, small)


def _wire(page: SheetPage, one: _Column, other: _Column, place: int, y: float, height: float) -> None:
    """Between two groups the wire from the plus of one to the minus of the next; within one, bar to bar."""
    left = MARGIN_MM + place * (CELL_MM[0] + GAP_MM) + CELL_MM[0]
    right = MARGIN_MM + (place + 1) * (CELL_MM[0] + GAP_MM)
    top, bottom = y + HEAD_MM + BAR_MM / 2, y + height - SIGN_MM - BAR_MM / 2
    if one.group == other.group:
        page.wires += [(left, top, right, top), (left, bottom, right, bottom)]
        return
    turn = right - GAP_MM / 2
    page.wires += [(left, top, turn, top), (turn, top, turn, bottom), (turn, bottom, right, bottom)]


# --- the lines -------------------------------------------------------------------------------------


def _section(pen: _Pen, section: Section) -> None:
    indent = TICK_MM + 2.0 if section.ticks else 3.0
    lines = [wrapped(text, BODY_MM, WIDTH_MM - indent, pen.measure) for text in section.lines]
    step = PITCH_MM * BODY_MM
    if pen.room < NAME_MM + 3.0 + step * len(lines[0] if lines else ()):
        pen.turn()
    pen.y += PITCH_MM * NAME_MM
    pen.text(section.heading, MARGIN_MM, pen.y, NAME_MM, True)
    pen.y += 1.2
    for entry in lines:
        if pen.room < step * len(entry):
            pen.turn()
        for number, line in enumerate(entry):
            pen.y += step
            if number == 0 and section.ticks:
                pen.page.outlines.append(Box(MARGIN_MM, pen.y - TICK_MM + 0.2, TICK_MM, TICK_MM))
            elif number == 0:
                pen.text("-", MARGIN_MM, pen.y, BODY_MM)
            pen.text(line, MARGIN_MM + indent, pen.y, BODY_MM)
        pen.y += 0.7
    pen.y += 2.0


def wrapped(text: str, size: float, width: float, measure: Measure) -> list[str]:
    """The text broken between words into lines no wider than `width`; a longer word is broken where it must be."""
    lines: list[str] = []
    for word in _pieces(text, size, width, measure):
        longer = f"{lines[-1]} {word}" if lines else word
        if lines and measure(longer, size, False) <= width:
            lines[-1] = longer
        else:
            lines.append(word)
    return lines


def _pieces(text: str, size: float, width: float, measure: Measure) -> Iterator[str]:
    for word in text.split():
        rest = word
        while measure(rest, size, False) > width and len(rest) > 1:
            end = next(
                n for n in range(len(rest) - 1, 0, -1) if n == 1 or measure(rest[:n], size, False) <= width
            )
            yield rest[:end]
            rest = rest[end:]
        yield rest


def _feet(pen: _Pen, sheet: BuildSheet) -> None:
    total = len(pen.pages)
    for number, page in enumerate(pen.pages, 1):
        text = f"{sheet.foot}, page {number} of {total}"
        size = fitting_size(text, 2.6, WIDTH_MM, False, pen.measure)
        y = PAGE_HEIGHT_MM - MARGIN_MM
        box = Box(MARGIN_MM, y - CAP_SHARE * size, pen.measure(text, size, False), size)
        page.texts.append(TextItem(text, MARGIN_MM, y, size, False, box))
