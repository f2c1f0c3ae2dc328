"""From the layout of a build sheet to its PDF. Dates come from the arguments: the same arguments, the same bytes."""

from __future__ import annotations

from datetime import UTC, datetime

from fpdf import FPDF

from straycell.labels.boxes import Box
from straycell.labels.build_sheet import (
    MODULE_MM,
    PAGE_HEIGHT_MM,
    PAGE_WIDTH_MM,
    BuildSheet,
    SheetPage,
    lay_out_sheet,
)
from straycell.labels.payload import QUIET_MODULES
from straycell.labels.render import draw_text, pdf_measure, qr_matrix, runs_of

LINE_MM, WIRE_MM = 0.2, 0.5


def build_sheet_pdf(sheet: BuildSheet, now: datetime) -> bytes:
    """The sheet as a PDF of A4 pages."""
    pdf = FPDF(unit="mm", format=(PAGE_WIDTH_MM, PAGE_HEIGHT_MM))
    pdf.set_auto_page_break(False)
    pdf.set_margin(0)
    pdf.set_creation_date(now.astimezone(UTC).replace(microsecond=0))
    pdf.set_producer("straycell")
    pdf.set_title("straycell build sheet")
    for page in lay_out_sheet(sheet, pdf_measure):
        pdf.add_page()
        _draw(pdf, page)
    return bytes(pdf.output())


def _draw(pdf: FPDF, page: SheetPage) -> None:
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
        _symbol(pdf, code, box)
    for item in page.texts:
        draw_text(pdf, item, 0.0, 0.0)


def _symbol(pdf: FPDF, code: str, box: Box) -> None:
    """All modules as one filled path: separate rectangles would show hairlines between them on screens."""
    inner = box.shrunk(QUIET_MODULES * MODULE_MM)
    with pdf.new_path() as path:
        path.style.fill_color = "#000000"
        path.style.stroke_color = None
        path.style.auto_close = False
        for row, dark in enumerate(qr_matrix(code)):
            for start, length in runs_of(dark):
                path.rectangle(
                    inner.x + start * MODULE_MM, inner.y + row * MODULE_MM, length * MODULE_MM, MODULE_MM
                )
