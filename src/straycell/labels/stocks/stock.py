"""A label stock: where its labels are on the page, where they go on a cell, and what can be wrong with that."""

import math
from dataclasses import dataclass
from enum import StrEnum

from straycell.cells import Form
from straycell.errors import UsageFault
from straycell.labels.payload import LAST_SMALL_VERSION, QUIET_MODULES, SIDE_MODULES, Payload

LEAST_MODULE_MM = 0.33
"""Below this a telephone's camera fails on a round cell (common practice, no published source)."""

FINE_MODULE_MM, FINE_DPI = 0.25, 300
"""The least module of a stock that asks for a printer of 300 dpi: three dots."""

MOST_ANGLE_DEG = 60.0
"""Of a cell's circumference, for the dark part of the symbol: its edge modules are still seen at 0.87 of their width."""

PAPER_MM = 0.1
"""Thickness of office paper, so that the print lies this far outside the cell (80 g/m2; common practice)."""

LEAST_COLUMN_MM = 9.0
"""Width beside the symbol that a gauge and the code take at 5 pt (tried out, unpublished)."""

LEAST_HEIGHT_MM = 8.0
SLACK_MM = 1e-6


Where = StrEnum("Where", "ALONG AROUND FLAT FLAG BOX")
"""Where a label goes. On a round cell its text runs along the axis or around it."""


@dataclass(frozen=True, slots=True)
class LabelShape:
    """One label: its size, the rim that stays unprinted, and the side of one QR module, all in mm.

    `symbol_most_mm` bounds the dark part of any symbol; `long_links`: addresses beyond version 3 may be on it;
    `dot_mm`: modules are a whole number of dots of a printer (0: any).
    """

    width_mm: float
    height_mm: float
    inset_mm: float
    module_mm: float
    least_module_mm: float = LEAST_MODULE_MM
    symbol_most_mm: float = math.inf
    long_links: bool = False
    dot_mm: float = 0.0

    @property
    def qr_mm(self) -> float:
        """Side of a bare code's symbol with its quiet zone."""
        return SIDE_MODULES * self.module_mm

    def module_for(self, payload: Payload) -> float:
        """The side of one module of this symbol. Raises UsageFault when it would be too small to be read."""
        modules, quiet = payload.modules, payload.modules + 2 * QUIET_MODULES
        room = min(self.height_mm - 2 * self.inset_mm, self.width_mm - 2 * self.inset_mm - LEAST_COLUMN_MM)
        module = min(self.module_mm, self.symbol_most_mm / modules, room / quiet)
        # Rounded down: a module larger than its room would eat the quiet zone.
        if self.dot_mm:
            module = math.floor(module / self.dot_mm + SLACK_MM) * self.dot_mm
        too_long = payload.version > LAST_SMALL_VERSION and not self.long_links
        if too_long or module < self.least_module_mm - SLACK_MM:
            raise UsageFault(
                f"the address {payload.text} is too long for its label",
                "use a shorter address, a flag (--stock plain-flag), or the bare code",
            )
        return module


@dataclass(frozen=True, slots=True)
class Stock:
    """A page of labels in `columns` and `rows`; pitch is from one label's edge to the next one's, in mm.

    `forms`: the cells it goes on; `dpi`: the least a printer needs; `tail_mm`: an unprinted strip left of each label that goes
    around a tab; `cut_lines` draws the outlines on plain paper.
    """

    name: str
    text: str
    source: str
    where: Where
    forms: tuple[Form, ...]
    page_width_mm: float
    page_height_mm: float
    columns: int
    rows: int
    left_mm: float
    top_mm: float
    pitch_x_mm: float
    pitch_y_mm: float
    shape: LabelShape
    cut_lines: bool = False
    tail_mm: float = 0.0
    dpi: int = 150

    @property
    def per_page(self) -> int:
        return self.columns * self.rows

    @property
    def bottom_mm(self) -> float:
        """Unused height below the last row."""
        return self.page_height_mm - self.top_mm - (self.rows - 1) * self.pitch_y_mm - self.shape.height_mm

    def origin_mm(self, position: int) -> tuple[float, float]:
        """Upper left corner of a label's print on its page, counted along the rows from 0."""
        row, column = divmod(position, self.columns)
        left = self.left_mm + self.tail_mm + column * self.pitch_x_mm
        return left, self.top_mm + row * self.pitch_y_mm


