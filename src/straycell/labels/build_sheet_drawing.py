"""The drawing of a pack: both faces of the cell ends with every bar, tab, link and lead. Pure geometry in mm.

A black disc is a plus end, a white disc a minus end. Each end is joined by one tab to its group's bar; the plus bar of
a group and the minus bar of the next, which is turned round, lie side by side on one face and are joined by a link.
`connections` reads who is joined to whom out of the shapes alone, `planned` says what must come out.
"""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field

from straycell.labels.boxes import Box, Segment
from straycell.labels.faces import code_width, text_width
from straycell.labels.layout import CAP_SHARE, DESCENT_SHARE, TextItem, fitting_size, text_item

PLUS, MINUS = "+", "-"
MARGIN_MM = 27.0
"""Left of the cells: names of groups, links and leads."""
MOST_PITCH_MM, LEAST_PITCH_MM = 24.0, 10.0
MOST_ROW_MM, LEAST_ROW_MM = 27.0, 11.5
TITLE_MM = 13.0
_TAB_MM = 1.0
_NAME_TOP = -0.12
"""Where the room for a name begins inside a disc, below the sign: a share of the radius."""
# A tab ends inside its disc and bar, so that reading the shapes back meets no edge.
_INTO_MM = 0.5
Join = tuple[str, str]


@dataclass(frozen=True, slots=True)
class SheetCell:
    """One cell on the sheet: position (`2b`), code, as which of its group it is joined, and figures in a few words."""

    position: str
    code: str
    order: int = 0
    figures: str = ""


@dataclass(frozen=True, slots=True)
class Disc:
    """The end of a cell; `name` is the position with the sign of that end, like `2b+`."""

    name: str
    x: float
    y: float
    radius: float
    bare: bool = False
    """Without its position in words, the sign is in the middle."""

    @property
    def plus(self) -> bool:
        return self.name.endswith(PLUS)

    @property
    def sign_y(self) -> float:
        """Where the middle of the sign lies: a minus end keeps clear of its tab, which comes from above."""
        return self.y if self.bare else self.y - (0.52 if self.plus else 0.36) * self.radius

    def holds(self, x: float, y: float) -> bool:
        # Half a micrometre of tolerance for floating point: far below a printer's dot.
        return (x - self.x) ** 2 + (y - self.y) ** 2 <= self.radius**2 + 1e-6


@dataclass(frozen=True, slots=True)
class Strip:
    """A piece of metal: a bar (`bar 2-`), a link (`link 1`) or the lead of the pack (`pack +`)."""

    name: str
    box: Box

    def holds(self, x: float, y: float) -> bool:
        b = self.box
        return b.x - 1e-6 <= x <= b.right + 1e-6 and b.y - 1e-6 <= y <= b.bottom + 1e-6


@dataclass(slots=True)
class Face:
    """One side of the pack as drawn. `gaps` are dashed lines where nothing may be joined; `size` in mm."""

    discs: list[Disc] = field(default_factory=list)
    bars: list[Strip] = field(default_factory=list)
    links: list[Strip] = field(default_factory=list)
    leads: list[Strip] = field(default_factory=list)
    tabs: list[Segment] = field(default_factory=list)
    gaps: list[Segment] = field(default_factory=list)
    outlines: list[Box] = field(default_factory=list)
    texts: list[TextItem] = field(default_factory=list)
    size: tuple[float, float] = (0.0, 0.0)


def planned(series: int, parallel: Sequence[Sequence[str]]) -> frozenset[Join]:
    """Who must be joined to whom in a pack: `parallel` holds the positions of each of `series` groups."""
    found: set[Join] = {("bar 1-", "pack -"), (f"bar {series}+", "pack +")}
    for number, positions in enumerate(parallel, 1):
        for sign in (MINUS, PLUS):
            found |= {(f"{position}{sign}", f"bar {number}{sign}") for position in positions}
        if number < series:
            found |= {(f"bar {number}+", f"link {number}"), (f"bar {number + 1}-", f"link {number}")}
    return frozenset(found)


