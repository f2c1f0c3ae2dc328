"""One kind of PDF for every paper: the embedded faces, and dates from the clock that is passed in.

The same arguments give the same bytes.
"""

from collections.abc import Sequence
from datetime import UTC, datetime

from fpdf import FPDF
from fpdf.drawing import PaintedPath
from fpdf.fonts import TTFFont

from straycell.labels.boxes import Box
from straycell.labels.faces import face_file, shown
from straycell.labels.layout import TextItem

PT_PER_MM = 72.0 / 25.4
TEXT, CODE = "text", "code"
"""Families for `set_font`; TEXT has a bold style, CODE is bold as it is."""


class Paper(FPDF):
    """A document of pages in mm, whose text is set in the embedded faces."""

    def __init__(
        self, title: str, now: datetime, page_mm: str | tuple[float, float] = "A4", scale: float = 1.0
    ) -> None:
        super().__init__(unit="mm", format=page_mm)
        self.scale = scale
        self.set_auto_page_break(False)
        self.set_margin(0)
        self.set_creation_date(now.astimezone(UTC).replace(microsecond=0))
        self.set_producer("straycell")
        self.set_title(title)
        self.add_font(TEXT, "", face_file("text"))
        self.add_font(TEXT, "B", face_file("text-bold"))
        self.add_font(CODE, "", face_file("code"))

    def finished(self) -> bytes:
        """The file; the faces, which stay open until all letters in use are known, are closed."""
        data = bytes(self.output())
        # fpdf2 cuts the faces down to the letters in use only when the file is written.
        for font in self.fonts.values():
            if isinstance(font, TTFFont):
                font.ttfont.close()
        return data

    def _at(self, x_mm: float, y_mm: float) -> tuple[float, float]:
        """Where a point is drawn: a printer's own scale is undone about the page's middle."""
        # About the middle: a printer's own error of scale starts there, so the corners are off least.
        return (self.w / 2 + (x_mm - self.w / 2) * self.scale, self.h / 2 + (y_mm - self.h / 2) * self.scale)

    def draw_text(self, item: TextItem, x_mm: float = 0.0, y_mm: float = 0.0) -> None:
        """One text of a layout whose origin is (x, y)."""
        family, style = (CODE, "") if item.mono else (TEXT, "B" if item.bold else "")
        self.set_font(family, style, item.size_mm * self.scale * PT_PER_MM)
        self.set_text_color(255 if item.white else 0)
        self.text(*self._at(x_mm + item.x_mm, y_mm + item.baseline_mm), shown(item.text))

    def draw_fill(self, box: Box) -> None:
        """A filled rectangle."""
        self.rect(*self._at(box.x, box.y), box.width * self.scale, box.height * self.scale, style="F")

    def draw_line(self, x1: float, y1: float, x2: float, y2: float) -> None:
        """A line in the current colour and width."""
        self.line(*self._at(x1, y1), *self._at(x2, y2))

    def draw_symbol(
        self, matrix: Sequence[Sequence[bool]], x_mm: float, y_mm: float, module_mm: float
    ) -> None:
        """All modules as one filled path: separate rectangles would show hairlines between them on screens."""
        side = module_mm * self.scale
        left, top = self._at(x_mm, y_mm)
        path = PaintedPath()
        path.style.fill_color = "#000000"
        # A stroke would widen the dark modules by its width.
        path.style.stroke_color = None
        path.style.auto_close = False
        for column, row, width, height in blocks_of(matrix):
            path.rectangle(left + column * side, top + row * side, width * side, height * side)
        self.draw_path(path, copy=False)  # type: ignore[arg-type]  # a path is what it takes; copying is slow


class ListPaper(Paper):
    """A4 with text that flows over as many pages as it takes, and a line with the page at the foot of each."""

    margin_mm, body_pt, head_pt, title_pt = 15.0, 9.0, 11.0, 16.0

    def __init__(self, title: str, now: datetime, foot: str) -> None:
        super().__init__(title, now)
        self.set_margin(self.margin_mm)
        self.set_auto_page_break(True, margin=18.0)
        self.alias_nb_pages()
        self._foot = foot
        self.add_page()

    def footer(self) -> None:
        """fpdf2 calls this for every page."""
        self.set_y(-13.0)
        self.set_font(TEXT, "", 7.5)
        self.cell(0, 4, shown(f"{self._foot}, page {self.page_no()} of {{nb}}"), align="C")

    def say(self, text: str, size_pt: float = body_pt, *, bold: bool = False, indent_mm: float = 0.0) -> None:
        """A paragraph, broken between words."""
        self.set_font(TEXT, "B" if bold else "", size_pt)
        self.set_x(self.margin_mm + indent_mm)
        width = self.w - 2 * self.margin_mm - indent_mm
        self.multi_cell(width, size_pt * 0.46, shown(text), align="L", new_x="LMARGIN", new_y="NEXT")

    def keep_together(self, height_mm: float) -> None:
        """Go to the next page where less than this is left: a heading never stands alone at a page's foot."""
        if self.will_page_break(height_mm):
            self.add_page()


def blocks_of(matrix: Sequence[Sequence[bool]]) -> list[tuple[int, int, int, int]]:
    """(column, row, width, height) of rectangles that cover the dark modules: runs of a row, grown down while alike."""
    blocks: list[tuple[int, int, int, int]] = []
    # Fewer, larger rectangles: a sheet of codes has tens of thousands of dark modules.
    growing: dict[tuple[int, int], int] = {}
    for row, dark in enumerate(matrix):
        runs = dict.fromkeys(runs_of(dark), row)
        for run, begun in growing.items():
            if run in runs:
                runs[run] = begun
            else:
                blocks.append((run[0], begun, run[1], row - begun))
        growing = runs
    return blocks + [
        (start, begun, length, len(matrix) - begun) for (start, length), begun in growing.items()
    ]


def runs_of(dark: Sequence[bool]) -> list[tuple[int, int]]:
    """(start, length) of every unbroken run of dark modules in a row."""
    runs: list[tuple[int, int]] = []
    for column, is_dark in enumerate(dark):
        if is_dark and runs and sum(runs[-1]) == column:
            runs[-1] = (runs[-1][0], runs[-1][1] + 1)
        elif is_dark:
            runs.append((column, 1))
    return runs