def symbol_most_mm(forms: tuple[Form, ...]) -> float:
    """The widest dark part of a symbol that stays within 60 degrees of the thinnest of these cells."""
    sizes = [size for form in forms if (size := form.round_size_mm)]
    # The thinnest of its cells bends a symbol most.
    diameter = min((size[0] for size in sizes), default=math.inf)
    return math.pi * (diameter + 2 * PAPER_MM) * MOST_ANGLE_DEG / 360


def stock_faults(stock: Stock) -> list[str]:
    """Everything that is wrong with the geometry of a stock; empty when it can be printed on."""
    return _page_faults(stock) + _shape_faults(stock.shape) + _cell_faults(stock)


def _page_faults(stock: Stock) -> list[str]:
    shape = stock.shape
    width = shape.width_mm + stock.tail_mm
    right = stock.left_mm + (stock.columns - 1) * stock.pitch_x_mm + width
    # All faults at once: stocks are measured with a ruler, and one wrong figure seldom comes alone.
    checks = (
        (shape.width_mm > 0 and shape.height_mm > 0, "a label needs a width and a height above zero"),
        (stock.tail_mm >= 0, "tail_mm is below zero"),
        (stock.columns == 1 or stock.pitch_x_mm >= width - SLACK_MM, "labels overlap side by side"),
        (stock.rows == 1 or stock.pitch_y_mm >= shape.height_mm - SLACK_MM, "labels overlap top to bottom"),
        (stock.left_mm >= 0, "labels leave the page on the left"),
        (stock.top_mm >= 0, "labels leave the page at the top"),
        (right <= stock.page_width_mm + SLACK_MM, "labels leave the page on the right"),
        (stock.bottom_mm >= -SLACK_MM, "labels leave the page at the bottom"),
    )
    return [fault for good, fault in checks if not good]


def _shape_faults(shape: LabelShape) -> list[str]:
    inner_width = shape.width_mm - 2 * shape.inset_mm
    inner_height = shape.height_mm - 2 * shape.inset_mm
    checks = (
        (shape.inset_mm >= 0, "inset_mm is below zero"),
        (
            shape.module_mm >= shape.least_module_mm - SLACK_MM,
            f"QR too small: a module of {shape.module_mm:g} mm, at least {shape.least_module_mm:g} mm is needed"
            f" ({FINE_MODULE_MM:g} with dpi = {FINE_DPI})",
        ),
        (
            shape.qr_mm <= min(inner_width, inner_height) + SLACK_MM,
            f"QR too large: with its quiet zone of 4 modules it takes {shape.qr_mm:.2f} mm each way",
        ),
        (
            inner_width - shape.qr_mm >= LEAST_COLUMN_MM - SLACK_MM
            and inner_height >= LEAST_HEIGHT_MM - SLACK_MM,
            f"too little room beside the QR: the text needs {LEAST_COLUMN_MM:g} x {LEAST_HEIGHT_MM:g} mm",
        ),
    )
    return [fault for good, fault in checks if not good]


def _cell_faults(stock: Stock) -> list[str]:
    """A label that overhangs its cell lifts off or bridges its poles; a symbol bent too far is not read."""
    if stock.where is Where.BOX:
        return ["a box label takes no forms: leave the key out"] if stock.forms else []
    if not stock.forms:
        return ["forms is empty: name the cells it goes on"]
    if stock.where not in (Where.ALONG, Where.AROUND):
        return []
    faults = []
    for form in stock.forms:
        size = form.round_size_mm
        if size is None:
            faults.append(f"form {form} is not round: use where = flat")
            continue
        around, length = math.pi * size[0], size[1]
        along_axis, across = stock.shape.width_mm, stock.shape.height_mm
        if stock.where is Where.AROUND:
            along_axis, across = across, along_axis
        if along_axis > length + SLACK_MM:
            faults.append(f"{along_axis:g} mm overhang form {form}, which is {length:g} mm long")
        # A label that overlaps itself lifts at the seam.
        if across > around + SLACK_MM:
            faults.append(
                f"{across:g} mm overlap themselves around form {form}, which is {around:.1f} mm around"
            )
        symbol, most = 21 * stock.shape.module_mm, symbol_most_mm((form,))
        if symbol > most + SLACK_MM:
            faults.append(
                f"QR too large for form {form}: {symbol:.2f} mm bend over more than 60 degrees ({most:.2f} mm)"
            )
    return faults
