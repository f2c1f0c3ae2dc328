"""The sheet beside which a pack is joined: the pack drawn from both sides, a list of its cells, what to do in which order.

Pure: everything in millimetres from a page's upper left corner.
The drawing fits on one page, or on one page for each side, which is then laid across where that makes it larger.
"""

from dataclasses import dataclass, field

from straycell.labels.boxes import Box, Segment
from straycell.labels.build_sheet_drawing import (
    LEAST_PITCH_MM,
    LEAST_ROW_MM,
    MARGIN_MM,
    MOST_PITCH_MM,
    MOST_ROW_MM,
    Face,
    Picture,
    SheetCell,
    draw,
    draw_one_cell,
    parts_of,
)
from straycell.labels.faces import text_width, wrapped
from straycell.labels.layout import CAP_SHARE, TextItem, fitting_size, text_item

PAGE_WIDTH_MM, PAGE_HEIGHT_MM = 210.0, 297.0
EDGE_MM = 14.0
FOOT_MM = 8.0
PITCH_MM = 1.4
"""Line pitch as a multiple of the print's size."""

BODY_MM, NAME_MM, TITLE_MM = 3.2, 3.6, 6.0
TICK_MM = 2.6
HEAD_MM = 12.0
"""Above a drawing: which side it is, and how it is seen."""
FEW_CELLS = 60
"""Up to so many cells are listed with their figures; more with room for the day's voltage alone."""


@dataclass(frozen=True, slots=True)
class Section:
    """A heading and its lines; `ticks` puts an empty square before each, to be ticked with a pen."""

    heading: str
    lines: tuple[str, ...]
    ticks: bool = False


@dataclass(frozen=True, slots=True)
class BuildSheet:
    """Everything on the sheet. `groups` in series order from the minus end; `facts` are below the title.

    `flat`: cells with both tabs on one side (pouch, prismatic), which have no front and rear.
    """

    title: str
    facts: tuple[str, ...]
    groups: tuple[tuple[SheetCell, ...], ...]
    sections: tuple[Section, ...]
    foot: str
    flat: bool = False

    @property
    def alone(self) -> bool:
        return len(self.groups) == 1 and len(self.groups[0]) == 1


@dataclass(slots=True)
class SheetPage:
    """One page, ready to draw: texts, outlines, and the drawings on it. `across` lays it on its long side."""

    texts: list[TextItem] = field(default_factory=list)
    outlines: list[Box] = field(default_factory=list)
    rules: list[Segment] = field(default_factory=list)
    faces: list[Face] = field(default_factory=list)
    across: bool = False

    @property
    def size(self) -> tuple[float, float]:
        return (PAGE_HEIGHT_MM, PAGE_WIDTH_MM) if self.across else (PAGE_WIDTH_MM, PAGE_HEIGHT_MM)


@dataclass(slots=True)
class _Cursor:
    """Where the next thing goes, page after page."""

    pages: list[SheetPage] = field(default_factory=lambda: [SheetPage()])
    y: float = EDGE_MM

    @property
    def page(self) -> SheetPage:
        return self.pages[-1]

    @property
    def width(self) -> float:
        return self.page.size[0] - 2 * EDGE_MM

    @property
    def room(self) -> float:
        return self.page.size[1] - EDGE_MM - FOOT_MM - self.y

    def turn(self, across: bool = False) -> None:
        self.pages.append(SheetPage(across=across))
        self.y = EDGE_MM

    def text(self, text: str, x: float, baseline: float, size: float, bold: bool = False) -> None:
        self.page.texts.append(text_item(text, x, baseline, size, bold))


def lay_out_sheet(sheet: BuildSheet) -> list[SheetPage]:
    """The pages of a sheet; what does not fit on one goes on the next."""
    cursor = _Cursor()
    if not _large(sheet):
        _head(cursor, sheet)
        _drawings(cursor, sheet)
    else:
        _large_drawings(cursor, sheet)
        _head(cursor, sheet)
    _cells(cursor, sheet)
    for section in sheet.sections:
        _section(cursor, section)
    _feet(cursor, sheet)
    return cursor.pages


def _head(cursor: _Cursor, sheet: BuildSheet) -> None:
    # A title names a person's project: made smaller and never cut.
    size = fitting_size(sheet.title, TITLE_MM, cursor.width, True)
    cursor.y += CAP_SHARE * size
    cursor.text(sheet.title, EDGE_MM, cursor.y, size, True)
    cursor.y += 2.0
    for fact in sheet.facts:
        for line in wrapped(fact, BODY_MM, cursor.width):
            cursor.y += PITCH_MM * BODY_MM
            cursor.text(line, EDGE_MM, cursor.y, BODY_MM)
    cursor.y += 4.0


