"""Makes the specimen labels of this folder, from invented cells.

`python labels/make_specimens.py [FOLDER] [--pictures]`; the pictures of sheets need pypdfium2.
"""

from __future__ import annotations

import sys
from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

from straycell.acceptance.figures import Figures
from straycell.acceptance.reasons import Outcome, Verdict
from straycell.cells import Cell, CellFacts, Chemistry, Form, next_codes
from straycell.labels.content import (
    NO_FIGURES,
    LabelContent,
    Place,
    Purpose,
    blank_content,
    box_content,
    label_content,
    project_content,
)
from straycell.labels.payload import link_payload
from straycell.labels.picture import single_png
from straycell.labels.render import calibration_pdf, sheet_pdf
from straycell.labels.stocks.files import shipped
from straycell.labels.stocks.stock import Stock, Where
from straycell.quantities import Measured
from straycell.readings import Method

NOW = datetime(2026, 10, 4, 18, 30, tzinfo=UTC)
CAUTIONS = (
    "Recovered cells lie outside the published reuse standards. Insulate the ends first; never charge unattended.",
    "Local rules, the cell maker's data and a qualified person come before this label.",
)

# (chemistry, marking, mAh, U in mAh, at least, mohm, method, outcome); None: not measured
ROUND: tuple[tuple[Chemistry, str, float | None, float, bool, float | None, str, Outcome], ...] = (
    (Chemistry.NMC, "", 2484, 41, False, 38, "dc-pulse", Outcome.PACK),
    (Chemistry.LCO, "", 1790, 62, False, 71, "ac-1khz", Outcome.SOLO),
    (Chemistry.LMO, "", 612, 18, True, 210, "unknown", Outcome.LIGHT),
    (Chemistry.LFP, "", None, 0, False, None, "unknown", Outcome.SOLO),
    (Chemistry.UNKNOWN, "", 2015, 60, False, None, "unknown", Outcome.HOLD),
    (Chemistry.NMC, "", None, 0, False, None, "unknown", Outcome.DISCARD),
)
BOXES = [
    box_content("round, good", "metal box, lid loose", 400.0, 33),
    box_content("sand", "bucket", None, 1),
]
FLAT = tuple((kind, "ICP06/35/50", *rest) for kind, _, *rest in ROUND)