def connections(faces: Sequence[Face]) -> list[Join]:
    """Who is joined to whom as drawn: what the ends of each tab lie on, and what each link and lead touches."""
    # Read from the drawn shapes and from nothing else: a drawing that joins wrongly must be found before a
    # person does it.
    found: list[Join] = []
    for face in faces:
        for x1, y1, x2, y2 in face.tabs:
            found += [
                (disc.name, bar.name)
                for disc in face.discs
                if disc.holds(x1, y1)
                for bar in face.bars
                if bar.holds(x2, y2)
            ]
        for strip in (*face.links, *face.leads):
            found += [(bar.name, strip.name) for bar in face.bars if _touch(bar.box, strip.box)]
    return found


def _touch(one: Box, other: Box) -> bool:
    """Side by side or over each other, with some length in common."""
    apart = 1e-6
    return (
        min(one.right, other.right) - max(one.x, other.x) > -apart
        and min(one.bottom, other.bottom) - max(one.y, other.y) > -apart
    )


@dataclass(frozen=True, slots=True)
class Part:
    """The cells on one picture: places `first` to before `last` of the groups `top` to before `bottom` (from 0)."""

    top: int
    bottom: int
    first: int
    last: int


@dataclass(frozen=True, slots=True)
class Picture:
    """One face, or a part of one, ready to be put on a page: `front` or `rear`, `mirrored` left to right."""

    groups: Sequence[Sequence[SheetCell]]
    part: Part
    front: bool
    pitch_mm: float
    row_mm: float
    flat: bool = False
    """Both tabs of a cell leave on one side: one face shows all, no group is turned round."""

    @property
    def width_mm(self) -> float:
        return MARGIN_MM + (self.part.last - self.part.first) * self.pitch_mm

    @property
    def height_mm(self) -> float:
        return (self.part.bottom - self.part.top) * self.row_mm

    def signs(self, group: int) -> tuple[str, ...]:
        """The ends of a group (from 0) that this face shows."""
        if self.flat:
            return (MINUS, PLUS)
        # Every second group is turned round, so that a link between groups is short and on one face.
        return (PLUS,) if (group % 2 == 0) == self.front else (MINUS,)


def draw(picture: Picture, left: float, top: float) -> Face:
    """The face with its upper left corner at (`left`, `top`)."""
    face = Face(size=(picture.width_mm, picture.height_mm))
    for row, group in enumerate(range(picture.part.top, picture.part.bottom)):
        for sign in picture.signs(group):
            _Row(picture, face, group, sign, left, top + row * picture.row_mm).draw()
        _name_group(picture, face, group, (left, top + row * picture.row_mm))
    # A picture that goes on from another one repeats the link or the gap that it begins with.
    for group in range(max(0, picture.part.top - 1), picture.part.bottom):
        y = top + (group + 1 - picture.part.top) * picture.row_mm
        _below(picture, face, group, (left, y))
    return face