# --- the drawing -----------------------------------------------------------------------------------

_LEGEND = "Black disc: plus end. White disc: minus end. Black and grey: metal. No other joint than these."
_NUMBERS = " A small number beside a disc: the order in which the cells of its group are joined."
_HEADS = {
    True: ("FRONT", "looking at the ends of the cells; every second group is turned round"),
    False: ("REAR", "the same pack turned over like a page: left and right have changed sides"),
}


def _drawings(cursor: _Cursor, sheet: BuildSheet) -> None:
    """All sides on the page that begins with the title."""
    # A single cell has no groups to mix up; from the side its two wires are what can be mixed up.
    if sheet.alone:
        only = sheet.groups[0][0]
        face = draw_one_cell(only, EDGE_MM, cursor.y)
        cursor.page.faces.append(face)
        cursor.y += face.size[1] + 4.0
        _legend(cursor, "The cell from the side. Black disc: plus end. White disc: minus end.")
        return
    sides = _sides(sheet)
    pitch, row = _scale(cursor.width, cursor.room / len(sides) - HEAD_MM - 3.0, *_shape(sheet))
    _draw_sides(cursor, sheet, pitch, row)


def _large_drawings(cursor: _Cursor, sheet: BuildSheet) -> None:
    """A page for each side, laid across where that gives each cell more room."""
    series, parallel = _shape(sheet)
    cursor.page.across = _wider_across(series, parallel)
    pitch, row = _scale(cursor.width, cursor.room - HEAD_MM, series, parallel)
    _draw_sides(cursor, sheet, pitch, row)
    cursor.turn()


def _draw_sides(cursor: _Cursor, sheet: BuildSheet, pitch: float, row: float) -> None:
    # A pack larger than a page goes on in parts: a smaller drawing could not be read over a spot welder.
    rows = max(1, int((cursor.room - HEAD_MM) / row + 1e-6))
    columns = max(1, int((cursor.width - MARGIN_MM) / pitch + 1e-6))
    parts = list(parts_of(*_shape(sheet), rows, columns))
    for front in _sides(sheet):
        for number, part in enumerate(parts, 1):
            picture = Picture(sheet.groups, part, front, pitch, row, sheet.flat)
            if cursor.room < picture.height_mm + HEAD_MM - 1e-6:
                cursor.turn(cursor.page.across)
            of = f", part {number} of {len(parts)}" if len(parts) > 1 else ""
            _face_head(cursor, front, of, sheet)
            cursor.page.faces.append(draw(picture, EDGE_MM, cursor.y))
            cursor.y += picture.height_mm + 3.0


def _sides(sheet: BuildSheet) -> tuple[bool, ...]:
    # The tabs of a pouch leave on one side; drawing a rear would show joints that do not exist.
    return (True,) if sheet.flat else (True, False)


def _shape(sheet: BuildSheet) -> tuple[int, int]:
    return len(sheet.groups), len(sheet.groups[0])


def _large(sheet: BuildSheet) -> bool:
    """Whether the sides are too large to stand below each other on one page."""
    width = PAGE_WIDTH_MM - 2 * EDGE_MM - MARGIN_MM
    height = (PAGE_HEIGHT_MM - 2 * EDGE_MM - 50.0) / len(_sides(sheet)) - HEAD_MM
    series, parallel = _shape(sheet)
    return width / parallel < LEAST_PITCH_MM + 4.0 or height / series < LEAST_ROW_MM + 4.0


def _scale(width: float, height: float, series: int, parallel: int) -> tuple[float, float]:
    """(column, row) in mm at which all of a face has room, within what is readable."""
    pitch = min(MOST_PITCH_MM, max(LEAST_PITCH_MM, (width - MARGIN_MM) / parallel))
    return pitch, min(MOST_ROW_MM, max(LEAST_ROW_MM, height / series))


def _wider_across(series: int, parallel: int) -> bool:
    """Whether the page laid across gives each cell more room."""
    wide, high = PAGE_WIDTH_MM - 2 * EDGE_MM - MARGIN_MM, PAGE_HEIGHT_MM - 2 * EDGE_MM - FOOT_MM - HEAD_MM
    grow = PAGE_HEIGHT_MM - PAGE_WIDTH_MM
    return min((wide + grow) / parallel, (high - grow) / series) > min(wide / parallel, high / series)


