"""What the label tests share: invented cells, pages turned into pixels, and the independent QR reader."""

from __future__ import annotations

import io
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, timedelta
from typing import Any

import pypdfium2
import zxingcpp
from PIL import Image

from straycell.acceptance.figures import Figures
from straycell.acceptance.reasons import Outcome, Verdict
from straycell.cells import Cell, CellFacts, Chemistry, Form, Stage, next_codes
from straycell.labels.boxes import Box
from straycell.labels.content import LabelContent, blank_content, label_content
from straycell.labels.render import sheet_pdf
from straycell.labels.stocks.files import shipped
from straycell.labels.stocks.stock import Stock
from straycell.quantities import Measured
from straycell.readings import Method

NOW = datetime(2026, 10, 4, 18, 30, tzinfo=UTC)
TODAY = NOW.date()
UNTIL = datetime(2027, 8, 30, 12, 0, tzinfo=UTC)
CODES = next_codes("T", 300, 120)
FIGURES = Figures(
    Measured(2.01, 0.03),
    datetime(2026, 9, 22, tzinfo=UTC),
    False,
    Measured(0.048, 0.0015),
    Method.DC_PULSE,
    datetime(2026, 9, 23, tzinfo=UTC),
)
WIDEST_FIGURES = Figures(
    Measured(2.888, 0.044),
    datetime(2026, 8, 28, tzinfo=UTC),
    True,
    Measured(0.488, 0.044),
    Method.UNKNOWN,
    datetime(2026, 8, 28, tzinfo=UTC),
)


def a_cell(code: str = CODES[0], stage: Stage = Stage.SHELVED, **facts: object) -> Cell:
    """An NMC 18650 unless told otherwise."""
    known = {"chemistry": Chemistry.NMC, "form": Form.F18650, **facts}
    return Cell(code, CellFacts(**known), stage)  # type: ignore[arg-type]


def a_verdict(outcome: Outcome, until: datetime | None = UNTIL, code: str = CODES[0]) -> Verdict:
    """A verdict without reasons: a label looks at the outcome and its date only."""
    return Verdict(code, outcome, "shipped", "hash", (), (), NOW, until, "A-1")


def a_label(
    outcome: Outcome | None, code: str = CODES[0], today: date = TODAY, **facts: object
) -> LabelContent:
    """The label of a cell with that outcome; None: no verdict known."""
    verdict = None if outcome is None else a_verdict(outcome, code=code)
    return label_content(a_cell(code, Stage.SHELVED, **facts), verdict, FIGURES, today=today)


def every_kind_of_label(form: Form = Form.F18650) -> list[LabelContent]:
    """One label for each outcome, for the widest figures, and for the longest names of chemistries."""
    outcomes: list[Outcome | None] = [*Outcome, None]
    labels = [a_label(outcome, code, form=form) for outcome, code in zip(outcomes, CODES, strict=False)]
    wide = a_cell(CODES[10], chemistry=Chemistry.UNKNOWN, form=form, marking="ICP103450 ± Ωlong 容")
    primary = a_cell(CODES[11], chemistry=Chemistry.PRIMARY, form=form)
    sharp = replace(
        FIGURES, resistance=Measured(0.01288, 0.0001), capacity=Measured(12.88, 0.26), at_least=True
    )
    light = replace(a_verdict(Outcome.LIGHT), code=wide.code)
    return [
        *labels,
        label_content(wide, light, WIDEST_FIGURES, today=TODAY),
        label_content(
            a_cell(CODES[12], form=form), a_verdict(Outcome.LIGHT, code=CODES[12]), sharp, today=TODAY
        ),
        label_content(primary, None, WIDEST_FIGURES, today=TODAY),
    ]


def words(content: LabelContent) -> str:
    """Every wording a label may carry, in one text."""
    lines = [wording for line in content.lines for wording in line.wordings]
    return " | ".join([*content.headline, content.unit, *lines, *content.rules])


def find_stock(name: str) -> Stock:
    """A shipped stock."""
    return shipped()[name]


def sheet_of(contents: Sequence[LabelContent], stock: Stock, now: datetime = NOW, **more: Any) -> bytes:
    """A sheet of one stock."""
    return sheet_pdf([(stock, contents)], now, **more)


def blanks_of(codes: Sequence[str], stock: Stock, now: datetime = NOW, **more: Any) -> bytes:
    """Labels for codes set aside."""
    return sheet_of([blank_content(code) for code in codes], stock, now, **more)


def pages(pdf: bytes, dpi: int) -> list[Image.Image]:
    """The pages as grey pictures, by a renderer that shares nothing with the writer."""
    document = pypdfium2.PdfDocument(pdf)
    found = [document[n].render(scale=dpi / 72, grayscale=True).to_pil() for n in range(len(document))]
    document.close()
    return found


def page_texts(pdf: bytes) -> list[str]:
    """The text of every page as another program extracts it."""
    document = pypdfium2.PdfDocument(pdf)
    found = [document[n].get_textpage().get_text_bounded() for n in range(len(document))]
    document.close()
    return found


@dataclass(frozen=True)
class Symbol:
    """What the independent reader says of one QR symbol; `clean` when it had nothing to correct."""

    text: str
    version: str
    level: str
    clean: bool


def read_symbols(picture: Image.Image) -> list[Symbol]:
    """All QR symbols in a picture. UEC is the share of the error correction that stayed unused."""
    found: list[Any] = list(zxingcpp.read_barcodes(picture.convert("L")))
    return [Symbol(s.text, s.extra["Version"], s.ec_level, s.extra["UEC"] == 1.0) for s in found]


def codes_in(pictures: Iterable[Image.Image]) -> list[str]:
    return [symbol.text for picture in pictures for symbol in read_symbols(picture)]


def png(data: bytes) -> Image.Image:
    return Image.open(io.BytesIO(data))


def is_dark(picture: Image.Image, box: Box, dpi: int) -> bool:
    """True when any pixel wholly inside the box (mm) has ink on it."""
    dot = 25.4 / dpi
    area = (
        int(box.x / dot) + 1,
        int(box.y / dot) + 1,
        int(box.right / dot) - 1,
        int(box.bottom / dot) - 1,
    )
    # Cut out first: to convert a whole page of 35 million pixels for each box took longer than all else.
    return any(picture.crop(area).convert("L").histogram()[:128])


def grey_at(picture: Image.Image, x: int, y: int) -> int:
    """Level of one pixel, 0 black to 255 white."""
    level = picture.getpixel((x, y))
    assert isinstance(level, int)
    return level


def days(n: int) -> timedelta:
    return timedelta(days=n)
