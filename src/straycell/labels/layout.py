"""Where everything stands on one label, in millimetres from its upper left corner.

Pure: the width of a text is asked of a `Measure` that the renderer brings: the same rules for PDF and PNG.

The QR symbol with its quiet zone stands on the left; the code and the lines stand in the column beside it.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass

from straycell.errors import BadData
from straycell.labels.content import LabelContent, Line, Role
from straycell.labels.payload import QUIET_MODULES
from straycell.labels.stock import LabelShape

Measure = Callable[[str, float, bool], float]
"""(text, size in mm, bold) to the width in mm."""

LEAST_SIZE_MM = 1.76
"""5 pt, the smallest print that is still read at arm's length (common practice, no published source)."""

COMFORT_SIZE_MM = 2.1
"""6 pt: a longer wording is chosen only where it can be printed at least this large."""

MOST_SIZE_MM = 4.2
CAP_SHARE = 0.76
DESCENT_SHARE = 0.23
CODE_DESCENT_SHARE = 0.08
RULE_MM = 0.15
ELLIPSIS = "..."

_BODY_SHARE = 0.135
_CODE_SHARE = 0.30
_HATCHED_CODE_SHARE = 0.25
_WARNING_SHARE = 0.21
_HATCH_SHARE = 0.12
_WRITE_IN_SHARE = 0.26
_BOLD = {Role.KIND, Role.OUTCOME, Role.WARNING}


@dataclass(frozen=True, slots=True)
class Box:
    """A rectangle in mm; y grows downwards."""

    x: float
    y: float
    width: float
    height: float

    @property
    def right(self) -> float:
        return self.x + self.width

    @property
    def bottom(self) -> float:
        return self.y + self.height

    def shrunk(self, by: float) -> Box:
        return Box(self.x + by, self.y + by, self.width - 2 * by, self.height - 2 * by)


@dataclass(frozen=True, slots=True)
class TextItem:
    """A text on its baseline; `box` is the room it keeps for itself."""

    text: str
    x_mm: float
    baseline_mm: float
    size_mm: float
    bold: bool
    box: Box


@dataclass(frozen=True, slots=True)
class Layout:
    """One label, ready to draw. `qr` includes the quiet zone; `rules` are thin lines to write on."""

    shape: LabelShape
    qr: Box
    texts: tuple[TextItem, ...]
    rules: tuple[Box, ...] = ()
    hatches: tuple[Box, ...] = ()

    @property
    def symbol(self) -> Box:
        """The dark part of the QR symbol, without its quiet zone."""
        return self.qr.shrunk(QUIET_MODULES * self.shape.module_mm)

    def boxes(self) -> tuple[Box, ...]:
        """Everything that takes room."""
        return (self.qr, *(text.box for text in self.texts), *self.rules, *self.hatches)


@dataclass(frozen=True, slots=True)
class _Row:
    """One row of the column: room above and below its baseline. Without a text it is a hatched band."""

    above: float
    below: float
    text: str = ""
    size_mm: float = 0.0
    bold: bool = False
    write_in: bool = False

    @property
    def height(self) -> float:
        return self.above + self.below


def lay_out(content: LabelContent, shape: LabelShape, measure: Measure) -> Layout:
    """Place the content on a label. Raises BadData when the code or a warning cannot stand on it in full."""
    side = shape.qr_mm
    qr = Box(shape.inset_mm, (shape.height_mm - side) / 2, side, side)
    inner_height = shape.height_mm - 2 * shape.inset_mm
    column = Box(qr.right, shape.inset_mm, shape.width_mm - shape.inset_mm - qr.right, inner_height)
    rows = _hatched_rows if content.hatched else _plain_rows
    return _stacked(rows(content, column, measure), Layout(shape, qr, ()), column, measure)


def _plain_rows(content: LabelContent, column: Box, measure: Measure) -> list[_Row]:
    return [
        _code_row(content.code, column, _CODE_SHARE, measure),
        *_body_rows(content.lines, column, measure),
    ]


def _hatched_rows(content: LabelContent, column: Box, measure: Measure) -> list[_Row]:
    band = _Row(0.0, _HATCH_SHARE * column.height)
    code = _code_row(content.code, column, _HATCHED_CODE_SHARE, measure)
    return [band, code, *_body_rows(content.lines, column, measure), band]


def _code_row(code: str, column: Box, share: float, measure: Measure) -> _Row:
    size = fitting_size(code, share * column.height / CAP_SHARE, column.width, True, measure)
    if measure(code, size, True) > column.width:
        raise BadData(f"the code {code} does not fit beside the QR symbol", "use a larger label")
    return _Row(CAP_SHARE * size, CODE_DESCENT_SHARE * size, code, size, True)


def _body_rows(lines: tuple[Line, ...], column: Box, measure: Measure) -> list[_Row]:
    """All lines in one size, the largest at which the widest of the chosen wordings fits."""
    nominal = min(MOST_SIZE_MM, max(LEAST_SIZE_MM, _BODY_SHARE * column.height))
    comfort = min(nominal, COMFORT_SIZE_MM)
    texts = {line: _wording(line, comfort, column.width, measure) for line in lines}
    size = min(
        (
            fitting_size(text, nominal, column.width, line.role in _BOLD, measure)
            for line, text in texts.items()
            if line.role is not Role.WARNING
        ),
        default=nominal,
    )
    return [_line_row(line, texts[line], size, column, measure) for line in lines]


