"""From the layout of a build sheet to its PDF. Dates come from the arguments: the same arguments, the same bytes."""

from datetime import datetime

from straycell.labels.boxes import Box
from straycell.labels.build_sheet import PAGE_HEIGHT_MM, PAGE_WIDTH_MM, BuildSheet, SheetPage, lay_out_sheet
from straycell.labels.build_sheet_drawing import Disc, Face
from straycell.labels.document import Paper

LINE_MM, RIM_MM, TAB_MM = 0.2, 0.45, 1.0
_LINK_GREY = 150


def build_sheet_pdf(sheet: BuildSheet, now: datetime) -> bytes:
    """The sheet as a PDF of A4 pages, upright or laid across."""
    pdf = Paper("straycell build sheet", now, (PAGE_WIDTH_MM, PAGE_HEIGHT_MM))
    for page in lay_out_sheet(sheet):
        pdf.add_page(format=page.size)
        _draw(pdf, page)
    return pdf.finished()


SIGN_ARM, SIGN_THICK = 0.31, 0.15
"""Half the length of a sign's bar, and its thickness: shares of the disc's radius."""


def _draw(pdf: Paper, page: SheetPage) -> None:
    pdf.set_draw_color(0)
    pdf.set_fill_color(0)
    pdf.set_line_width(LINE_MM)
    for box in page.outlines:
        _rectangle(pdf, box, "D")
    for rule in page.rules:
        pdf.line(*rule)
    for face in page.faces:
        _draw_face(pdf, face)
    for item in page.texts:
        pdf.draw_text(item)


def _draw_face(pdf: Paper, face: Face) -> None:
    """Metal first, the discs over the tabs' ends, then the words."""
    pdf.set_fill_color(_LINK_GREY)
    for link in face.links:
        _rectangle(pdf, link.box, "F")
    pdf.set_fill_color(0)
    pdf.set_line_width(RIM_MM)
    for outline in face.outlines:
        _rectangle(pdf, outline, "D")
    for strip in (*face.bars, *face.leads):
        _rectangle(pdf, strip.box, "F")
    for disc in face.discs:
        _draw_disc(pdf, disc)
    pdf.set_line_width(TAB_MM)
    for tab in face.tabs:
        pdf.line(*tab)
    pdf.set_line_width(LINE_MM)
    pdf.set_dash_pattern(dash=1.6, gap=1.2)
    for gap in face.gaps:
        pdf.line(*gap)
    pdf.set_dash_pattern()
    for item in face.texts:
        pdf.draw_text(item)


def _draw_disc(pdf: Paper, disc: Disc) -> None:
    """Black with a white cross, or white with a black bar: told apart without colour, and from afar."""
    pdf.set_line_width(RIM_MM)
    pdf.set_fill_color(0 if disc.plus else 255)
    pdf.ellipse(disc.x - disc.radius, disc.y - disc.radius, 2 * disc.radius, 2 * disc.radius, style="FD")
    arm, thick = SIGN_ARM * disc.radius, SIGN_THICK * disc.radius
    y = disc.sign_y
    pdf.set_fill_color(255 if disc.plus else 0)
    _rectangle(pdf, Box(disc.x - arm, y - 0.5 * thick, 2 * arm, thick), "F")
    if disc.plus:
        _rectangle(pdf, Box(disc.x - 0.5 * thick, y - arm, thick, 2 * arm), "F")
    pdf.set_fill_color(0)


def _rectangle(pdf: Paper, box: Box, style: str) -> None:
    pdf.rect(box.x, box.y, box.width, box.height, style=style)
