"""Where everything is on one label, in millimetres from its upper left corner.

Pure. The gauge, frame or field that says what a cell may do is at the left edge, the largest words beside it, the
small texts below them, the QR symbol with its quiet zone at the right edge.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import combinations, pairwise

from straycell.errors import BadData
from straycell.labels.boxes import Box, dashes, frame
from straycell.labels.content import FIELDS, Face, LabelContent
from straycell.labels.faces import code_width, text_width
from straycell.labels.payload import QUIET_MODULES, Payload
from straycell.labels.stocks.stock import LabelShape

LEAST_SIZE_MM = 1.76
"""5 pt, the smallest print that is still read at arm's length (common practice, no published source)."""

COMFORT_SIZE_MM = 2.3
"""6.5 pt: longer wordings are taken only where they can be printed at least this large."""

MOST_SIZE_MM = 4.2
CAP_SHARE = 0.76
DESCENT_SHARE = 0.24
RULE_MM = 0.15

# Shares: of the label's inner height unless a size is named.
_GAUGE_SHARE = 0.19
_GAUGE_MM = (2.0, 6.0)
_FIELD_GAP_SHARE = 0.05
_OUTLINE_MM = 0.3
_HEADLINE_SHARE, _WORDS_SHARE = 0.34, 0.40
_LEAST_HEADLINE_MM = 3.15
_UNIT_SHARE = 0.45
_ROW_GAP_SHARE = 0.24
_WORD_GAP_SHARE = 0.75
_DASH_MM = (1.8, 1.1, 0.5)
_PAD_SHARE = 0.07
_LARGE_SHARE = 0.22
# Laid out for the widest code, all labels of a sheet get the same sizes.
_WIDEST_CODE = "W00000W"


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
class Symbol:
    """A QR symbol; `box` includes its quiet zone."""

    payload: Payload
    box: Box
    module_mm: float

    @property
    def dark(self) -> Box:
        """The symbol without its quiet zone."""
        return self.box.shrunk(QUIET_MODULES * self.module_mm)


@dataclass(frozen=True, slots=True)
class Layout:
    """One label, ready to draw: black boxes first, then texts, then the symbol."""

    shape: LabelShape
    symbol: Symbol | None
    texts: tuple[TextItem, ...]
    fills: tuple[Box, ...] = ()


def lay_out(content: LabelContent, shape: LabelShape) -> Layout:
    """Place the content on a label. Raises BadData when the code, the symbol or a warning cannot be printed in full."""
    inner = Box(0, 0, shape.width_mm, shape.height_mm).shrunk(shape.inset_mm)
    # Placed first: the symbol cannot shrink below what a camera reads, texts can.
    symbol = _symbol(content, shape, inner)
    right = symbol.box.x if symbol else inner.right
    room = Box(inner.x, inner.y, right - inner.x, inner.height)
    if content.face in (Face.GAUGE, Face.BLANK):
        gauge = _gauge(content.filled, inner)
        left = gauge[0].x + _gauge_width(inner) + 0.25 * _gauge_width(inner)
        column = Box(left, inner.y, right - left, inner.height)
        return Layout(shape, symbol, tuple(_column(content, column)), (*gauge, *_rules(content, column)))
    if content.face is Face.PLAIN:
        return Layout(shape, symbol, tuple(_column(content, room)))
    # The words keep clear of the frame and of the field's edge, which a label cut askew may touch.
    pad = max(_PAD_SHARE * inner.height, 1.1)
    white = content.face is Face.DO_NOT_USE
    fills = (room,) if white else tuple(dashes(room, *_DASH_MM))
    return Layout(shape, symbol, tuple(_column(content, room.shrunk(pad), white)), fills)


# --- symbol and gauge ------------------------------------------------------------------------------


def _symbol(content: LabelContent, shape: LabelShape, inner: Box) -> Symbol | None:
    if content.payload is None:
        return None
    module = shape.module_for(content.payload)
    # The quiet zone of four modules is part of the symbol (ISO/IEC 18004): print in it and no reader finds
    # it.
    side = (content.payload.modules + 2 * QUIET_MODULES) * module
    return Symbol(
        content.payload, Box(inner.right - side, inner.y + (inner.height - side) / 2, side, side), module
    )


def _gauge_width(inner: Box) -> float:
    return min(max(_GAUGE_SHARE * inner.height, _GAUGE_MM[0]), _GAUGE_MM[1])