@dataclass(frozen=True, slots=True)
class _Row:
    """One end of every cell of a group: discs, tabs and the bar, which lies towards the group it is linked to."""

    picture: Picture
    face: Face
    group: int
    sign: str
    left: float
    top: float

    def draw(self) -> None:
        p, bar_mm = self.picture, min(1.8, 0.085 * self.picture.row_mm)
        x0 = self.left + MARGIN_MM
        edge_mm = 0.055 * p.row_mm
        below = self.sign == PLUS
        bar_y = self.top + (p.row_mm - edge_mm - bar_mm if below else edge_mm)
        bar = Strip(f"bar {self.group + 1}{self.sign}", Box(x0, bar_y, p.width_mm - MARGIN_MM, bar_mm))
        self.face.bars.append(bar)
        size = min(3.2, 0.19 * p.row_mm)
        room = p.row_mm - 2 * edge_mm - bar_mm - _TAB_MM - 1.25 * size
        if p.flat:
            room = 0.5 * room - bar_mm
        radius = 0.5 * min(room, p.pitch_mm - 2.4)
        y = bar_y - _TAB_MM - radius if below else bar_y + bar_mm + _TAB_MM + radius
        inner = bar_y + 0.5 * bar_mm
        for column, cell in enumerate(self._cells()):
            x = x0 + (column + 0.5) * p.pitch_mm
            self.face.discs.append(Disc(cell.position + self.sign, x, y, radius))
            into = y + radius - _INTO_MM if below else y - radius + _INTO_MM
            self.face.tabs.append((x, into, x, inner))
            self._write(cell, x, y, radius, size, below)
        self._lead(bar)

    def _cells(self) -> Sequence[SheetCell]:
        part = self.picture.part
        cells = self.picture.groups[self.group][part.first : part.last]
        # The rear is the pack turned over like a page: left and right change sides.
        return cells if self.picture.front else cells[::-1]

    def _write(self, cell: SheetCell, x: float, y: float, radius: float, size: float, below: bool) -> None:
        """The position in the disc, the code on the side away from the bar, the order beside the tab."""
        plus = self.sign == PLUS
        name, baseline = _name_in_disc(text_width(cell.position, 1.0, True), radius, 0.42 if below else 0.45)
        self.face.texts.append(
            text_item(
                cell.position,
                x - 0.5 * text_width(cell.position, name, True),
                y + baseline,
                name,
                True,
                white=plus,
            )
        )
        code = min(size, (self.picture.pitch_mm - 0.8) / code_width(cell.code, 1.0))
        # A flat cell shows both ends on one face; its code is written once.
        if not (self.picture.flat and plus):
            at = y - radius - 0.35 * size if below else y + radius + 0.35 * size + CAP_SHARE * code
            self.face.texts.append(
                text_item(cell.code, x - 0.5 * code_width(cell.code, code), at, code, True, mono=True)
            )
        if cell.order:
            small = min(2.4, 0.8 * size)
            at = y + 0.95 * radius if below else y - 0.95 * radius + CAP_SHARE * small
            self.face.texts.append(text_item(str(cell.order), x + 0.8 * radius + 0.6, at, small, True))

    def _lead(self, bar: Strip) -> None:
        """The wire of the pack, at the minus bar of the first group and the plus bar of the last."""
        # Only the two ends of the string leave the pack; a lead anywhere else is a tap, which the sheet does
        # not draw.
        last = len(self.picture.groups) - 1
        if (self.group, self.sign) not in ((0, MINUS), (last, PLUS)) or self.picture.part.first > 0:
            return
        length = 6.0
        box = Box(bar.box.x - length, bar.box.y, length, bar.box.height)
        self.face.leads.append(Strip(f"pack {self.sign}", box))
        words = "PACK PLUS" if self.sign == PLUS else "PACK MINUS"
        size = fitting_size(words, 3.0, MARGIN_MM - length - 1.0, True)
        y = box.y + 0.5 * box.height + 0.5 * CAP_SHARE * size
        self.face.texts.append(text_item(words, self.left, y, size, True))


def _name_in_disc(width: float, radius: float, middle: float) -> tuple[float, float]:
    """(size, baseline below the disc's middle) in mm of a name of this width a mm of size, with room inside the rim.

    `middle` (share of the radius) is where it lies when there is room. Over the rim a 10j is read as a 10i.
    """
    inner, top, high = 0.92 * radius, _NAME_TOP * radius, CAP_SHARE + DESCENT_SHARE
    # Its lower corners lie on the inner circle: (width s / 2)^2 + (top + high s)^2 = inner^2, solved for s.
    square, half = 0.25 * width**2 + high**2, top * high
    most = (-half + math.sqrt(half**2 + square * (inner**2 - top**2))) / square
    size = min(0.8 * radius, 4.6, most)
    lowest = math.sqrt(inner**2 - (0.5 * width * size) ** 2) - DESCENT_SHARE * size
    return size, min(middle * radius + 0.5 * CAP_SHARE * size, lowest)


