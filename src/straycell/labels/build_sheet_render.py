"""From the layout of a build sheet to its PDF. Dates come from the arguments: the same arguments, the same bytes."""

from __future__ import annotations

from datetime import datetime

from straycell.labels.build_sheet import (
    MODULE_MM,
    PAGE_HEIGHT_MM,
    PAGE_WIDTH_MM,
    BuildSheet,
    SheetPage,
    lay_out_sheet,
)
from straycell.labels.document import Paper
from straycell.labels.faces import text_width
from straycell.labels.payload import QUIET_MODULES
from straycell.labels.render import qr_matrix

LINE_MM, WIRE_MM = 0.2, 0.5


def build_sheet_pdf(sheet: BuildSheet, now: datetime) -> bytes:
    """The sheet as a PDF of A4 pages."""
    pdf = Paper("straycell build sheet", now, (PAGE_WIDTH_MM, PAGE_HEIGHT_MM))
    for page in lay_out_sheet(sheet, text_width):
        pdf.add_page()
        _draw(pdf, page)
    return pdf.finished()


def _draw(pdf: Paper, page: SheetPage) -> None:
    pdf.set_draw_color(0)
    pdf.set_fill_color(0)
    pdf.set_line_width(LINE_MM)
    for box in page.outlines:
        pdf.rect(box.x, box.y, box.width, box.height, style="D")
    for bar in page.bars:
        pdf.rect(bar.x, bar.y, bar.width, bar.height, style="F")
    pdf.set_line_width(WIRE_MM)
    for wire in page.wires:
        pdf.line(*wire)
    for code, box in page.symbols:
        inner = box.shrunk(QUIET_MODULES * MODULE_MM)
        pdf.draw_symbol(qr_matrix(code), inner.x, inner.y, MODULE_MM)
    for item in page.texts:
        pdf.draw_text(item)