def _gauge(filled: int, inner: Box) -> list[Box]:
    """Three fields one above the other at the left edge, filled from below; the others are outlines."""
    # Fields that touch would read as one at a metre.
    gap = max(_FIELD_GAP_SHARE * inner.height, 0.5)
    height = (inner.height - (FIELDS - 1) * gap) / FIELDS
    fills: list[Box] = []
    for number in range(FIELDS):
        field = Box(inner.x, inner.bottom - height - number * (height + gap), _gauge_width(inner), height)
        fills += [field] if number < filled else frame(field, _OUTLINE_MM)
    return fills


def _rules(content: LabelContent, column: Box) -> Iterator[Box]:
    """A line to write on after each word, ending where the column ends."""
    for item in _rule_words(content, column):
        start = min(column.right, item.box.right + 0.5 * item.size_mm)
        yield Box(start, item.baseline_mm, max(column.right - start - 0.5, 0.0), RULE_MM)


def _rule_words(content: LabelContent, column: Box) -> list[TextItem]:
    size = max(LEAST_SIZE_MM, min(MOST_SIZE_MM, 0.17 * column.height, 0.1 * column.width))
    share = 0.62 * column.height / max(len(content.rules), 1)
    first = column.bottom - DESCENT_SHARE * size - share * (len(content.rules) - 1)
    return [
        text_item(word, column.x, first + n * share, size, deep=False) for n, word in enumerate(content.rules)
    ]


# --- texts -----------------------------------------------------------------------------------------


def _column(content: LabelContent, column: Box, white: bool = False) -> Iterator[TextItem]:
    """The largest words, then the small texts below them in as many rows as print them largest."""
    if content.rules:
        yield from _headline(content, Box(column.x, column.y, column.width, 0.34 * column.height), white)
        yield from _rule_words(content, column)
        return
    best = max(_arrangements(content, column), key=_merit, default=None)
    if best is None:
        yield from _headline(content, column, white)
        return
    # Unreadable print is refused: a person would guess it.
    if best.size_mm < LEAST_SIZE_MM - 1e-9:
        raise BadData(
            f"the texts of label {content.code} do not fit on it", "use a larger stock; see: label stocks"
        )
    below = _rows_height(len(best.rows), best.size_mm)
    words = Box(column.x, column.y, column.width, column.height - below - 0.2 * best.size_mm)
    yield from _headline(content, words, white)
    yield from _placed(best, Box(column.x, column.bottom - below, column.width, below), white)


@dataclass(frozen=True, slots=True)
class _Rows:
    """Small texts in rows, and the size at which all of them fit."""

    rows: tuple[tuple[tuple[str, bool], ...], ...]
    size_mm: float


def _merit(found: _Rows) -> tuple[float, int, float]:
    """Comfortable print first, then few rows, which leave the headline its height, then large print."""
    # Beyond comfortable reading the headline deserves the room more than the small texts.
    return min(found.size_mm, COMFORT_SIZE_MM), -len(found.rows), found.size_mm


def _rows_height(rows: int, size: float) -> float:
    return rows * (CAP_SHARE + _ROW_GAP_SHARE) * size


def _arrangements(content: LabelContent, column: Box) -> Iterator[_Rows]:
    """Every way to break the texts into rows: in full wordings if that stays comfortable, else in short ones, else
    without what may be left out.
    """
    room = column.height - _headline_mm(content, column)
    needed = [line for line in content.lines if not line.optional]
    # Longer wordings first: short forms need knowing, and a stranger may hold the cell.
    for lines, wording in ((content.lines, 0), (content.lines, -1), (needed, -1)):
        texts = [(line.wordings[wording], line.mono) for line in lines]
        counts = range(1, len(texts) + 1)
        found = [_sized(rows, column.width, room) for count in counts for rows in _broken(texts, count)]
        yield from found
        if any(rows.size_mm >= COMFORT_SIZE_MM for rows in found):
            return


def _headline_mm(content: LabelContent, column: Box) -> float:
    """The height that small texts leave to the largest words: digits of 3 mm where the label is high enough."""
    share = _WORDS_SHARE if content.face in (Face.NOT_YET, Face.DO_NOT_USE) else _HEADLINE_SHARE
    return max(share * column.height, _LEAST_HEADLINE_MM)


