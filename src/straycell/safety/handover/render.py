"""The hand-over list as a PDF, A4, to be signed by who receives the cells. The only module here that knows fpdf2.

The date comes in with the list, so the same list gives the same bytes.
"""

from collections.abc import Sequence
from datetime import datetime

from fpdf.enums import TableBordersLayout
from fpdf.fonts import FontFace

from straycell.labels.document import TEXT, ListPaper
from straycell.labels.faces import shown
from straycell.safety.energy import Amount
from straycell.safety.handover.listing import Condition, HandoverCell, HandoverLine, HandoverList, carriage

_SMALL = 7.5
_COLUMNS = (10, 13, 39, 24, 20, 21, 24, 29)
_SIGN_MM = 52.0
_TOGETHER_MM = 14.0


def handover_pdf(listed: HandoverList, now: datetime, *, cautions: Sequence[str] = ()) -> bytes:
    """The list on as many pages as it takes: lines, the cells on them, what may apply, cautions, signatures."""
    foot = f"Hand-over {listed.number}, bench {listed.bench}, printed {now:%Y-%m-%d %H:%M} UTC"
    pdf = ListPaper(f"straycell hand-over {listed.number}", now, foot)
    _head(pdf, listed, now)
    _table(pdf, listed)
    _cells(pdf, listed)
    _rules(pdf, listed, cautions)
    _signatures(pdf)
    return pdf.finished()


def _head(pdf: ListPaper, listed: HandoverList, now: datetime) -> None:
    pdf.say(f"Hand-over list {listed.number}", pdf.title_pt, bold=True)
    state = f"closed {listed.closed_at:%Y-%m-%d}" if listed.closed_at else f"open, as of {now:%Y-%m-%d}"
    pdf.ln(1)
    pdf.say(f"To: {listed.place}", pdf.head_pt)
    pdf.say(f"From: bench {listed.bench}; begun {listed.opened_at:%Y-%m-%d}, {state}")
    damaged = sum(cell.condition is Condition.DAMAGED for cell in listed.cells)
    pdf.say(
        f"{len(listed.cells)} cells in all: {damaged} damaged or defective, {len(listed.cells) - damaged} intact; "
        f"{_mass(listed.mass)}, {_energy(listed.energy)}",
        bold=True,
    )
    pdf.say(
        "~ marks a figure that is estimated, wholly or in part, from size or form. Energy is that of full cells.",
    )
    pdf.ln(2)


def _mass(amount: Amount) -> str:
    figure = f"{amount.value / 1000:.2f} kg" if amount.value >= 1000 else f"{amount.value:.0f} g"
    return f"{'~' if amount.estimated else ''}{figure}"


def _energy(amount: Amount) -> str:
    return f"{'~' if amount.estimated else ''}{amount.value:.1f} Wh"


def _state(line: HandoverLine) -> str:
    return ("MAY REACT: " if line.critical else "") + str(line.condition)


def _kind(line: HandoverLine) -> str:
    names = {"primary": "lithium, not rechargeable", "unknown": "lithium, chemistry not known"}
    return f"{line.form} {names.get(line.chemistry, f'Li-ion ({line.chemistry})')}"


def _table(pdf: ListPaper, listed: HandoverList) -> None:
    rules = carriage()["rule"]
    heads = ("line", "count", "what", "state", "mass", "energy", "UN number*", "may apply*")
    pdf.set_font(TEXT, "", 8.5)
    with pdf.table(
        col_widths=_COLUMNS,
        line_height=4.2,
        padding=(0.8, 1.3),
        text_align=("CENTER", "CENTER", "LEFT", "LEFT", "RIGHT", "RIGHT", "LEFT", "LEFT"),
        borders_layout=TableBordersLayout.ALL,
        headings_style=FontFace(emphasis="BOLD"),
    ) as table:
        table.row(heads)
        for number, line in enumerate(listed.lines, 1):
            carried = [rules[name]["name"] for name in line.rules if name != "epa"]
            row = (
                str(number),
                str(line.count),
                _kind(line),
                _state(line),
                _mass(line.mass),
                _energy(line.energy),
            )
            table.row([*map(shown, row), line.un, "; ".join(carried)])
    pdf.ln(1)
    ask = str(carriage()["ask"])
    # The tool names rules and decides none: classification is the consignor's duty under ADR.
    pdf.say(f"* May apply, no more: {ask}, and follow its word and the carrier's.", bold=True)
    pdf.ln(2)


def _cells(pdf: ListPaper, listed: HandoverList) -> None:
    pdf.say("The cells on each line", pdf.head_pt, bold=True)
    for number, line in enumerate(listed.lines, 1):
        pdf.ln(1)
        pdf.keep_together(_TOGETHER_MM)
        pdf.say(f"Line {number}: {_kind(line)}, {_state(line)}", bold=True)
        for cell in line.cells:
            pdf.say(_cell_words(cell), 8.0, indent_mm=4.0)
    pdf.ln(2)


def _cell_words(cell: HandoverCell) -> str:
    marking = f" '{cell.marking}'" if cell.marking else ""
    return f"{cell.code}{marking}  {_mass(cell.mass)}, {_energy(cell.energy)}: {cell.why}"


def _rules(pdf: ListPaper, listed: HandoverList, cautions: Sequence[str]) -> None:
    pdf.say("What may apply, and where it is written", pdf.head_pt, bold=True)
    for rule in listed.rules:
        pdf.say(f"{rule.name}: {rule.text}. Source: {rule.source}.", 8.0)
        pdf.ln(0.6)
    pdf.ln(1)
    for text in cautions:
        pdf.say(text, 8.0)
    pdf.ln(2)


def _signatures(pdf: ListPaper) -> None:
    """Never alone on two pages: they start a page of their own when there is no room."""
    # A signature on a page of its own could be put under another list.
    if pdf.get_y() + _SIGN_MM > pdf.h - 18.0:
        pdf.add_page()
    pdf.say("Received as listed", pdf.head_pt, bold=True)
    pdf.say("Damaged and intact cells were handed over apart, terminals covered.")
    width = (pdf.w - 2 * pdf.margin_mm - 10.0) / 2
    top = pdf.get_y() + 14.0
    for place, who in enumerate(("handed over by", "received by")):
        left = pdf.margin_mm + place * (width + 10.0)
        for row, what in enumerate(("name, date", "signature")):
            y = top + 15.0 * row
            pdf.line(left, y, left + width, y)
            pdf.set_font(TEXT, "", _SMALL)
            pdf.text(left, y + 3.5, f"{who}: {what}")
    pdf.set_y(top + 22.0)