def _face_head(cursor: _Cursor, front: bool, of: str, sheet: BuildSheet) -> None:
    name, how = _HEADS[front]
    if front and len(sheet.groups) == 1:
        how = "looking at the plus ends of the cells"
    if sheet.flat:
        name, how = "ALL TABS", "looking at the side where the tabs leave"
    # Pages of a large pack lie apart on the bench: each names its project.
    if _large(sheet):
        how = f"of '{sheet.title}': {how}"
    cursor.y += CAP_SHARE * 4.4
    cursor.text(name + of, EDGE_MM, cursor.y, 4.4, True)
    x = EDGE_MM + text_width(name + of + "  ", 4.4, True)
    size = fitting_size(how, BODY_MM, EDGE_MM + cursor.width - x, False)
    cursor.text(how, x, cursor.y, size)
    cursor.y += 0.8
    _legend(cursor, _LEGEND + _NUMBERS)


def _legend(cursor: _Cursor, text: str) -> None:
    size = fitting_size(text, 2.7, cursor.width)
    cursor.y += PITCH_MM * 2.7
    cursor.text(text, EDGE_MM, cursor.y, size)
    cursor.y += 2.6


# --- the cells -------------------------------------------------------------------------------------


def _cells(cursor: _Cursor, sheet: BuildSheet) -> None:
    """Every cell by its position, with room to write the voltage measured on the day."""
    cells = [cell for group in sheet.groups for cell in group]
    if sheet.alone:
        return
    # Many cells: room for the day's voltage is worth more than the figures, which are in the store.
    few = len(cells) <= FEW_CELLS
    across, step, size = (2, 5.2, 2.9) if few else (4, 4.05, 2.6)
    column = cursor.width / across
    left = list(cells)
    while left:
        rows = min(int((cursor.room - 12.0) / step), -(-len(left) // across))
        if rows < min(4, -(-len(left) // across)):
            cursor.turn()
            continue
        cursor.y += PITCH_MM * NAME_MM
        cursor.text("Cells, and their voltage on the day of joining", EDGE_MM, cursor.y, NAME_MM, True)
        cursor.y += 1.0
        for k, cell in enumerate(left[: rows * across]):
            x, y = EDGE_MM + (k // rows) * column, cursor.y + (k % rows + 1) * step
            _cell_line(cursor, cell, x, y, size, column)
        left = left[rows * across :]
        cursor.y += rows * step + 3.0


def _cell_line(cursor: _Cursor, cell: SheetCell, x: float, y: float, size: float, column: float) -> None:
    cursor.text(cell.position, x, y, size, True)
    cursor.page.texts.append(text_item(cell.code, x + 8.5, y, size, True, mono=True))
    # Voltages drift between planning and joining: what decides is measured on the day, with a pen at hand.
    blank = 17.0
    end = x + column - 4.0
    if cell.figures and column > 60.0:
        room = column - 30.0 - blank - 7.0
        small = fitting_size(cell.figures, size, room, False)
        cursor.text(cell.figures, x + 27.0, y, small)
    cursor.page.rules.append((end - blank - 2.5, y + 0.5, end - 2.5, y + 0.5))
    cursor.text("V", end - 2.0, y, size)


# --- the lines -------------------------------------------------------------------------------------


def _section(cursor: _Cursor, section: Section) -> None:
    indent = TICK_MM + 2.0 if section.ticks else 3.0
    lines = [wrapped(text, BODY_MM, cursor.width - indent) for text in section.lines]
    step = PITCH_MM * BODY_MM
    # A heading alone at the foot of a page is read as the end.
    if cursor.room < NAME_MM + 3.0 + step * len(lines[0] if lines else ()):
        cursor.turn()
    cursor.y += PITCH_MM * NAME_MM
    cursor.text(section.heading, EDGE_MM, cursor.y, NAME_MM, True)
    cursor.y += 1.2
    for entry in lines:
        if cursor.room < step * len(entry):
            cursor.turn()
        for number, line in enumerate(entry):
            cursor.y += step
            if number == 0 and section.ticks:
                cursor.page.outlines.append(Box(EDGE_MM, cursor.y - TICK_MM + 0.2, TICK_MM, TICK_MM))
            elif number == 0:
                cursor.text("-", EDGE_MM, cursor.y, BODY_MM)
            cursor.text(line, EDGE_MM + indent, cursor.y, BODY_MM)
        cursor.y += 0.7
    cursor.y += 2.0


def _feet(cursor: _Cursor, sheet: BuildSheet) -> None:
    total = len(cursor.pages)
    for number, page in enumerate(cursor.pages, 1):
        text = f"{sheet.foot}, page {number} of {total}"
        width, height = page.size
        size = fitting_size(text, 2.6, width - 2 * EDGE_MM, False)
        page.texts.append(text_item(text, EDGE_MM, height - EDGE_MM, size, False))
