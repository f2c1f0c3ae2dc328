"""`straycell label`: sheets of labels, blank codes, one label for a label printer, stocks, a printer's scale."""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import ExitStack
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

from straycell.bench.context import Reader
from straycell.cli.app import cautions, clock, context, files, output, values, verbs
from straycell.cli.nouns.use.label_read import read
from straycell.cli.nouns.use.label_stocks import Page, Printer, Scale, calibrate, known_stocks, stocks_list
from straycell.cli.show.verdict_page import OutcomeOption
from straycell.errors import BadData, StoreFault, UsageFault
from straycell.labels.content import LabelContent, Purpose, blank_content
from straycell.labels.stocks.choose import find_stock
from straycell.labels.stocks.stock import Stock
from straycell.quantities import count_of
from straycell.safety import Step, cautions_for

if TYPE_CHECKING:
    from straycell.bench.paper.labels_of import CellLabel

app = verbs.noun_app("Labels with a QR symbol: sheets, blank codes, single labels; and reading them back.")
MOST_BLANK, MOST_COPIES = 2000, 50
DEFAULT_DPI = 203
DEFAULT_BLANK = "plain-wrap"


StockName = Annotated[
    str | None, values.text_option("--stock", "Which label stock; see: label stocks.", metavar="NAME")
]
OutPdf = Annotated[Path, values.option("--out", "Where the sheet goes.", metavar="PDF")]
Start = Annotated[
    int | None,
    values.whole("--start", "Place of the first label on its page, from 1 along the rows.", low=1, high=500),
]
Copies = Annotated[int | None, values.whole("--copies", "Copies of each label.", low=1, high=MOST_COPIES)]
Link = Annotated[
    str | None,
    values.text_option("--link", "The symbol holds this address with the code behind it.", metavar="URL"),
]


def print_cells(codes: Sequence[str], out: Path, *, force: bool = False) -> int:
    """A sheet of these cells on the stocks of their forms, remembered as printed; returns how many labels."""
    from straycell.bench.paper.prints import shelf_labels

    pdf, labels = shelf_labels(context.bench(), known_stocks(), codes)
    files.write_whole(out, pdf, force=force)
    files.talk_missing_glyphs([label.content for label in labels])
    remember("shelf", labels)
    return len(labels)


def remember(purpose: str, labels: Sequence[CellLabel]) -> None:
    """Tell the store what is on paper now. A store that cannot be written is not a reason to print nothing."""
    # The paper exists by now: a locked store must not make the person print it twice.
    try:
        with context.writing(tell_lost=False) as writer:
            writer.record_labels(purpose, {label.cell.code: label.fingerprint for label in labels})
    except StoreFault as fault:
        output.talk(f"printed, but the store does not remember it: {fault.what}")


@app.command("sheet")
def sheet(
    out: OutPdf,
    codes: Annotated[
        list[str] | None,
        values.argument("[CODE]...", "The cells; none: all in the house."),
    ] = None,
    box: Annotated[str | None, values.text_option("--box", "Cells of this box.", metavar="BOX")] = None,
    teardown: Annotated[
        str | None, values.text_option("--teardown", "Cells of this tear-down.", metavar="CODE")
    ] = None,
    outcome: OutcomeOption = None,
    project: Annotated[
        str | None, values.text_option("--project", "Cells of this project's build.", metavar="NAME")
    ] = None,
    new: Annotated[
        bool, values.flag("--new", "Only cells never printed, or whose label is outdated.")
    ] = False,
    purpose: Annotated[
        Purpose | None, values.word("--purpose", Purpose, "What the labels are for (default shelf).")
    ] = None,
    stock: StockName = None,
    page: Page = None,
    copies: Copies = None,
    start: Start = None,
    cut_marks: Annotated[
        bool | None,
        values.flag("--cut-marks/--no-cut-marks", "Outlines to cut along (default: as the stock says)."),
    ] = None,
    link: Link = None,
    printer: Printer = None,
    scale: Scale = None,
    force: files.Force = False,
) -> None:
    """Print labels of the named cells, or of all that have not left the house, as a PDF.

    The stock follows from each cell's form: cells of several forms get pages of several stocks.
    """
    from straycell.bench.paper.labels_of import Wanted, sheet_parts

    kind = purpose or Purpose.SHELF
    wanted = Wanted(tuple(codes or ()), box, teardown, outcome, project, kind, link, new)
    given = [option for name, option in _CHOICES.items() if getattr(wanted, name) != getattr(Wanted(), name)]
    _require_for_boxes(kind, given)
    known, bench = known_stocks(page), context.bench()
    with bench.reading() as reader:
        factor = _scale(reader, printer, scale)
        parts, labels = sheet_parts(bench, reader, wanted, known, stock, copies or 1)
    if not any(part for _, part in parts):
        _nothing_to_print(given)
        return
    files.write_whole(out, _pdf(_with_cuts(parts, cut_marks), start, factor), force=force)
    remember(kind.value, labels)
    _written(out, parts)
    cautions.talk(Step.LABEL)