def _broken(texts: list[tuple[str, bool]], rows: int) -> Iterator[tuple[tuple[tuple[str, bool], ...], ...]]:
    for cuts in combinations(range(1, len(texts)), rows - 1):
        edges = (0, *cuts, len(texts))
        yield tuple(tuple(texts[a:b]) for a, b in pairwise(edges))


def _sized(rows: tuple[tuple[tuple[str, bool], ...], ...], width: float, height: float) -> _Rows:
    """The size these rows can have in that room."""
    tall = height / (_rows_height(len(rows), 1.0) + 0.2)
    wide = width / max(_row_width(row) for row in rows)
    return _Rows(rows, min(tall, wide, max(MOST_SIZE_MM, _LARGE_SHARE * height)))


def _row_width(row: Sequence[tuple[str, bool]]) -> float:
    """Width of a row at a size of 1 mm."""
    gaps = _WORD_GAP_SHARE * (len(row) - 1)
    return gaps + sum(_width(text, 1.0, True, mono) for text, mono in row)


def _width(text: str, size: float, bold: bool, mono: bool) -> float:
    return code_width(text, size) if mono else text_width(text, size, bold)


def _placed(found: _Rows, below: Box, white: bool) -> Iterator[TextItem]:
    step = below.height / len(found.rows)
    for number, row in enumerate(found.rows):
        baseline = below.y + (number + 1) * step - 0.04 * found.size_mm
        x = below.x
        for text, mono in row:
            item = text_item(text, x, baseline, found.size_mm, True, mono=mono, white=white, deep=False)
            yield item
            x = item.box.right + _WORD_GAP_SHARE * found.size_mm


def _headline(content: LabelContent, room: Box, white: bool) -> Iterator[TextItem]:
    """The words as large as the room allows, in the wording that can be largest; the unit follows on the baseline."""
    # A code alone is set in the face whose zero is slashed, as it is typed again by hand.
    mono = content.headline == (content.code,)
    sized = [(_headline_size(words, content.unit, room, mono), words) for words in content.headline]
    size, words = max(sized, key=lambda pair: pair[0])
    if size < LEAST_SIZE_MM:
        raise BadData(f"'{words}' does not fit on the label", "use a larger stock; see: label stocks")
    rows = words.split("\n")
    height = (CAP_SHARE * len(rows) + 0.2 * (len(rows) - 1)) * size
    baseline = room.y + (room.height - height) / 2 + CAP_SHARE * size
    for row in rows:
        item = text_item(row, room.x, baseline, size, True, mono=mono, white=white, deep=False)
        yield item
        baseline += (CAP_SHARE + 0.2) * size
    if content.unit:
        x = item.box.right + 0.25 * _UNIT_SHARE * size
        yield text_item(content.unit, x, item.baseline_mm, _UNIT_SHARE * size, True, white=white, deep=False)


def _headline_size(words: str, unit: str, room: Box, mono: bool) -> float:
    rows = words.split("\n")
    tall = room.height / (CAP_SHARE * len(rows) + 0.2 * (len(rows) - 1))
    # Measured by the widest code, so that all labels of a sheet look alike.
    wide = max(_width(_WIDEST_CODE if mono else row, 1.0, True, mono) for row in rows)
    if unit:
        wide += _UNIT_SHARE * (0.25 + text_width(unit, 1.0, True))
    return min(tall, room.width / wide)


def text_item(
    text: str,
    x: float,
    baseline: float,
    size: float,
    bold: bool = False,
    *,
    mono: bool = False,
    white: bool = False,
    deep: bool = True,
) -> TextItem:
    """A text with its box. `mono`: in the face for codes, whose zero is not an O; `deep`: with room below the line."""
    high = CAP_SHARE + DESCENT_SHARE * deep
    box = Box(x, baseline - CAP_SHARE * size, _width(text, size, bold, mono), high * size)
    return TextItem(text, x, baseline, size, bold, box, mono, white)


def fitting_size(text: str, nominal: float, width: float, bold: bool = False) -> float:
    """The largest size up to `nominal` at which the text fits `width`, but at least the smallest print."""
    size = max(nominal, LEAST_SIZE_MM)
    wide = text_width(text, size, bold)
    return max(LEAST_SIZE_MM, size * width / wide) if wide > width > 0 else size
