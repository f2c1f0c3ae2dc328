"""The book of events: what was written when, to which cells, and why."""

from collections.abc import Iterable, Mapping
from datetime import datetime
from typing import Any

from sqlalchemy import Connection, Select, bindparam, func, select

from straycell.errors import BadData
from straycell.readings import Quantity
from straycell.store.book.records import PRINTED, Event, LabelPrint
from straycell.store.book.stock import cells
from straycell.store.column_values import from_json, from_us, to_us
from straycell.store.quick.prepared import Prepared
from straycell.store.schema.tables import BENCH, EVENT, EVENT_CELL, READING, SUPERSESSION, WRITE
from straycell.store.session import Pen, grouped

RESTORED, SALVAGED = "store-restored", "store-salvaged"
"""A write of one of these writes down again what was known before, and not when."""


def history(conn: Connection, code: str, *, others: bool = True) -> list[Event]:
    """All events of one cell, oldest first. Raises BadData when there is no such cell.

    Without `others` each names this cell alone: an import of 100,000 cells is one event, and listing them takes seconds.
    """
    cells.require_cells(conn, [code])
    if not others:
        return [_event(row, (code,)) for row in _OF_CELL.rows(conn, code=code)]
    return _listed(conn, select(EVENT_CELL.c.event_id).where(EVENT_CELL.c.code == code))


_OF_CELL = Prepared(
    lambda: (
        select(EVENT)
        .where(
            EVENT.c.id.in_(select(EVENT_CELL.c.event_id).where(EVENT_CELL.c.code == bindparam("code", "")))
        )
        .order_by(EVENT.c.id)
    )
)


def last_event(conn: Connection, code: str) -> int:
    """The number of the newest event of one cell; 0 for one without."""
    newest = select(func.coalesce(func.max(EVENT_CELL.c.event_id), 0)).where(EVENT_CELL.c.code == code)
    return int(conn.execute(newest).scalar_one())


def own(conn: Connection, since: datetime) -> list[tuple[Event, list[str]]]:
    """What this bench wrote since a time (UTC): each event with its readings that still count, oldest first."""
    # Merged writes bear their own bench: what another one did is not undone here.
    here = WRITE.c.bench == select(BENCH.c.letter).scalar_subquery()
    found = _listed(
        conn,
        select(EVENT.c.id).where(
            EVENT.c.write_id.in_(select(WRITE.c.id).where(here, WRITE.c.at_us >= to_us(since)))
        ),
    )
    recorded = _recorded_by(conn, found)
    return [(event, recorded.get(event.id, [])) for event in found]


def _recorded_by(conn: Connection, events: list[Event]) -> dict[int, list[str]]:
    """By event, the numbers of the readings and charges it recorded that nothing superseded since."""
    superseded = select(SUPERSESSION.c.record)
    rows = conn.execute(
        select(READING.c.event_id, READING.c.key)
        .where(READING.c.event_id.in_([event.id for event in events]), READING.c.key.not_in(superseded))
        .order_by(READING.c.id)
    )
    return grouped((row.event_id, row.key) for row in rows)


def _listed(conn: Connection, ids: Select[Any]) -> list[Event]:
    rows = conn.execute(select(EVENT).where(EVENT.c.id.in_(ids)).order_by(EVENT.c.id)).all()
    # Two queries for any number of events, instead of one for each.
    linked = (
        select(EVENT_CELL.c.event_id, EVENT_CELL.c.code)
        .where(EVENT_CELL.c.event_id.in_(ids))
        .order_by(EVENT_CELL.c.event_id, EVENT_CELL.c.code)
    )
    cells = grouped((row.event_id, row.code) for row in conn.execute(linked))
    return [_event(row, cells.get(row.id, ())) for row in rows]


def _event(row: Any, codes: Iterable[str]) -> Event:
    return Event(
        id=row.id,
        at=from_us(row.at_us),
        verb=row.verb,
        cells=tuple(codes),
        subject=row.subject,
        detail=from_json(row.detail),
        because=row.because,
        write=row.write_id,
    )


NOTED = "cell-noted"


def notes(conn: Connection) -> dict[str, str]:
    """The own number and note that a list brought along, by code."""
    rows = conn.execute(
        select(EVENT_CELL.c.code, EVENT.c.because)
        .join(EVENT, EVENT.c.id == EVENT_CELL.c.event_id)
        .where(EVENT.c.verb == NOTED)
        .order_by(EVENT.c.id)
    )
    return {row.code: row.because for row in rows}


# --- what runs ---------------------------------------------------------------------------------------

_BEGUN = "charge-begun"


def begin_charge(pen: Pen, code: str) -> None:
    """A charge of this cell begins: noted so that somebody looks at it. What it put in is recorded when it ends."""
    cells.require_here(pen.conn, [code])
    pen.event(_BEGUN, [code])


def charges_begun(conn: Connection, since: datetime, code: str | None = None) -> dict[str, datetime]:
    """When a charge began, by code, for the cells (None: all) of which none was recorded after that.

    `since` (UTC): no older ones.
    """
    begun = (
        select(EVENT_CELL.c.code, func.max(EVENT.c.at_us).label("at_us"))
        .join(EVENT, EVENT.c.id == EVENT_CELL.c.event_id)
        .where(EVENT.c.verb == _BEGUN, EVENT.c.at_us >= to_us(since))
        .group_by(EVENT_CELL.c.code)
    )
    begun = begun if code is None else begun.where(EVENT_CELL.c.code == code)
    rows = {row.code: row.at_us for row in conn.execute(begun)}
    ended = select(READING.c.code, func.max(READING.c.recorded_at_us).label("at_us")).where(
        READING.c.code.in_(rows), READING.c.quantity == Quantity.CHARGE.value
    )
    last = {row.code: row.at_us for row in conn.execute(ended.group_by(READING.c.code))}
    return {code: from_us(at_us) for code, at_us in rows.items() if last.get(code, -1) < at_us}


# --- what was printed -------------------------------------------------------------------------------

_SCALE = "printer-scale"


def record_labels(pen: Pen, purpose: str, said: Mapping[str, str]) -> None:
    """Labels of these cells were printed; `said` holds the fingerprint of what each says, by code."""
    # The fingerprint, so that a label whose words have changed since can be found.
    if said:
        pen.event(PRINTED, said, subject=purpose, detail={"said": dict(said)})


def label_prints(conn: Connection) -> dict[str, LabelPrint]:
    """The latest label of every cell that has one, by code."""
    found: dict[str, LabelPrint] = {}
    rows = conn.execute(select(EVENT).where(EVENT.c.verb == PRINTED).order_by(EVENT.c.at_us, EVENT.c.id))
    # Later rows overwrite earlier ones: the label on the cell is the last one printed.
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
