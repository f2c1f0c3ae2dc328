"""What safe keeping asks of the store: the whole household for `due`, comparisons of meters, incidents."""

from __future__ import annotations

from datetime import UTC, date, datetime, time
from typing import TYPE_CHECKING

from sqlalchemy import Connection, select

from straycell.acceptance.case import Case
from straycell.acceptance.reasons import Verdict
from straycell.errors import BadData
from straycell.safety.due.survey import Household, Kept, MeterCheck
from straycell.store.book import boxes, builds, cells, handovers, meters
from straycell.store.book.names import shown
from straycell.store.book.records import Comparison
from straycell.store.column_values import day_text, from_us, opt_day
from straycell.store.schema.tables import EVENT, METER, METER_COMPARISON
from straycell.store.session import Pen
from straycell.store.verdicts.evidence import evidences

if TYPE_CHECKING:
    from straycell.acceptance import RuleSet


def household(conn: Connection, rules: RuleSet, now: datetime, judged: dict[str, Verdict]) -> Household:
    """Everything `due` looks at, as it stands at `now`."""
    found = evidences(conn, None)
    since = handovers.condemned_since(conn)
    live = builds.builds(conn, live_only=True)
    inside = handovers.built_in(conn)
    project_of = {code: build.project for build in live for code in build.codes if code in inside}
    on = {
        code: str(entry.id)
        for entry in handovers.handovers(conn)
        if entry.closed_at is None
        for code in entry.codes
    }
    kept = [
        Kept(
            cell=cell,
            case=Case(found[cell.code], cell.facts, rules, now),
            verdict=judged[cell.code],
            condemned_at=since.get(cell.code),
            build=project_of.get(cell.code),
            handover=on.get(cell.code),
        )
        for cell in cells.cells(conn)
    ]
    checks = [MeterCheck(c.meter, c.last, c.compared) for c in comparisons(conn)]
    kinds = {box.name: box.kind for box in boxes.boxes(conn)}
    return Household(kept, kinds, live, checks, now)


def comparisons(conn: Connection) -> list[Comparison]:
    """When each meter was last compared, or else declared, by name."""
    latest: dict[str, date] = {}
    for row in conn.execute(select(METER_COMPARISON)):
        day = date.fromisoformat(row.compared_on)
        latest[row.meter] = max(day, latest.get(row.meter, day))
    added = select(METER.c.key, METER.c.compared_on, EVENT.c.at_us).join(
        EVENT, EVENT.c.id == METER.c.event_id
    )
    names, found = shown(conn, METER), []
    for key, told, at_us in conn.execute(added):
        days = [day for day in (opt_day(told), latest.get(key)) if day is not None]
        last = _noon(max(days)) if days else from_us(at_us)
        found.append(Comparison(names[key], last, bool(days)))
    return sorted(found, key=lambda each: each.meter)


def _noon(day: date) -> datetime:
    return datetime.combine(day, time(12), UTC)


def compare_meter(pen: Pen, name: str, day: date, note: str) -> Comparison:
    """Record that a meter was compared. Raises BadData: no such meter, or a day that is not yet over."""
    meters.meter(pen.conn, name)
    if day > pen.now.date():
        raise BadData(f"meter '{name}': {day} is in the future", "check the date")
    event_id = pen.event("meter-compared", subject=name, detail={"on": day.isoformat()}, because=note)
    row = {"meter": meters.keys(pen.conn)[name], "compared_on": day_text(day), "note": note}
    pen.conn.execute(METER_COMPARISON.insert().values(**row, event_id=event_id))
    return next(c for c in comparisons(pen.conn) if c.meter == name)
