"""Papers and pictures that go with the stock, as files of their own kind."""

from __future__ import annotations

from collections.abc import Sequence

from straycell.bench.cell_list import Listed, Wanted, cell_list
from straycell.bench.context import Bench
from straycell.bench.paper.build_sheet import build_sheet
from straycell.pictures.stock import Point
from straycell.safety import Step, cautions_for


def points_of(listed: Sequence[Listed]) -> list[Point]:
    """The cells that have both figures today."""
    return [
        Point(each.capacity.value, each.resistance.value, each.outcome)
        for each in listed
        if each.capacity is not None and each.resistance is not None
    ]


def stock_png(bench: Bench) -> bytes:
    """Every cell with both figures today, capacity over resistance."""
    from straycell.pictures.stock import stock_picture

    with bench.reading() as reader:
        listed = cell_list(reader, bench.rules, bench.now, Wanted())
    points = points_of(listed)
    return stock_picture(points, len(listed) - len(points), "png", 100)


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
