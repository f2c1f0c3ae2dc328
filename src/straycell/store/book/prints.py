"""What was printed and when, and how true to scale a printer is: events like any other, read back here."""

from __future__ import annotations

from collections.abc import Mapping

from sqlalchemy import Connection, select

from straycell.errors import BadData
from straycell.store.book.records import LabelPrint
from straycell.store.column_values import from_json, from_us
from straycell.store.schema.tables import EVENT
from straycell.store.session import Pen

_PRINTED, _SCALE = "labels-printed", "printer-scale"


def record_labels(pen: Pen, purpose: str, said: Mapping[str, str]) -> None:
    """Labels of these cells were printed; `said` holds the fingerprint of what each says, by code."""
    if said:
        pen.event(_PRINTED, said, subject=purpose, detail={"said": dict(said)})


def label_prints(conn: Connection) -> dict[str, LabelPrint]:
    """The latest label of every cell that has one, by code."""
    found: dict[str, LabelPrint] = {}
    rows = conn.execute(select(EVENT).where(EVENT.c.verb == _PRINTED).order_by(EVENT.c.at_us, EVENT.c.id))
    for row in rows:
        for code, fingerprint in from_json(row.detail)["said"].items():
            found[code] = LabelPrint(from_us(row.at_us), row.subject, fingerprint)
    return found


def record_scale(pen: Pen, printer: str, scale: float) -> None:
    """What a printer's pages must be drawn by so that they come out true."""
    pen.event(_SCALE, subject=printer, detail={"scale": scale})


def printer_scale(conn: Connection, printer: str) -> float:
    """The factor last recorded for a printer. Raises BadData when there is none."""
    query = select(EVENT).where(EVENT.c.verb == _SCALE).order_by(EVENT.c.at_us, EVENT.c.id)
    scales = {row.subject: float(from_json(row.detail)["scale"]) for row in conn.execute(query)}
    if printer not in scales:
        known = f"known here: {', '.join(sorted(scales))}; " if scales else ""
        raise BadData(
            f"printer '{printer}' is not measured yet", f"{known}see: straycell label calibrate --help"
        )
    return scales[printer]
