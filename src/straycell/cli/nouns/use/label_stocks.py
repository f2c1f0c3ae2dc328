"""`straycell label stocks` and `label calibrate`: the paper that labels go on, and how true a printer prints it."""

from enum import StrEnum
from pathlib import Path
from typing import Annotated

from straycell.cells import Form
from straycell.cli.app import clock, context, files, options, output, tables, values
from straycell.errors import BadData, UsageFault
from straycell.labels.page import CALIBRATION_MM
from straycell.labels.stocks.stock import Stock
from straycell.quantities import Dimension, Window, count_of

STOCKS_VARIABLE, STOCKS_FOLDER = "STRAYCELL_LABELS", "labels"


PageSize = StrEnum("PageSize", "A4 LETTER")
"""Paper in the printer, for stocks that are chosen by form."""


Printer = Annotated[
    str | None,
    values.text_option("--printer", "Draw by the scale recorded for this printer.", metavar="NAME"),
]
Page = Annotated[
    PageSize | None, values.word("--page", PageSize, "Paper (default A4), where no stock is named.")
]
Scale = Annotated[
    float | None,
    values.option("--scale", "Draw everything by this factor, like 0.985.", metavar="F"),
]


def own_stocks() -> Path:
    """Where a person's own stocks lie: as STRAYCELL_LABELS says, else beside the store, so that they move with it."""
    # Beside the store by default: a backup of the folder then takes the stocks along.
    named = options.current().env.get(STOCKS_VARIABLE)
    own = Path(named).expanduser() if named else context.store_path().parent / STOCKS_FOLDER
    if named and not own.exists():
        raise BadData(f"there is no {own}", f"{STOCKS_VARIABLE} names a TOML file or a folder of them")
    return own


def known_stocks(page: PageSize | None = None) -> dict[str, Stock]:
    """Own stocks (STRAYCELL_LABELS, else the folder `labels` beside the store), then the shipped ones."""
    from straycell.labels.stocks.files import PAGES_MM, all_stocks

    found = all_stocks(own_stocks())
    # Sorted and not filtered: a stock of the other size may be the only one that fits a cell.
    if page is PageSize.LETTER:
        size = PAGES_MM["letter"]
        return dict(sorted(found.items(), key=lambda kv: (kv[1].page_width_mm, kv[1].page_height_mm) != size))
    return found


def calibrate(
    printer: Annotated[
        str | None, values.text_option("--printer", "The name to record the scale under.", metavar="NAME")
    ] = None,
    measured: Annotated[
        float | None,
        values.quantity(
            "--measured",
            Dimension.LENGTH,
            "Length of the 150 mm line on the paper.",
            window=Window(130.0, 170.0, "a line of 150 mm"),
            example="148.2mm",
        ),
    ] = None,
    scale: Scale = None,
    out: Annotated[
        Path | None,
        values.option("--out", "Where the page to measure goes.", metavar="PDF"),
    ] = None,
    page: Page = None,
    force: files.Force = False,
) -> None:
    """Print a page to measure (--out), then record what the printer makes of it (--printer, --measured)."""
    from straycell.labels.render import calibration_pdf, require_scale
    from straycell.labels.stocks.files import PAGES_MM

    if out is not None and printer is None and measured is None and scale is None:
        size = PAGES_MM["letter" if page is PageSize.LETTER else "A4"]
        files.write_whole(out, calibration_pdf(clock.now(), size), force=force)
        output.emit(
            {"files": [str(out)]},
            lambda: output.say(f"{out}  print it at 100 % and measure its lines"),
            then="then: straycell label calibrate --printer NAME --measured 148.2mm",
        )
        return
    # Printing and recording are two days' work; a line with both would record what nobody measured.
    if out is not None or printer is None or (measured is None) == (scale is None):
        raise UsageFault(
            "calibrate prints a page or records what was measured on it",
            "--out PDF; or --printer NAME with --measured 148.2mm or --scale 0.985",
        )
    # A line printed too short needs everything drawn larger by the same share.
    factor = CALIBRATION_MM / measured if measured is not None else scale
    assert factor is not None
    factor = require_scale(round(factor, 4))
    with context.writing(create=True) as writer:
        writer.record_scale(printer, factor)
    output.emit(
        {"printer": printer, "scale": factor},
        lambda: output.say(f"{printer}  drawn by {factor:g}"),
        then=f"next: straycell label sheet --printer '{printer}' --out PDF",
    )


def stocks_list() -> None:
    """List the label stocks, your own first, then the shipped ones; or every fault of your own."""
    from straycell.labels.stocks.files import StockFaults

    try:
        known = known_stocks()
    except StockFaults as refused:
        faults = refused.faults
        output.emit({"faults": list(faults)}, lambda: output.bullets(faults))
        raise BadData(
            f"label stocks have {count_of(len(faults), 'fault')}", "put them right; all figures are in mm"
        ) from None
    tables.listing(
        list(known.values()),
        lambda stock: {
            "name": stock.name,
            "width_mm": stock.shape.width_mm,
            "height_mm": stock.shape.height_mm,
            "per_page": stock.per_page,
            "where": stock.where,
            "forms": list(stock.forms),
            "least_dpi": stock.dpi,
        },
        {
            "name": lambda s: s.name,
            "label": lambda s: f"{s.shape.width_mm:g} x {s.shape.height_mm:g} mm",
            "a page": lambda s: s.per_page,
            "for": _for,
        },
        flexible="for",
        empty="no stock",
    )


def _for(stock: Stock) -> str:
    """`along 18650 20700`; `flag, any cell`; `box`."""
    if len(stock.forms) == len(Form):
        return f"{stock.where}, any cell"
    return " ".join([stock.where, *stock.forms])
