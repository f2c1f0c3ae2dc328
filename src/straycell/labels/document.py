"""One kind of PDF for every paper: the embedded faces, and dates from the clock that is passed in.

The same arguments give the same bytes.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime

from fpdf import FPDF
from fpdf.fonts import TTFFont

from straycell.labels.faces import face_file, shown
from straycell.labels.layout import TextItem

PT_PER_MM = 72.0 / 25.4
TEXT, CODE = "text", "code"
"""Families for `set_font`; TEXT has a bold style, CODE is bold as it is."""


class Paper(FPDF):
    """A document of pages in mm, whose text is set in the embedded faces."""

    def __init__(self, title: str, now: datetime, page_mm: str | tuple[float, float] = "A4") -> None:
        super().__init__(unit="mm", format=page_mm)
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
        for font in self.fonts.values():
            if isinstance(font, TTFFont):
                font.ttfont.close()
        return data

    def draw_text(self, item: TextItem, x_mm: float = 0.0, y_mm: float = 0.0, scale: float = 1.0) -> None:
        """One text of a layout whose origin is (x, y)."""
        family, style = (CODE, "") if item.mono else (TEXT, "B" if item.bold else "")
        self.set_font(family, style, item.size_mm * scale * PT_PER_MM)
        self.set_text_color(255 if item.white else 0)
        self.text((x_mm + item.x_mm) * scale, (y_mm + item.baseline_mm) * scale, shown(item.text))

    def draw_symbol(
        self, matrix: Sequence[Sequence[bool]], x_mm: float, y_mm: float, module_mm: float, scale: float = 1.0
    ) -> None:
        """All modules as one filled path: separate rectangles would show hairlines between them on screens."""
        side = module_mm * scale
        with self.new_path() as path:
            path.style.fill_color = "#000000"
            path.style.stroke_color = None
            path.style.auto_close = False
            for row, dark in enumerate(matrix):
                for start, length in runs_of(dark):
                    path.rectangle(
                        x_mm * scale + start * side, y_mm * scale + row * side, length * side, side
                    )


def runs_of(dark: Sequence[bool]) -> list[tuple[int, int]]:
    """(start, length) of every unbroken run of dark modules in a row."""
    runs: list[tuple[int, int]] = []
    for column, is_dark in enumerate(dark):
        if is_dark and runs and sum(runs[-1]) == column:
            runs[-1] = (runs[-1][0], runs[-1][1] + 1)
        elif is_dark:
            runs.append((column, 1))
    return runs
