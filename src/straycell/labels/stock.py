"""Sheets of labels, in millimetres: the shipped ones, and what can be wrong with a definition.

Our own names and figures; a sheet of stickers is measured with a ruler, not looked up.
"""

from __future__ import annotations

import math
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from importlib import resources

from straycell.errors import BadData, UsageFault
from straycell.labels.payload import SIDE_MODULES

PAGES_MM = {"A4": (210.0, 297.0), "A5": (148.0, 210.0), "A6": (105.0, 148.0)}
"""ISO 216, upright."""

LEAST_MODULE_MM = 0.33
"""Below this a telephone's camera fails on a round cell (common practice, no published source)."""

LEAST_TEXT_MM = (16.0, 12.0)
"""Width and height beside the symbol that the code and four lines take at 5 pt (tried out, unpublished)."""

DEFAULT_STOCK = "plain-wrap"
SLACK_MM = 1e-6


@dataclass(frozen=True, slots=True)
class LabelShape:
    """One label: its size, the rim that stays unprinted, and the side of one QR module, all in mm."""

    width_mm: float
    height_mm: float
    inset_mm: float
    module_mm: float

    @property
    def qr_mm(self) -> float:
        """Side of the symbol with its quiet zone."""
        return SIDE_MODULES * self.module_mm


@dataclass(frozen=True, slots=True)
class Stock:
    """A page of labels in `columns` and `rows`; pitch is from one label's edge to the next one's, in mm.

    `cut_lines` draws the outlines on plain paper; pre-cut stickers need none.
    """

    name: str
    text: str
    source: str
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

    @property
    def per_page(self) -> int:
        return self.columns * self.rows

    @property
    def bottom_mm(self) -> float:
        """Unused height below the last row."""
        return self.page_height_mm - self.top_mm - (self.rows - 1) * self.pitch_y_mm - self.shape.height_mm

    def origin_mm(self, position: int) -> tuple[float, float]:
        """Upper left corner of a label on its page, counted along the rows from 0."""
        row, column = divmod(position, self.columns)
        return self.left_mm + column * self.pitch_x_mm, self.top_mm + row * self.pitch_y_mm


@lru_cache(maxsize=1)
def _shipped() -> dict[str, Stock]:
    text = resources.files("straycell.labels").joinpath("stocks.toml").read_text(encoding="utf-8")
    return read_stocks(text, "stocks.toml")


def stocks() -> dict[str, Stock]:
    """The shipped label stocks by name, from stocks.toml."""
    return dict(_shipped())


def find_stock(name: str = DEFAULT_STOCK) -> Stock:
    """A shipped stock by name. Raises UsageFault naming the choices."""
    known = _shipped()
    if name not in known:
        raise UsageFault(f"label stock '{name}' is not known", f"choose one of: {', '.join(known)}")
    return known[name]


def read_stocks(text: str, origin: str) -> dict[str, Stock]:
    """Stock definitions from TOML, one table each. Raises BadData that names every fault found."""
    try:
        tables = tomllib.loads(text)
    except tomllib.TOMLDecodeError as err:
        raise BadData(f"{origin} is no valid TOML: {err}", "mend the line it names") from None
    faults: list[str] = []
    found: dict[str, Stock] = {}
    for name, table in tables.items():
        entry = _Entry(name, table)
        stock = entry.stock()
        if stock is not None:
            found[name] = stock
            entry.faults += stock_faults(stock)
        faults += [f"{name}: {fault}" for fault in entry.faults]
    if faults:
        raise BadData(f"{origin}: {'; '.join(faults)}", "all figures are in mm; mend them and try again")
    return found


_NUMBERS = (
    "left_mm",
    "top_mm",
    "width_mm",
    "height_mm",
    "pitch_x_mm",
    "pitch_y_mm",
    "inset_mm",
    "module_mm",
)
_KEYS = {*_NUMBERS, "text", "source", "page", "columns", "rows", "cut_lines"}


