"""Papers and pictures that go with the stock, as files of their own kind."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, TypeAlias

from straycell.bench.cell_list import Listed, Wanted, cell_list
from straycell.bench.context import Bench
from straycell.bench.paper.build_sheet import build_sheet
from straycell.errors import BadData
from straycell.labels.content import Purpose
from straycell.labels.stocks.stock import Stock
from straycell.pictures.bars import Chart
from straycell.pictures.curves import Curves
from straycell.pictures.stock import Point, Scatter
from straycell.safety import Step, cautions_for

if TYPE_CHECKING:
    from straycell.bench.paper.labels_of import CellLabel

DPI = 100
Drawing: TypeAlias = Chart | Curves | Scatter
"""What has lines for a terminal and a picture for a file; `drawn` are the characters that its lines need."""


def scatter_of(listed: Sequence[Listed]) -> Scatter:
    """These cells by both figures, those that have them today."""
    points = tuple(
        Point(each.capacity.value, each.resistance.value, each.outcome)
        for each in listed
        if each.capacity is not None and each.resistance is not None
    )
    return Scatter(points, len(listed) - len(points))


def stock_scatter(bench: Bench) -> Scatter:
    """Every cell, capacity over resistance."""
    with bench.reading() as reader:
        return scatter_of(cell_list(reader, bench.rules, bench.now, Wanted()))


def for_a_page(drawing: Drawing) -> tuple[str, bytes]:
    """Media type and content: lines and text, but the stock in dots, as a mark a cell would be larger."""
    if isinstance(drawing, Scatter):
        return "image/png", drawing.picture("png", DPI)
    return "image/svg+xml", drawing.picture("svg", DPI)


def shelf_labels(
    bench: Bench, known: Mapping[str, Stock], codes: Sequence[str]
) -> tuple[bytes, list[CellLabel]]:
    """A sheet of these cells on the stocks of their forms, and what each label says. Raises BadData."""
    from straycell.bench.paper.labels_of import labels_of, on_stocks
    from straycell.labels.render import sheet_pdf

    with bench.reading() as reader:
        labels = labels_of(reader, bench.rules, bench.now, [reader.find_code(code) for code in codes])
    # By form: a label that is too wide bridges the poles or hides the vent.
    margin = [caution.text for caution in cautions_for(Step.LABEL, quiet=True)]
    return sheet_pdf(on_stocks(known, labels), bench.now, cautions=margin), labels


def print_shelf_labels(bench: Bench, own: Path, codes: Sequence[str]) -> bytes:
    """The same as a file, remembered as printed. `own`: a person's own label stocks. Raises BadData, StoreFault."""
    from straycell.labels.stocks.files import all_stocks

    # No code would mean every cell in the house, which nobody asked for on a phone.
    if not codes:
        raise BadData("no cell was named to print a label for", "record cells first")
    pdf, labels = shelf_labels(bench, all_stocks(own), codes)
    with bench.writing() as writer:
        writer.record_labels(Purpose.SHELF.value, {label.cell.code: label.fingerprint for label in labels})
    return pdf


def handover_pdf_of(bench: Bench, number: str) -> bytes:
    """The list that goes with a hand-over, by its number as typed. Raises BadData."""
    from straycell.safety.handover.render import handover_pdf

    with bench.reading() as reader:
        entry = reader.handover(reader.handover_number(number))
        listed = reader.handover_list(entry.id, bench.rules, bench.now)
    return handover_pdf(listed, bench.now, cautions=[each.text for each in cautions_for(Step.HANDOVER)])


def build_sheet_pdf_of(bench: Bench, name: str) -> bytes:
    """The build sheet of a project. Raises BadData for one without a build."""
    from straycell.labels.build_sheet_render import build_sheet_pdf

    return build_sheet_pdf(build_sheet(bench, name)[1], bench.now)
