"""Makes the specimen labels of this folder, from invented cells.

`python labels/make_specimens.py [FOLDER] [--pictures]`; the pictures of sheets need pypdfium2.
"""

from __future__ import annotations

import sys
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

from straycell.acceptance.reasons import Outcome, Verdict
from straycell.cells import Cell, CellFacts, Chemistry, Form, next_codes
from straycell.labels.content import NO_FIGURES, LabelContent, LabelFigures, label_content
from straycell.labels.render import blank_pdf, sheet_pdf, single_png
from straycell.labels.stock import find_stock
from straycell.quantities import Measured

NOW = datetime(2026, 10, 4, 18, 30, tzinfo=UTC)
CAUTIONS = (
    "Recovered cells lie outside the published reuse standards. Insulate the ends first; never charge unattended.",
    "Local rules, the cell maker's data and a qualified person come before this label.",
)

# (chemistry, form, marking, mAh, U in mAh, at least, mohm, method, outcome); None: not measured
CELLS: tuple[tuple[Chemistry, Form, str, float | None, float, bool, float | None, str, Outcome], ...] = (
    (Chemistry.NMC, Form.F18650, "", 2484, 41, False, 38, "dc-pulse", Outcome.PACK),
    (Chemistry.NMC, Form.F18650, "", 2512, 41, False, 36, "dc-pulse", Outcome.PACK),
    (Chemistry.LCO, Form.F18650, "", 1790, 62, False, 71, "ac-1khz", Outcome.SOLO),
    (Chemistry.NCA, Form.F21700, "", 3120, 50, True, 29, "dc-pulse", Outcome.SOLO),
    (Chemistry.LFP, Form.F26650, "", 2840, 48, False, 24, "dc-pulse", Outcome.PACK),
    (Chemistry.UNKNOWN, Form.F18650, "", 2015, 60, False, None, "unknown", Outcome.HOLD),
    (Chemistry.NMC, Form.F18650, "", None, 0, False, None, "unknown", Outcome.DISCARD),
    (Chemistry.LCO, Form.PRISMATIC, "ICP06/35/50", 815, 20, False, 128, "dc-pulse", Outcome.LIGHT),
    (Chemistry.LMO, Form.F14500, "", 612, 18, True, 210, "unknown", Outcome.LIGHT),
    (Chemistry.PRIMARY, Form.F16340, "", None, 0, False, None, "unknown", Outcome.DISCARD),
)


def specimens() -> Iterator[LabelContent]:
    """One label for each invented cell."""
    for row, code in zip(CELLS, next_codes("W", 400, len(CELLS)), strict=True):
        chemistry, form, marking, mah, u_mah, at_least, mohm, method, outcome = row
        cell = Cell(code, CellFacts(chemistry=chemistry, form=form, marking=marking))
        verdict = Verdict(code, outcome, "shipped", "", (), (), NOW, NOW + timedelta(days=330), 0)
        capacity = Measured(mah / 1e3, u_mah / 2e3) if mah else None
        resistance = Measured(mohm / 1e3, mohm * 0.04e-3) if mohm else None
        taken = NOW - timedelta(days=12)
        figures = LabelFigures(capacity, taken, at_least, resistance, method, taken) if mah else NO_FIGURES
        yield label_content(cell, verdict, figures, today=NOW.date())


def main(folder: Path) -> None:
    """Write every specimen into the folder."""
    contents = list(specimens())
    codes = next_codes("W", 500, 65)
    files = {
        "sheet-plain-wrap.pdf": sheet_pdf(contents * 2, find_stock("plain-wrap"), NOW, cautions=CAUTIONS),
        "sheet-plain-small.pdf": sheet_pdf(contents, find_stock("plain-small"), NOW, cautions=CAUTIONS),
        "sheet-plain-large.pdf": sheet_pdf(contents, find_stock("plain-large"), NOW, cautions=CAUTIONS),
        "blank-sticker-65.pdf": blank_pdf(codes, find_stock("sticker-65"), NOW, cautions=CAUTIONS),
        "single-pack-203.png": single_png(contents[0], 203),
        "single-discard-203.png": single_png(contents[6], 203),
        "single-light-300.png": single_png(contents[7], 300),
    }
    for name, data in files.items():
        (folder / name).write_bytes(data)
        print(folder / name)


def draw_pictures(folder: Path) -> None:
    """The first page of two of the sheets as pictures, for reading without a PDF viewer."""
    import pypdfium2  # type: ignore[import-untyped]

    for name in ("sheet-plain-wrap", "blank-sticker-65"):
        page = pypdfium2.PdfDocument(folder / f"{name}.pdf")[0]
        picture = page.render(scale=110 / 72, grayscale=True).to_pil()
        picture.quantize(16).save(folder / f"{name}.png", optimize=True)


if __name__ == "__main__":
    words = [word for word in sys.argv[1:] if word != "--pictures"]
    target = Path(words[0]) if words else Path(__file__).parent
    main(target)
    if "--pictures" in sys.argv:
        draw_pictures(target)
