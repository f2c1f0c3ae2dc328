"""Where everything stands on one label, in millimetres from its upper left corner.

Pure: the width of a text is asked of a `Measure` that the renderer brings: the same rules for PDF and PNG.

The QR symbol with its quiet zone stands on the left; the code and the lines stand in the column beside it.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace

from straycell.errors import BadData
from straycell.labels.boxes import Box
from straycell.labels.content import MOST_LINES, LabelContent, Line, Role
from straycell.labels.payload import QUIET_MODULES
from straycell.labels.stock import LabelShape

Measure = Callable[[str, float, bool], float]
"""(text, size in mm, bold) to the width in mm."""

LEAST_SIZE_MM = 1.76
"""5 pt, the smallest print that is still read at arm's length (common practice, no published source)."""

COMFORT_SIZE_MM = 2.1
"""6 pt: a longer wording is chosen only where it can be printed at least this large."""

MOST_SIZE_MM = 3.8
CAP_SHARE = 0.76
DESCENT_SHARE = 0.24
CODE_DESCENT_SHARE = 0.08
RULE_MM = 0.15
ELLIPSIS = "..."

# Shares of the column: of its height for what is stacked, of its width for words before a rule.
_BODY_SHARE = 0.13
_CODE_SHARE = 0.30
_HATCHED_CODE_SHARE = 0.24
_WARNING_SHARE = 0.22
_HATCH_SHARE = 0.11
_WRITE_IN_SHARE = 0.29
_WORD_SHARE = 0.5
_PAIR_GAP_SHARE = 0.6
_WIDEST_CODE = "W00000W"
_BOLD = {Role.KIND, Role.OUTCOME, Role.WARNING}


@dataclass(frozen=True, slots=True)
class TextItem:
    """A text on its baseline; `box` is the room it keeps for itself. `mono`: in the face for codes."""

    text: str
    x_mm: float
    baseline_mm: float
    size_mm: float
    bold: bool
    box: Box
    mono: bool = False
    white: bool = False


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
    """One row of the column: room above and below its baseline. Without a size it is a hatched band.

    `gap` weighs the room that follows it against that of the other rows.
    """

    above: float
    below: float
    text: str = ""
    right: str = ""
    size_mm: float = 0.0
    bold: bool = False
    write_in: bool = False
    gap: float = 1.0

    @property
    def height(self) -> float:
        return self.above + self.below


def lay_out(content: LabelContent, shape: LabelShape, measure: Measure) -> Layout:
    """Place the content on a label. Raises BadData when the code or a warning cannot stand on it in full."""
    side = shape.qr_mm
    qr = Box(shape.inset_mm, (shape.height_mm - side) / 2, side, side)
    inner_height = shape.height_mm - 2 * shape.inset_mm
    column = Box(qr.right, shape.inset_mm, shape.width_mm - shape.inset_mm - qr.right, inner_height)
    body = _body_rows(content.lines, column, measure)
    if content.hatched:
        band = _Row(0.0, _HATCH_SHARE * column.height)
        rows = [band, _code_row(content.code, column, _HATCHED_CODE_SHARE, measure), *body, band]
    else:
        code = _code_row(content.code, column, _CODE_SHARE, measure)
        rows = [replace(code, gap=2.0), *body, *_empty_rows(content, column)]
    texts, rules, hatches = _stacked(rows, column, measure)
    return Layout(shape, qr, texts, rules, hatches)


def _code_row(code: str, column: Box, share: float, measure: Measure) -> _Row:
    """Sized for the widest code there can be, so that all codes of a sheet are of one size."""
    nominal = share * column.height / CAP_SHARE
    size = fitting_size(_WIDEST_CODE, nominal, column.width, True, measure)
    size = fitting_size(code, size, column.width, True, measure)
    if measure(code, size, True) > column.width:
        raise BadData(f"the code {code} does not fit beside the QR symbol", "use a larger label")
    return _Row(CAP_SHARE * size, CODE_DESCENT_SHARE * size, code, "", size, True)


def _nominal_size(column: Box) -> float:
    return min(MOST_SIZE_MM, max(LEAST_SIZE_MM, _BODY_SHARE * column.height))


def _empty_rows(content: LabelContent, column: Box) -> list[_Row]:
    """Room for lines this label lacks, so that the lines of neighbouring labels stand level."""
    if any(line.role is Role.WRITE_IN for line in content.lines):
        return []
    size = _nominal_size(column)
    missing = max(0, MOST_LINES - len(content.lines))
    return [_Row(CAP_SHARE * size, DESCENT_SHARE * size, size_mm=size)] * missing


def _body_rows(lines: tuple[Line, ...], column: Box, measure: Measure) -> list[_Row]:
    """All lines in one size, the largest at which the widest of the chosen wordings fits."""
    nominal = _nominal_size(column)
    comfort = min(nominal, COMFORT_SIZE_MM)
    chosen = [(line, _wording(line, comfort, column.width, measure)) for line in lines]
    sizes = [
        _pair_size(wording, nominal, column.width, line.role in _BOLD, measure)
        for line, wording in chosen
        if line.role not in (Role.WARNING, Role.WRITE_IN)
    ]
    size = min(sizes, default=nominal)
    return [_line_row(line, wording, size, column, measure) for line, wording in chosen]


