"""Stocks from TOML files: the shipped ones, and a person's own beside them, with every fault in one pass."""

from collections.abc import Collection, Iterable, Sequence
from functools import lru_cache
from pathlib import Path
from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from straycell.cells import Form
from straycell.errors import BadData
from straycell.files.read import MOST_TOML_BYTES, read_text, toml_document
from straycell.labels.stocks.stock import (
    FINE_DPI,
    FINE_MODULE_MM,
    LEAST_MODULE_MM,
    LabelShape,
    Stock,
    Where,
    stock_faults,
    symbol_most_mm,
)
from straycell.shipped import PACKAGE

PAGES_MM = {"A4": (210.0, 297.0), "A5": (148.0, 210.0), "A6": (105.0, 148.0), "letter": (215.9, 279.4)}
"""ISO 216, and ANSI/ASME Y14.1 size A; upright."""

MARGIN_MM, HEAD_MM = 12.0, 18.5
"""Left free beside and above a grid that the file leaves to the program: head line, ruler and cautions are there."""

_Mm = Annotated[float, Field(allow_inf_nan=False, strict=True)]
_Count = Annotated[int, Field(ge=1, strict=True)]
_PageName = Literal["A4", "A5", "A6", "letter"]


class _Entry(BaseModel):
    """One table of a stock file. Without `columns` the labels fill the page; several page names make several stocks."""

    model_config = ConfigDict(frozen=True)

    text: Annotated[str, Field(min_length=1)]
    source: Annotated[str, Field(min_length=1)]
    where: Where
    forms: tuple[Form, ...] = ()
    page: (
        _PageName
        | Annotated[list[_PageName], Field(min_length=1)]
        | Annotated[list[float], Field(min_length=2, max_length=2)]
    )
    # Across the page, then down it.
    width_mm: _Mm
    tail_mm: _Mm = 0.0
    columns: _Count | None = None
    pitch_x_mm: _Mm | None = None
    left_mm: _Mm | None = None
    height_mm: _Mm
    rows: _Count | None = None
    pitch_y_mm: _Mm | None = None
    top_mm: _Mm | None = None
    inset_mm: _Mm
    module_mm: _Mm
    dpi: Annotated[int, Field(ge=150, le=1200, strict=True)] = 150
    cut_lines: Annotated[bool, Field(strict=True)] = False


class StockFaults(BadData):
    """Label stocks with faults; all of them are in `faults`, in the order of the files and their tables."""

    def __init__(self, faults: Sequence[str]) -> None:
        self.faults = tuple(faults)
        first, *others = self.faults
        count = f"label stocks have {len(self.faults)} faults: " if others else "label stock "
        more = f"and {len(others) - 1} more; " if len(others) > 1 else ""
        # Three lines of a message are what a person reads; the list has the rest.
        remedy = f"{more}each on a line of its own: straycell label stocks"
        super().__init__(f"{count}{first}", remedy, besides=others[0] if others else "")


def read_stocks(text: str, origin: str, taken: Collection[str] = ()) -> dict[str, Stock]:
    """Stock definitions from TOML, one table each, all figures in mm; `taken` are names in use already.

    Raises StockFaults with every fault found.
    """
    try:
        tables = toml_document(text)
    except BadData as fault:
        raise StockFaults([f"{origin}: {fault.what}"]) from None
    faults: list[str] = []
    found: dict[str, Stock] = {}
    for name, table in tables.items():
        entry, wrong = _entry(table)
        mine = {stock.name: stock for stock in _stocks(name, entry)} if entry else {}
        wrong += ["the name is taken already"] if {name, *mine}.intersection(taken) else []
        # Once for all page sizes: a label that is too large for its cell is so on any paper.
        wrong += dict.fromkeys(fault for stock in mine.values() for fault in stock_faults(stock))
        faults += [f"{origin}: {name}: {fault}" for fault in wrong]
        found |= mine
    if faults:
        raise StockFaults(faults)
    return found


def _entry(table: object) -> tuple[_Entry | None, list[str]]:
    """A table as understood and its faults; keys that are not known do not hide what its figures get wrong."""
    keys = table if isinstance(table, dict) else ()
    unknown = [f"{key}: this key is not known" for key in keys if key not in _Entry.model_fields]
    try:
        return _Entry.model_validate(table), unknown
    except ValidationError as err:
        return None, [*unknown, *_faults_of(err)]