class _Entry:
    """One table on its way to a Stock, collecting what is wrong with it."""

    def __init__(self, name: str, table: object) -> None:
        self.name = name
        self.faults: list[str] = []
        self.table: Mapping[str, object] = table if isinstance(table, dict) else {}
        if not isinstance(table, dict):
            self.faults.append("expected a table of figures")

    def stock(self) -> Stock | None:
        """The stock, or None when a figure it needs is missing or is none."""
        if self.faults:
            return None
        self.faults += [f"unknown key {key}" for key in self.table if key not in _KEYS]
        mm = {key: self._number(key) for key in _NUMBERS}
        columns, rows, page = self._count("columns"), self._count("rows"), self._page()
        text, source = self._word("text"), self._word("source")
        cut_lines = self.table.get("cut_lines", False)
        if not isinstance(cut_lines, bool):
            self.faults.append(f"cut_lines needs true or false, found {_found(cut_lines)}")
        if self.faults or page is None:
            return None
        return Stock(
            name=self.name,
            text=text,
            source=source,
            page_width_mm=page[0],
            page_height_mm=page[1],
            columns=columns,
            rows=rows,
            left_mm=mm["left_mm"],
            top_mm=mm["top_mm"],
            pitch_x_mm=mm["pitch_x_mm"],
            pitch_y_mm=mm["pitch_y_mm"],
            shape=LabelShape(mm["width_mm"], mm["height_mm"], mm["inset_mm"], mm["module_mm"]),
            cut_lines=bool(cut_lines),
        )

    def _number(self, key: str) -> float:
        value = self.table.get(key)
        if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
            self.faults.append(f"{key} needs a number, found {_found(value)}")
            return 0.0
        return float(value)

    def _count(self, key: str) -> int:
        value = self.table.get(key)
        if isinstance(value, bool) or not isinstance(value, int) or value < 1:
            self.faults.append(f"{key} needs a whole number from 1 on, found {_found(value)}")
            return 1
        return value

    def _word(self, key: str) -> str:
        value = self.table.get(key)
        if not isinstance(value, str) or not value:
            self.faults.append(f"{key} needs a text, found {_found(value)}")
            return ""
        return value

    def _page(self) -> tuple[float, float] | None:
        value = self.table.get("page")
        if isinstance(value, str) and value in PAGES_MM:
            return PAGES_MM[value]
        sides = [_length_mm(side) for side in value] if isinstance(value, list) else []
        if len(sides) == 2 and sides[0] is not None and sides[1] is not None:
            return sides[0], sides[1]
        self.faults.append(f"page needs {', '.join(PAGES_MM)} or [width, height], found {_found(value)}")
        return None


def _found(value: object) -> str:
    return "nothing" if value is None else repr(value)


def _length_mm(value: object) -> float | None:
    if isinstance(value, bool) or not isinstance(value, int | float) or not 0 < value < math.inf:
        return None
    return float(value)


def stock_faults(stock: Stock) -> list[str]:
    """Everything that is wrong with the geometry of a stock; empty when it can be printed on."""
    return _page_faults(stock) + _shape_faults(stock.shape)


def _page_faults(stock: Stock) -> list[str]:
    shape = stock.shape
    right = stock.left_mm + (stock.columns - 1) * stock.pitch_x_mm + shape.width_mm
    checks = (
        (shape.width_mm > 0 and shape.height_mm > 0, "a label needs a width and a height above zero"),
        (stock.columns == 1 or stock.pitch_x_mm >= shape.width_mm - SLACK_MM, "labels overlap side by side"),
        (
            stock.rows == 1 or stock.pitch_y_mm >= shape.height_mm - SLACK_MM,
            "labels overlap top to bottom",
        ),
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
            shape.module_mm >= LEAST_MODULE_MM - SLACK_MM,
            f"QR too small: a module of {shape.module_mm:g} mm, at least {LEAST_MODULE_MM} mm is needed",
        ),
        (
            shape.qr_mm <= min(inner_width, inner_height) + SLACK_MM,
            f"QR too large: with its quiet zone of 4 modules it takes {shape.qr_mm:.2f} mm each way",
        ),
        (
            inner_width - shape.qr_mm >= LEAST_TEXT_MM[0] and inner_height >= LEAST_TEXT_MM[1],
            f"too little room beside the QR: the text needs {LEAST_TEXT_MM[0]:g} x {LEAST_TEXT_MM[1]:g} mm",
        ),
    )
    return [fault for good, fault in checks if not good]