def _wording(line: Line, size: float, width: float, measure: Measure) -> tuple[str, str]:
    """The longest wording that fits; a line to write on keeps most of the width for the pen."""
    room = width * _WORD_SHARE if line.role is Role.WRITE_IN else width
    bold = line.role in _BOLD
    fitting = (pair for pair in line.wordings if _pair_width(pair, size, bold, measure) <= room)
    return next(fitting, line.wordings[-1])


def _pair_width(pair: tuple[str, str], size: float, bold: bool, measure: Measure) -> float:
    text, right = pair
    extra = _PAIR_GAP_SHARE * size + measure(right, size, False) if right else 0.0
    return measure(text, size, bold) + extra


def _line_row(line: Line, wording: tuple[str, str], size: float, column: Box, measure: Measure) -> _Row:
    bold = line.role in _BOLD
    text, right = wording
    if line.role is Role.WARNING:
        size = fitting_size(text, _WARNING_SHARE * column.height / CAP_SHARE, column.width, True, measure)
        if measure(text, size, True) > column.width:
            raise BadData(f"the warning '{text}' does not fit on the label", "use a larger label")
        return _Row(CAP_SHARE * size, CODE_DESCENT_SHARE * size, text, "", size, True)
    if _pair_width(wording, size, bold, measure) > column.width:
        whole = line.role in (Role.FIGURE, Role.OUTCOME)
        text, right = _cut("" if whole else text, size, column.width, bold, measure), ""
    nominal = _nominal_size(column)
    above, below = CAP_SHARE * nominal, DESCENT_SHARE * nominal
    if line.role is Role.WRITE_IN:
        above = max(_WRITE_IN_SHARE * column.height - below, above)
        return _Row(above, below, text, "", size, bold, True, gap=0.0)
    return _Row(above, below, text, right, size, bold)


def fitting_size(text: str, nominal: float, width: float, bold: bool, measure: Measure) -> float:
    """The largest size up to `nominal` at which the text fits `width`, but at least the smallest print."""
    return _pair_size((text, ""), nominal, width, bold, measure)


def _pair_size(pair: tuple[str, str], nominal: float, width: float, bold: bool, measure: Measure) -> float:
    size = max(nominal, LEAST_SIZE_MM)
    wide = _pair_width(pair, size, bold, measure)
    if wide > width > 0:
        size = max(LEAST_SIZE_MM, size * width / wide)
    # Hinted screen fonts do not scale evenly, so the guess may still be a little wide.
    while size > LEAST_SIZE_MM and _pair_width(pair, size, bold, measure) > width:
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


_Stacked = tuple[tuple[TextItem, ...], tuple[Box, ...], tuple[Box, ...]]


def _stacked(rows: list[_Row], column: Box, measure: Measure) -> _Stacked:
    """Texts, rules and bands of the rows one below the other, the slack shared between gaps and both ends."""
    slack = column.height - sum(row.height for row in rows)
    if slack < -1e-9:
        raise BadData("the lines do not fit on the label one below the other", "use a larger label")
    weights = sum(row.gap for row in rows[:-1])
    widest = 0.45 * min(row.height for row in rows)
    # Bands end where the printable height ends; elsewhere what the gaps do not take goes to both ends.
    banded = not rows[0].size_mm
    gap = max(slack, 0.0) / weights if banded else min(max(slack, 0.0) / (weights + 1), widest)
    top = column.y + (slack - gap * weights) / 2
    texts: list[TextItem] = []
    hatches: list[Box] = []
    for row in rows:
        box = Box(column.x, top, column.width, row.height)
        if not row.size_mm:
            hatches.append(box)
        texts += _placed(row, box, measure)
        top += row.height + gap * row.gap
    return tuple(texts), _rules(rows, texts, column), tuple(hatches)


def _placed(row: _Row, box: Box, measure: Measure) -> Iterator[TextItem]:
    """The row's text at the left edge and, when it has one, its date at the right edge."""
    baseline = box.y + row.above
    if row.text:
        width = min(measure(row.text, row.size_mm, row.bold), box.width)
        yield TextItem(row.text, box.x, baseline, row.size_mm, row.bold, Box(box.x, box.y, width, box.height))
    if row.right:
        width = measure(row.right, row.size_mm, False)
        x = box.right - width
        yield TextItem(row.right, x, baseline, row.size_mm, False, Box(x, box.y, width, box.height))


def _rules(rows: list[_Row], texts: list[TextItem], column: Box) -> tuple[Box, ...]:
    """Lines to write on, all beginning after the longest of their words."""
    if not any(row.write_in for row in rows):
        return ()
    words = texts[1:]
    start = min(column.right, max(word.box.right + 0.5 * word.size_mm for word in words))
    return tuple(Box(start, word.baseline_mm, max(column.right - start, 0.0), RULE_MM) for word in words)