def specimens(form: Form, purpose: Purpose = Purpose.SHELF) -> Iterator[LabelContent]:
    """One label for each face, on cells of one form."""
    rows = ROUND if form.value.isdigit() else FLAT
    for number, (row, code) in enumerate(zip(rows, next_codes("W", 400, len(rows)), strict=True)):
        chemistry, marking, mah, u_mah, at_least, mohm, method, outcome = row
        cell = Cell(code, CellFacts(chemistry=chemistry, form=form, marking=marking))
        verdict = Verdict(code, outcome, "shipped", "", (), (), NOW, NOW + timedelta(days=330), "W-1")
        capacity = Measured(mah / 1e3, u_mah / 2e3) if mah else None
        resistance = Measured(mohm / 1e3, mohm * 0.04e-3) if mohm else None
        taken = NOW - timedelta(days=12)
        figures = Figures(capacity, taken, at_least, resistance, Method(method), taken) if mah else NO_FIGURES
        place = Place("reed-bed gauge", 1 + number // 3, 2, 1 + number % 3, 3)
        if purpose is not Purpose.DISCARD or outcome is Outcome.DISCARD:
            where = place if purpose is Purpose.BUILD else None
            yield label_content(cell, verdict, figures, today=NOW.date(), purpose=purpose, place=where)


def sheet(*parts: tuple[Stock, list[LabelContent]]) -> bytes:
    return sheet_pdf(parts, NOW, cautions=CAUTIONS)


def main(folder: Path) -> None:
    """Write every specimen into the folder: a sheet for every stock, then one for every purpose."""
    known, letter = shipped(), [name for name in shipped() if name.endswith("-letter")]
    wrap = known["plain-wrap"]
    blanks = [blank_content(code) for code in next_codes("W", 500, 65)]
    files = {
        f"stock-{name}.pdf": sheet((stock, [*specimens(stock.forms[0]), blanks[0]]))
        for name, stock in known.items()
        if stock.where is not Where.BOX and name not in letter
    }
    # The labels are the same ones; what differs is how many fit, so the pages are full.
    files["us-letter.pdf"] = sheet(*((known[name], full_page(known[name])) for name in letter))
    files |= {
        "purpose-tiny.pdf": sheet((known["plain-10"], list(specimens(Form.F10440, Purpose.TINY)))),
        "purpose-build.pdf": sheet((wrap, list(specimens(Form.F18650, Purpose.BUILD)))),
        "purpose-discard.pdf": sheet((wrap, list(specimens(Form.F18650, Purpose.DISCARD)))),
        "purpose-box.pdf": sheet(
            (known["plain-box"], [*BOXES, project_content("reed-bed gauge", "2 in series, 3 in parallel", 6)])
        ),
        "purpose-blank.pdf": sheet((known["sticker-65"], blanks)),
        "link.pdf": sheet(
            (wrap, linked(Form.F18650, "http://bench.lan")),
            (known["plain-flag"], linked(Form.POUCH, "http://straycell.workshop.example:8000/cell")),
        ),
        "calibration.pdf": calibration_pdf(NOW, (210.0, 297.0)),
    }
    rolls = list(specimens(Form.F18650))
    for number, (name, dpi) in enumerate((("pack", 203), ("solo", 300), ("light", 300))):
        files[f"single-{name}-{dpi}.png"] = single_png(rolls[number], dpi, known["roll-50x20"])
    files["single-not-yet-203.png"] = single_png(rolls[4], 203, known["roll-50x20"])
    files["single-discard-203.png"] = single_png(rolls[5], 203, known["roll-50x20"])
    for name, data in files.items():
        (folder / name).write_bytes(data)
        print(folder / name)


def full_page(stock: Stock) -> list[LabelContent]:
    """As many labels as one page of the stock holds, the faces in turn."""
    some = BOXES if stock.where is Where.BOX else list(specimens(stock.forms[0]))
    return [some[number % len(some)] for number in range(stock.per_page)]


def linked(form: Form, base: str) -> list[LabelContent]:
    """The same labels with the address of the bench page in the symbol."""
    return [replace(content, payload=link_payload(base, content.code)) for content in specimens(form)]


def draw_pictures(folder: Path) -> None:
    """The used part of every sheet's first page as a picture; of US letter every page, small and side by side."""
    import pypdfium2  # type: ignore[import-untyped]
    from PIL import Image, ImageOps

    for path in sorted(folder.glob("*.pdf")):
        document = pypdfium2.PdfDocument(path)
        pages = [document[n].render(scale=150 / 72, grayscale=True).to_pil() for n in range(len(document))]
        document.close()
        page = pages[0]
        if path.stem == "us-letter":
            small = [
                page.resize((page.width // 4, page.height // 4), Image.Resampling.LANCZOS) for page in pages
            ]
            width, height = small[0].width + 8, small[0].height + 8
            page = Image.new("L", (5 * width, height * -(-len(small) // 5)), 200)
            for number, one in enumerate(small):
                page.paste(one, (4 + width * (number % 5), 4 + height * (number // 5)))
        elif page.width > 800:
            rows = page.crop((0, 0, page.width, page.height - 200))
            below = ImageOps.invert(rows).getbbox()
            page = rows.crop((40, 100, page.width - 40, min(rows.height, (below or (0, 0, 0, 800))[3] + 12)))
        page.quantize(8).save(path.with_suffix(".png"), optimize=True)


if __name__ == "__main__":
    words = [word for word in sys.argv[1:] if word != "--pictures"]
    target = Path(words[0]) if words else Path(__file__).parent
    main(target)
    if "--pictures" in sys.argv:
        draw_pictures(target)
