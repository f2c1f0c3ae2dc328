"""What changes in time: where cells, projects, builds and hand-overs stand, by the store that saw them last."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Connection, func, select

from straycell.builds import BuildState
from straycell.store.merge.names import Names
from straycell.store.schema.tables import (
    BUILD,
    BUILD_CELL,
    CELL,
    EVENT,
    EVENT_CELL,
    HANDOVER,
    HANDOVER_CELL,
    PROJECT,
)
from straycell.store.session import Pen, among, rows_of

_ORDER = [BuildState.RESERVED.value, BuildState.FINISHED.value, BuildState.DISMANTLED.value]


@dataclass(frozen=True, slots=True)
class Both:
    """Two stores in a merge: what is new of the other's events, and how its numbers and names go here."""

    pen: Pen
    other: Connection
    events: dict[int, int]
    new: Collection[int]
    numbers: dict[str, dict[int, int]]
    names: Names
    last_here: dict[str, int]


def last_events(conn: Connection, codes: Collection[str] | None = None) -> dict[str, int]:
    """When something was last done to each cell, in microseconds."""
    query = (
        select(EVENT_CELL.c.code, func.max(EVENT.c.at_us))
        .join(EVENT, EVENT.c.id == EVENT_CELL.c.event_id)
        .group_by(EVENT_CELL.c.code)
    )
    if codes is not None:
        query = query.where(among(EVENT_CELL.c.code, codes))
    return {row[0]: row[1] for row in rows_of(conn, query)}


def bring_projects(both: Both) -> None:
    """Projects that are new, and those that something new was done to."""
    touched = set(both.other.execute(select(EVENT.c.subject).where(among(EVENT.c.id, both.new))).scalars())
    for row in both.other.execute(select(PROJECT).order_by(PROJECT.c.name)):
        values: dict[str, Any] = dict(row._mapping)
        values["name"] = both.names.here("project", row.name)
        values["event_id"] = both.events[row.event_id]
        if not both.names.is_here("project", row.name):
            both.pen.conn.execute(PROJECT.insert().values(values))
        elif row.name in touched:
            both.pen.conn.execute(PROJECT.update().where(PROJECT.c.name == values["name"]).values(values))


def bring_cells(both: Both) -> list[str]:
    """Stage and box of cells that were here before, where the other store saw them last; notes on the rest."""
    theirs = last_events(both.other, both.last_here)
    later = {code for code, at_us in theirs.items() if at_us > both.last_here[code]}
    ours = {row.code: row for row in both.pen.conn.execute(select(CELL).where(among(CELL.c.code, theirs)))}
    notes = []
    for row in both.other.execute(select(CELL).where(among(CELL.c.code, theirs)).order_by(CELL.c.code)):
        box = None if row.box is None else both.names.here("box", row.box)
        mine = ours[row.code]
        if (mine.stage, mine.box) == (row.stage, box):
            continue
        if row.code in later:
            both.pen.conn.execute(
                CELL.update().where(CELL.c.code == row.code).values(stage=row.stage, box=box)
            )
        else:
            notes.append(
                f"{row.code} is {mine.stage} in {mine.box or 'no box'} here, {row.stage} in {row.box or 'no box'} "
                "there: what was done last holds, which is here"
            )
    return notes


def bring_builds(both: Both) -> None:
    """Builds that went further in the other store."""
    for row in both.other.execute(select(BUILD).order_by(BUILD.c.id)):
        number = both.numbers["build"][row.id]
        mine = both.pen.conn.execute(select(BUILD).where(BUILD.c.id == number)).one()
        if _ORDER.index(row.state) <= _ORDER.index(mine.state):
            continue
        at = {"finished_at_us": row.finished_at_us, "dismantled_at_us": row.dismantled_at_us}
        both.pen.conn.execute(BUILD.update().where(BUILD.c.id == number).values(state=row.state, **at))
        if row.state == BuildState.DISMANTLED.value:
            gone = BUILD_CELL.update().where(BUILD_CELL.c.build_id == number)
            both.pen.conn.execute(gone.values(live=False))


def bring_handovers(both: Both) -> None:
    """Hand-overs that were closed in the other store."""
    for row in both.other.execute(select(HANDOVER).where(HANDOVER.c.closed_at_us.is_not(None))):
        number = both.numbers["handover"][row.id]
        mine = both.pen.conn.execute(select(HANDOVER).where(HANDOVER.c.id == number)).one()
        if mine.closed_at_us is not None:
            continue
        for item in both.other.execute(select(HANDOVER_CELL).where(HANDOVER_CELL.c.handover_id == row.id)):
            place = (HANDOVER_CELL.c.handover_id == number, HANDOVER_CELL.c.code == item.code)
            both.pen.conn.execute(HANDOVER_CELL.update().where(*place).values(state=item.state))
        closed = {"closed_at_us": row.closed_at_us, "body": row.body}
        both.pen.conn.execute(HANDOVER.update().where(HANDOVER.c.id == number).values(closed))
