"""`straycell label`: sheets of labels, blank codes, one label for a label printer, codes read from a picture."""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import ExitStack
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from straycell.cli.app import clock, context, output, tables, values
from straycell.cli.app.files import Force, prepared, write_whole
from straycell.cli.app.verbs import noun_app
from straycell.cli.show.cautions_talk import talk_cautions
from straycell.errors import BadData, UsageFault
from straycell.safety import Step, cautions_for

if TYPE_CHECKING:
    from straycell.labels.content import LabelContent
    from straycell.labels.stock import Stock
    from straycell.store.reader import Reader

app = noun_app("Labels with a QR symbol: sheets, blank codes, single labels; and reading them back.")
MOST_BLANK = 2000
DEFAULT_DPI = 203
StockName = Annotated[
    str | None, values.text_option("--stock", "Which label stock; see: label stocks.", metavar="NAME")
]
OutPdf = Annotated[
    Path, typer.Option("--out", metavar="PDF", help="Where the sheet goes.", show_default=False)
]
Skip = Annotated[
    int, typer.Option("--skip", metavar="N", help="Places of the first page already used.", min=0)
]


def contents(reader: Reader, codes: Sequence[str]) -> list[LabelContent]:
    """What stands on the labels of these cells, now."""
    from straycell.acceptance import figures
    from straycell.labels.content import LabelFigures, label_content

    rules, now = context.rules(), clock.now()
    verdicts = reader.verdicts(rules, now, codes)
    evidences = reader.evidences(codes)
    labels = []
    for code in codes:
        known = figures(evidences[code], rules, now)
        method = known.resistance_method.value if known.resistance_method else "unknown"
        shown = LabelFigures(
            known.capacity, known.capacity_at, known.at_least, known.resistance, method, known.resistance_at
        )
        today = now.astimezone().date()
        labels.append(label_content(reader.cell(code), verdicts[code], shown, today=today))
    return labels


def _stock(name: str | None) -> Stock:
    from straycell.labels.stock import find_stock

    return find_stock(name) if name else find_stock()


def sheet_cautions() -> list[str]:
    """The short lines in a sheet's margin."""
    return [caution.text for caution in cautions_for(Step.LABEL, quiet=True)]


@app.command("sheet")
def sheet(
    out: OutPdf,
    codes: Annotated[
        list[str] | None,
        typer.Argument(metavar="[CODE]...", help="The cells; none: all in the house.", show_default=False),
    ] = None,
    stock: StockName = None,
    skip: Skip = 0,
    force: Force = False,
) -> None:
    """Print labels of the named cells, or of all that have not left the house, as a PDF."""
    from straycell.cells import Stage
    from straycell.labels.render import sheet_pdf

    with context.reading() as reader:
        wanted = [reader.find_code(code) for code in codes or []]
        wanted = list(dict.fromkeys(wanted)) or [
            cell.code for cell in reader.cells() if cell.stage is not Stage.HANDED_OVER
        ]
        if not wanted:
            raise UsageFault("there is no cell to print a label for", "log cells first: straycell cell add")
        labels = contents(reader, wanted)
    pdf = sheet_pdf(labels, _stock(stock), clock.now(), cautions=sheet_cautions(), skip=skip)
    write_whole(out, pdf, force=force)
    _written([out], len(labels))
    talk_cautions(Step.LABEL)


@app.command("blank")
def blank(
    out: OutPdf,
    count: Annotated[int, values.whole("--count", "How many codes to set aside.", low=1, high=MOST_BLANK)],
    stock: StockName = None,
    skip: Skip = 0,
    force: Force = False,
) -> None:
    """Set codes aside and print them, so that cells are marked before they are measured."""
    from straycell.labels.render import blank_pdf

    chosen = _stock(stock)
    with ExitStack() as until_placed:
        with context.writing(create=True) as writer:
            codes = writer.set_aside_codes(count)
            pdf = blank_pdf(codes, chosen, clock.now(), cautions=sheet_cautions(), skip=skip)
            # On the disk before the commit, in its place after it: no code is on paper that the store does not know.
            sheet = until_placed.enter_context(prepared(out, pdf, force=force))
        try:
            sheet.place()
        except BadData as fault:
            raise BadData(
                f"{fault.what}; not on paper: {codes[0]} to {codes[-1]}",
                "these codes are set aside and not handed out again; run it once more for others",
            ) from fault
    output.emit(
        {"files": [str(out)], "count": len(codes), "codes": codes},
        lambda: output.say(f"{out}  {len(codes)} codes set aside: {codes[0]} to {codes[-1]}"),
    )
    output.hint("stick one on, then: straycell cell add --code CODE ...")
    talk_cautions(Step.LABEL)


@app.command("single")
def single(
    code: Annotated[str, values.text_argument("CODE", "The cell.")],
    out: Annotated[
        Path, typer.Option("--out", metavar="PNG", help="Where the picture goes.", show_default=False)
    ],
    dpi: Annotated[
        int | None, values.whole("--dpi", "Dots per inch of the printer, 203 or 300.", low=150, high=1200)
    ] = None,
    stock: StockName = None,
    force: Force = False,
) -> None:
    """One label as a one-bit picture for a label printer."""
    from straycell.labels.render import single_png

    with context.reading() as reader:
        found = reader.find_code(code)
        label = contents(reader, [found])[0]
    write_whole(out, single_png(label, dpi or DEFAULT_DPI, _stock(stock) if stock else None), force=force)
    _written([out], 1)
    talk_cautions(Step.LABEL)


@app.command("read")
def read(
    image: Annotated[
        Path, typer.Argument(metavar="IMAGE", help="A picture with labels on it.", show_default=False)
    ],
) -> None:
    """Read the codes in a picture. Needs no store."""
    from straycell.labels.reading import read_codes

    codes = read_codes(image)
    output.emit(codes, lambda: output.say("\n".join(codes)))


@app.command("stocks")
def stocks_list() -> None:
    """List the label stocks."""
    from straycell.labels.stock import stocks

    known = stocks()
    rows = [
        [s.name, f"{s.shape.width_mm:g} x {s.shape.height_mm:g} mm", str(s.per_page), s.text]
        for s in known.values()
    ]
    output.emit(
        [
            {
                "name": s.name,
                "width_mm": s.shape.width_mm,
                "height_mm": s.shape.height_mm,
                "per_page": s.per_page,
            }
            for s in known.values()
        ],
        lambda: tables.table(["name", "label", "a page", "for"], rows, flexible="for", empty="no stock"),
    )


def _written(files: list[Path], count: int) -> None:
    output.emit(
        {"files": [str(file) for file in files], "count": count},
        lambda: output.say(f"{files[0]}  {count} label{'s' if count != 1 else ''}"),
    )
