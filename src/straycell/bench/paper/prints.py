"""Papers and pictures that go with the stock, as files of their own kind."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from straycell.bench.cell_list import Listed, Wanted, cell_list
from straycell.bench.context import Bench
from straycell.bench.paper.build_sheet import build_sheet
from straycell.bench.paper.charts import boxes_chart_of, limits_chart_of, yield_chart, yields_of
from straycell.bench.paper.curves_of import rest_curves_of, run_curves_of
from straycell.errors import BadData
from straycell.labels.content import Purpose
from straycell.labels.stocks.stock import Stock
from straycell.pictures.bars import chart_picture
from straycell.pictures.curves import curves_picture
from straycell.pictures.figure import Kind
from straycell.pictures.stock import Point, stock_picture
from straycell.safety import Step, cautions_for

if TYPE_CHECKING:
    from straycell.bench.paper.labels_of import CellLabel

DPI = 100


def points_of(listed: Sequence[Listed]) -> list[Point]:
    """The cells that have both figures today."""
    return [
        Point(each.capacity.value, each.resistance.value, each.outcome)
        for each in listed
        if each.capacity is not None and each.resistance is not None
    ]


def stock_points(bench: Bench) -> tuple[list[Point], int]:
    """Every cell with both figures today, and how many have not."""
    with bench.reading() as reader:
        listed = cell_list(reader, bench.rules, bench.now, Wanted())
    points = points_of(listed)
    return points, len(listed) - len(points)


def stock_png(bench: Bench) -> bytes:
    """Every cell with both figures today, capacity over resistance."""
    return stock_picture(*stock_points(bench), "png", DPI)


def rest_picture(bench: Bench, code: str, kind: Kind = "svg") -> bytes:
    """How a cell keeps its charge within its limits, siblings faint; by its code as typed. Raises BadData."""
    return curves_picture(rest_curves_of(bench, code), kind, DPI)


def run_picture(bench: Bench, number: str, kind: Kind = "svg") -> bytes:
    """The run of a trace over its siblings' and its rating, by the trace's number as typed. Raises BadData."""
    return curves_picture(run_curves_of(bench, number), kind, DPI)


def limits_picture(bench: Bench, code: str, kind: Kind = "svg") -> bytes:
    """A cell's figures with U against their limits, by its code as typed. Raises BadData."""
    return chart_picture(limits_chart_of(bench, code), kind, DPI)


def boxes_picture(bench: Bench, kind: Kind = "svg") -> bytes:
    """The energy in each box against its limit."""
    return chart_picture(boxes_chart_of(bench), kind, DPI)


def yield_picture(bench: Bench, kind: Kind = "svg") -> bytes:
    """What each kind of gear gave, an object and an hour at the bench."""
    return chart_picture(yield_chart(yields_of(bench)), kind, DPI)


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
