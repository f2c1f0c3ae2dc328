"""The book of events: what was written when, to which cells, and why."""

from __future__ import annotations

from sqlalchemy import Connection, select

from straycell.store.book.records import Event
from straycell.store.column_values import from_json, from_us
from straycell.store.schema.tables import EVENT, EVENT_CELL


def history(conn: Connection, code: str) -> list[Event]:
    """All events of one cell, oldest first."""
    ids = select(EVENT_CELL.c.event_id).where(EVENT_CELL.c.code == code)
    rows = conn.execute(select(EVENT).where(EVENT.c.id.in_(ids)).order_by(EVENT.c.id)).all()
    links = conn.execute(
        select(EVENT_CELL.c.event_id, EVENT_CELL.c.code)
        .where(EVENT_CELL.c.event_id.in_(ids))
        .order_by(EVENT_CELL.c.event_id, EVENT_CELL.c.code)
    ).all()
    cells: dict[int, list[str]] = {}
    for event_id, cell in links:
        cells.setdefault(event_id, []).append(cell)
    return [
        Event(
            id=row.id,
            at=from_us(row.at_us),
            verb=row.verb,
            cells=tuple(cells.get(row.id, ())),
            subject=row.subject,
            detail=from_json(row.detail),
            because=row.because,
        )
        for row in rows
    ]