def _name_group(picture: Picture, face: Face, group: int, at: tuple[float, float]) -> None:
    left, top = at
    sign = picture.signs(group)[0]
    shown = "both tabs" if picture.flat else "plus ends" if sign == PLUS else "minus ends"
    size = min(3.4, 0.21 * picture.row_mm)
    # Clear of the pack's own lead, which lies at the top of the first group and at the foot of the last.
    middle = 0.53 if group == 0 and sign == MINUS else 0.4
    y = top + middle * picture.row_mm + 0.1 * size
    if len(picture.groups) > 1 or len(picture.groups[0]) > 1:
        name = f"group {group + 1}" if len(picture.groups) > 1 else "one group"
        face.texts.append(text_item(name, left, y, size, True))
        y += 1.15 * size
    face.texts.append(text_item(shown, left, y, 0.85 * size, False))


def _below(picture: Picture, face: Face, group: int, at: tuple[float, float]) -> None:
    """Between a group and the next: their link where their bars lie on this face, else a line that keeps them apart."""
    left, y = at
    if group + 1 >= len(picture.groups):
        return
    x0, width = left + MARGIN_MM, picture.width_mm - MARGIN_MM
    size = min(2.8, 0.2 * picture.row_mm)
    # Where the next group's minus is on this face a link joins them; elsewhere metal would short a group.
    if PLUS in picture.signs(group):
        edge = 0.055 * picture.row_mm
        face.links.append(Strip(f"link {group + 1}", Box(x0, y - edge, width, 2 * edge)))
        words, middle = f"LINK {group + 1}", y + 0.5 * CAP_SHARE * size
        right = left + MARGIN_MM - 2.0 - text_width(words, size, True)
        face.texts.append(text_item(words, right, middle, size, True))
    else:
        words = "not joined"
        face.gaps.append((left + text_width(words, size, False) + 1.5, y, x0 + width, y))
        face.texts.append(text_item(words, left, y + 0.5 * CAP_SHARE * size, size, False))


def draw_one_cell(cell: SheetCell, left: float, top: float) -> Face:
    """One cell lying on its side between the two wires of the device."""
    face, length, high = Face(size=(150.0, 26.0)), 66.0, 18.0
    body = Box(left + 42.0, top + 4.0, length, high)
    face.outlines.append(body)
    middle, radius = body.y + 0.5 * high, 5.0
    for sign, x, way in ((MINUS, body.x + radius + 1.5, -1.0), (PLUS, body.right - radius - 1.5, 1.0)):
        disc = Disc(cell.position + sign, x, middle, radius, bare=True)
        start = x + way * (radius - _INTO_MM)
        edge = body.x - 14.0 if way < 0 else body.right + 12.0
        face.discs.append(disc)
        face.bars.append(Strip(f"bar 1{sign}", Box(edge, middle - 3.0, 2.0, 6.0)))
        face.tabs.append((start, middle, edge + 1.0, middle))
        lead = Box(edge - 4.0 if way < 0 else edge + 2.0, middle - 0.9, 4.0, 1.8)
        face.leads.append(Strip(f"pack {sign}", lead))
        # The fuse comes first after the plus end: everything behind it is protected (a short before it is
        # not).
        words = "DEVICE MINUS" if way < 0 else "FUSE, then DEVICE PLUS"
        lines = words.split(", ")
        for k, line in enumerate(lines):
            x_text = lead.x - 1.0 - text_width(line, 3.0, True) if way < 0 else lead.right + 1.0
            face.texts.append(text_item(line, x_text, middle + 1.0 + 4.0 * k, 3.0, True))
    left_of_middle = body.x + 0.5 * (length - code_width(cell.code, 5.0))
    face.texts.append(text_item(cell.code, left_of_middle, middle + 1.5, 5.0, True, mono=True))
    return face


def parts_of(series: int, parallel: int, rows: int, columns: int) -> Iterator[Part]:
    """The pack cut into pictures of at most so many rows and columns, evenly."""
    # Even parts: a last page with one column would look like a different pack.
    down, across = -(-series // rows), -(-parallel // columns)
    high, wide = -(-series // down), -(-parallel // across)
    for top in range(0, series, high):
        for first in range(0, parallel, wide):
            yield Part(top, min(series, top + high), first, min(parallel, first + wide))