def _faults_of(err: ValidationError) -> Iterable[str]:
    """Each fault once, under the name of its key: `module_mm: input should be a valid number, found 'wide'`."""
    faults: dict[str, str] = {}
    for fault in err.errors(include_url=False, include_context=False):
        key = str(fault["loc"][0]) if fault["loc"] else "the table"
        words = fault["msg"][0].lower() + fault["msg"][1:]
        if fault["type"] != "missing":
            words += f", found {fault['input']!r}"
        faults.setdefault(key, f"{key}: {words}")
    return faults.values()


def _stocks(name: str, entry: _Entry) -> Iterable[Stock]:
    """One stock a page size; those after the first are called NAME-PAGE."""
    pages = [entry.page] if isinstance(entry.page, str) else entry.page
    if isinstance(pages[0], float):
        yield _stock(name, entry, pages[0], float(pages[1]))
        return
    for number, page in enumerate(pages):
        yield _stock(name if number == 0 else f"{name}-{page}", entry, *PAGES_MM[str(page)])


def _stock(name: str, entry: _Entry, page_width: float, page_height: float) -> Stock:
    pitch_x = entry.pitch_x_mm or entry.width_mm + entry.tail_mm
    pitch_y = entry.pitch_y_mm or entry.height_mm
    columns = entry.columns or max(1, int((page_width - 2 * MARGIN_MM) / max(pitch_x, 1.0)))
    rows = entry.rows or max(1, int((page_height - 2 * HEAD_MM) / max(pitch_y, 1.0)))
    left = entry.left_mm if entry.left_mm is not None else (page_width - columns * pitch_x) / 2
    top = entry.top_mm if entry.top_mm is not None else (page_height - rows * pitch_y) / 2
    on_cell = entry.where in (Where.ALONG, Where.AROUND)
    shape = LabelShape(
        entry.width_mm,
        entry.height_mm,
        entry.inset_mm,
        entry.module_mm,
        least_module_mm=FINE_MODULE_MM if entry.dpi >= FINE_DPI else LEAST_MODULE_MM,
        symbol_most_mm=symbol_most_mm(entry.forms) if on_cell else float("inf"),
        long_links=entry.where in (Where.FLAG, Where.BOX),
    )
    return Stock(
        name=name,
        text=entry.text,
        source=entry.source,
        where=entry.where,
        forms=entry.forms,
        page_width_mm=page_width,
        page_height_mm=page_height,
        columns=columns,
        rows=rows,
        left_mm=left,
        top_mm=top,
        pitch_x_mm=pitch_x,
        pitch_y_mm=pitch_y,
        shape=shape,
        cut_lines=entry.cut_lines,
        tail_mm=entry.tail_mm,
        dpi=entry.dpi,
    )


@lru_cache(maxsize=1)
def shipped() -> dict[str, Stock]:
    """The stocks of the package by name, in the order in which they are chosen."""
    text = (PACKAGE / "labels/stocks/shipped.toml").read_text(encoding="utf-8")
    return read_stocks(text, "shipped.toml")


def all_stocks(own: Path | None = None) -> dict[str, Stock]:
    """A person's own stocks first, so that they are chosen first, then the shipped ones.

    `own` is a TOML file or a folder of them; a folder that is missing holds none. Raises StockFaults with every fault of
    every file, a name that is taken among them.
    """
    found: dict[str, Stock] = {}
    faults: list[str] = []
    for path in _own_files(own):
        try:
            text = read_text(path, str(path), MOST_TOML_BYTES)
            found |= read_stocks(text, str(path), {*found, *shipped()})
        except StockFaults as refused:
            faults += refused.faults
        except BadData as fault:
            faults.append(fault.what)
    if faults:
        raise StockFaults(faults)
    return found | shipped()


def _own_files(own: Path | None) -> list[Path]:
    if own is None:
        return []
    if own.is_dir():
        return sorted(own.glob("*.toml"))
    if own.suffix == ".toml":
        return [own]
    return []
