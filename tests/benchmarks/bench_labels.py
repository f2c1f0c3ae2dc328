"""A thousand labels against the bare symbols, in the same run: python -m tests.benchmarks labels

The symbols are made by the QR library alone, one matrix a code, with the settings labels use; the sheet has everything
a label says, on pages of PDF. Wanted: at most three times the time of the symbols.
"""

from __future__ import annotations

import sys
import time
from datetime import UTC, datetime, timedelta

import qrcode
from qrcode.util import MODE_ALPHA_NUM, QRData

from straycell.acceptance.figures import Figures
from straycell.acceptance.reasons import Outcome, Verdict
from straycell.cells import Cell, CellFacts, Chemistry, Form, next_codes
from straycell.labels.content import LabelContent, label_content
from straycell.labels.render import sheet_pdf
from straycell.labels.stocks.files import shipped
from straycell.quantities import Measured
from straycell.readings import Method

COUNT, MOST_RATIO = 1_000, 3.0
NOW = datetime(2026, 10, 4, 18, 30, tzinfo=UTC)


def bare(codes: list[str]) -> None:
    """One version 1-H matrix for each code."""
    for code in codes:
        symbol = qrcode.QRCode(version=1, error_correction=qrcode.ERROR_CORRECT_H, border=0)
        symbol.add_data(QRData(code, mode=MODE_ALPHA_NUM), optimize=0)
        symbol.make(fit=False)
        symbol.get_matrix()


def label(number: int, code: str) -> LabelContent:
    """An invented cell with other figures on each."""
    cell = Cell(code, CellFacts(chemistry=Chemistry.NMC, form=Form.F18650))
    verdict = Verdict(code, Outcome(number % 5), "shipped", "", (), (), NOW, NOW + timedelta(days=300), "W-1")
    figures = Figures(
        Measured(1.5 + number / 1000, 0.03),
        NOW,
        False,
        Measured(0.03 + number / 1e5, 0.001),
        Method.DC_PULSE,
        NOW,
    )
    return label_content(cell, verdict, figures, today=NOW.date())


def main() -> int:
    """Print both times and their ratio; 1 when it is above the limit."""
    codes, stock = next_codes("W", 2_000, COUNT), shipped()["plain-wrap"]
    begun = time.perf_counter()
    bare(codes)
    bare_s = time.perf_counter() - begun
    begun = time.perf_counter()
    pdf = sheet_pdf([(stock, [label(n, code) for n, code in enumerate(codes)])], NOW)
    labels_s = time.perf_counter() - begun
    ratio = labels_s / bare_s
    print(
        f"{COUNT} symbols {bare_s:.2f} s, {COUNT} labels {labels_s:.2f} s ({len(pdf) / 1e6:.1f} MB): ratio {ratio:.2f}"
    )
    return 0 if ratio <= MOST_RATIO else 1


if __name__ == "__main__":
    sys.exit(main())
