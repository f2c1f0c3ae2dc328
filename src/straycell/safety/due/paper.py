"""What is due as a paper to tick off at the shelf, worst first. The same list and clock give the same bytes."""

from collections.abc import Sequence
from datetime import datetime
from itertools import groupby

from straycell.labels.document import CODE, TEXT, ListPaper
from straycell.labels.faces import shown
from straycell.quantities import count_of
from straycell.safety.due.survey import DueItem, common_step

_BOX_MM, _TOGETHER_MM = 3.2, 22.0


def due_pdf(found: Sequence[DueItem], now: datetime, bench: str, *, cautions: Sequence[str] = ()) -> bytes:
    """A4 with every kind that is due, what to do about it, and a box to tick for each cell. `found`: worst first."""
    day = f"{now:%Y-%m-%d}"
    pdf = ListPaper(f"straycell due {day}", now, f"Due list, bench {bench}, printed {now:%Y-%m-%d %H:%M} UTC")
    pdf.say(f"Due on {day}: {count_of(len(found), 'thing')}", pdf.title_pt, bold=True)
    for text in cautions:
        pdf.say(text, 8.0)
    for kind, group in groupby(found, key=lambda item: item.kind):
        listed = list(group)
        pdf.ln(3)
        pdf.keep_together(_TOGETHER_MM)
        pdf.say(f"{'! ' if kind.danger else ''}{kind.title} ({len(listed)})", pdf.head_pt, bold=True)
        pdf.say(common_step(listed))
        for item in listed:
            _item(pdf, item, now)
    return pdf.finished()


def _item(pdf: ListPaper, item: DueItem, now: datetime) -> None:
    """`[ ] H00001K  in 'shelf 1', 12 days overdue: why`."""
    pdf.ln(1)
    pdf.keep_together(8.0)
    top = pdf.get_y()
    pdf.rect(pdf.margin_mm, top + 0.5, _BOX_MM, _BOX_MM)
    # A cell's code is set in the face of the labels, so that it is compared letter by letter.
    pdf.set_font(CODE if item.about == "cell" else TEXT, "" if item.about == "cell" else "B", pdf.body_pt)
    name = shown(item.subject)
    left, width = pdf.margin_mm + _BOX_MM + 1.5, pdf.get_string_width(name)
    pdf.text(left, top + 3.4, name)
    over = (now - item.at).days
    where = f"in '{item.box}'" if item.box else ""
    since = f"{count_of(over, 'day')} overdue" if over > 0 else ""
    words = ", ".join(part for part in (where, since) if part)
    pdf.say(f"{words}: {item.why}" if words else item.why, indent_mm=left - pdf.margin_mm + width + 2.5)