Parts = list[tuple[Stock, list[LabelContent]]]
_CHOICES = {
    "codes": "CODE",
    "teardown": "--teardown",
    "outcome": "--outcome",
    "new": "--new",
    "link": "--link",
    "box": "--box",
    "project": "--project",
}
"""What can be wanted of labels, and how it is typed."""


def _pdf(parts: Parts, start: int | None, scale: float) -> bytes:
    """The sheets, from position `start` of the first page on, drawn `scale` times as large."""
    from straycell.labels.render import sheet_pdf

    margin = [caution.text for caution in cautions_for(Step.LABEL, quiet=True)]
    return sheet_pdf(parts, clock.now(), cautions=margin, skip=(start or 1) - 1, scale=scale)


def _with_cuts(parts: Parts, cut_marks: bool | None) -> Parts:
    # Stocks that come cut would get a line beside every edge.
    if cut_marks is None:
        return parts
    return [(replace(stock, cut_lines=cut_marks), contents) for stock, contents in parts]


def _require_for_boxes(kind: Purpose, given: list[str]) -> None:
    """Refuse what a box label would leave out without a word."""
    odd = [name for name in given if name not in ("--box", "--project")]
    if kind is Purpose.BOX and (odd or len(given) > 1):
        raise UsageFault(
            f"a box label takes no {odd[0] if odd else '--box beside --project'}",
            "give --box NAME, or --project NAME for its tray, or neither for all boxes",
        )


def _nothing_to_print(given: list[str]) -> None:
    """Not a fault when the store says so: every label is printed and true."""
    if "--new" in given:
        output.emit({"files": [], "count": 0}, lambda: output.talk("no label is missing or outdated"))
        return
    if given:
        raise UsageFault(f"no cell fits {' and '.join(given)}", "see: straycell cell list")
    raise UsageFault("there is no cell to print a label for", "log cells first: straycell cell add")


def _scale(reader: Reader, printer: str | None, scale: float | None) -> float:
    if scale is not None:
        return scale
    return 1.0 if printer is None else reader.printer_scale(printer)


@app.command("blank")
def blank(
    out: OutPdf,
    count: Annotated[int, values.whole("--count", "How many codes to set aside.", low=1, high=MOST_BLANK)],
    stock: StockName = None,
    start: Start = None,
    printer: Printer = None,
    scale: Scale = None,
    force: files.Force = False,
) -> None:
    """Set codes aside and print them, so that cells are marked before they are measured."""
    chosen = find_stock(known_stocks(), stock or DEFAULT_BLANK)
    with ExitStack() as until_placed:
        with context.writing(create=True) as writer:
            factor = _scale(writer, printer, scale)
            codes = writer.set_aside_codes(count)
            parts = [(chosen, [blank_content(code) for code in codes])]
            pdf = _pdf(parts, start, factor)
            # On the disk before the commit, in its place after it: no code is on paper that the store does not know.
            sheet = until_placed.enter_context(files.prepared(out, pdf, force=force))
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
        then="stick one on, then: straycell cell add --code CODE ...",
    )
    cautions.talk(Step.LABEL)


@app.command("single")
def single(
    code: values.CellArgument,
    out: Annotated[Path, values.option("--out", "Where the picture goes.", metavar="PNG")],
    dpi: Annotated[
        int | None, values.whole("--dpi", "Dots per inch of the printer, 203 or 300.", low=150, high=1200)
    ] = None,
    stock: StockName = None,
    link: Link = None,
    force: files.Force = False,
) -> None:
    """One label as a one-bit picture for a label printer, on a stock of one label a page where one fits."""
    from straycell.bench.paper.labels_of import Wanted, on_stocks, wanted_labels
    from straycell.labels.picture import single_png

    # A label printer feeds one label a page, so stocks of one label are tried first.
    known = dict(sorted(known_stocks().items(), key=lambda entry: entry[1].per_page > 1))
    bench = context.bench()
    with bench.reading() as reader:
        labels = wanted_labels(reader, bench.rules, bench.now, Wanted((code,), link=link))
    parts = on_stocks(known, labels, stock)
    files.write_whole(out, single_png(labels[0].content, dpi or DEFAULT_DPI, parts[0][0]), force=force)
    remember("shelf", labels)
    _written(out, parts)
    cautions.talk(Step.LABEL)


def _written(out: Path, parts: Parts) -> None:
    files.talk_missing_glyphs([contents for _, contents in parts])
    count = sum(len(contents) for _, contents in parts)
    names = [stock.name for stock, contents in parts if contents]
    output.emit(
        {"files": [str(out)], "count": count, "stocks": names},
        lambda: output.say(f"{out}  {count_of(count, 'label')} on {', '.join(names)}"),
    )
    # Modules under 0.33 mm blur at 203 dpi: two or three dots make one module.
    fine = [stock.name for stock, contents in parts if contents and stock.dpi > DEFAULT_DPI]
    if fine and out.suffix.lower() != ".png":
        output.hint(f"{', '.join(fine)}: needs a printer of 300 dpi or more")


app.command("read")(read)
app.command("stocks")(stocks_list)
app.command("calibrate")(calibrate)