def _wording(line: Line, size: float, width: float, measure: Measure) -> str:
    bold = line.role in _BOLD
    return next((text for text in line.texts if measure(text, size, bold) <= width), line.texts[-1])


def _line_row(line: Line, text: str, size: float, column: Box, measure: Measure) -> _Row:
    bold = line.role in _BOLD
    if line.role is Role.WARNING:
        size = fitting_size(text, _WARNING_SHARE * column.height / CAP_SHARE, column.width, True, measure)
        if measure(text, size, True) > column.width:
            raise BadData(f"the warning '{text}' does not fit on the label", "use a larger label")
        return _Row(CAP_SHARE * size, CODE_DESCENT_SHARE * size, text, size, True)
    if line.role is Role.WRITE_IN:
        above = max(_WRITE_IN_SHARE * column.height - DESCENT_SHARE * size, CAP_SHARE * size)
        shown = _cut(text, size, column.width, bold, measure)
        return _Row(above, DESCENT_SHARE * size, shown, size, bold, True)
    if measure(text, size, bold) > column.width:
        whole = line.role in (Role.FIGURE, Role.OUTCOME)
        text = _cut("" if whole else text, size, column.width, bold, measure)
    return _Row(CAP_SHARE * size, DESCENT_SHARE * size, text, size, bold)


def fitting_size(text: str, nominal: float, width: float, bold: bool, measure: Measure) -> float:
    """The largest size up to `nominal` at which the text fits `width`, but at least the smallest print."""
    size = max(nominal, LEAST_SIZE_MM)
    wide = measure(text, size, bold)
    if wide > width > 0:
        size = max(LEAST_SIZE_MM, size * width / wide)
    # Hinted screen fonts do not scale evenly, so the guess may still be a little wide.
    while size > LEAST_SIZE_MM and measure(text, size, bold) > width:
        size = max(LEAST_SIZE_MM, size * 0.98)
    return size


def _cut(text: str, size: float, width: float, bold: bool, measure: Measure) -> str:
    """The text, or as much of it as fits followed by an ellipsis; nothing where not even that fits."""
    if text and measure(text, size, bold) <= width:
        return text
    for end in range(len(text), -1, -1):
        shown = text[:end].rstrip() + ELLIPSIS
        if measure(shown, size, bold) <= width:
            return shown
    return ""


def _stacked(rows: list[_Row], empty: Layout, column: Box, measure: Measure) -> Layout:
    """The rows one below the other, the slack shared between gaps and both ends."""
    slack = column.height - sum(row.height for row in rows)
    if slack < -1e-9:
        raise BadData("the lines do not fit on the label one below the other", "use a larger label")
    widest_gap = 0.35 * max(row.size_mm for row in rows[1:]) if len(rows) > 1 else 0.0
    gap = min(max(slack, 0.0) / (len(rows) + 1), widest_gap)
    top = column.y + (slack - gap * (len(rows) - 1)) / 2
    texts: list[TextItem] = []
    rules: list[Box] = []
    hatches: list[Box] = []
    for row in rows:
        box = Box(column.x, top, column.width, row.height)
        if not row.size_mm:
            hatches.append(box)
        elif row.write_in:
            texts.append(_placed(row, box, measure))
            rules.append(_rule(texts[-1], column))
        elif row.text:
            texts.append(_placed(row, box, measure))
        top += row.height + gap
    return Layout(empty.shape, empty.qr, tuple(texts), tuple(rules), tuple(hatches))


def _placed(row: _Row, box: Box, measure: Measure) -> TextItem:
    width = min(measure(row.text, row.size_mm, row.bold), box.width)
    room = Box(box.x, box.y, width, box.height)
    return TextItem(row.text, box.x, box.y + row.above, row.size_mm, row.bold, room)


def _rule(text: TextItem, column: Box) -> Box:
    start = min(text.box.right + 0.4 * text.size_mm, column.right)
    return Box(start, text.baseline_mm, column.right - start, RULE_MM)


def stripes(box: Box, width_mm: float) -> Iterator[list[tuple[float, float]]]:
    """Slanting bars across a band, as polygons that end exactly at its rim; gaps are as wide as the bars."""
    start = box.x - box.height
    while start < box.right:
        bar = [
            (start, box.bottom),
            (start + width_mm, box.bottom),
            (start + width_mm + box.height, box.y),
            (start + box.height, box.y),
        ]
        bar = _kept(_kept(bar, box.x, 1.0), box.right, -1.0)
        if len(bar) >= 3:
            yield bar
        start += 2 * width_mm


def _kept(corners: list[tuple[float, float]], edge: float, side: float) -> list[tuple[float, float]]:
    """The part of a convex polygon on one side of an upright edge (side 1: right of it, -1: left of it)."""
    kept: list[tuple[float, float]] = []
    for (ax, ay), (bx, by) in zip(corners, corners[1:] + corners[:1], strict=True):
        a_in, b_in = side * (ax - edge) >= 0, side * (bx - edge) >= 0
        if a_in:
            kept.append((ax, ay))
        if a_in != b_in:
            kept.append((edge, ay + (by - ay) * (edge - ax) / (bx - ax)))
    return kept
