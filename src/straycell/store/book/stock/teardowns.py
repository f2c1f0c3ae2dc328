"""Tear-downs in the store."""

from collections.abc import Mapping
from dataclasses import replace
from datetime import date
from typing import Any

from sqlalchemy import Connection, Row, select

from straycell.cells import Stage
from straycell.errors import BadData, UsageFault
from straycell.store.book.derived import TEARDOWN_FIELDS, follow
from straycell.store.book.records import Event
from straycell.store.book.register import born_text, put, said
from straycell.store.column_values import day_text, from_json, from_us, opt_day
from straycell.store.schema.tables import BENCH, CELL, EVENT, TEARDOWN
from straycell.store.schema.validation import require_because
from straycell.store.session import Pen
from straycell.teardowns import Teardown, make_teardown_code, parse_teardown_code

CORRECTED = "teardown-corrected"


def _teardown(row: Row[Any]) -> Teardown:
    return Teardown(
        code=row.code,
        title=row.title,
        kind=row.kind,
        found_on=opt_day(row.found_on),
        place=row.place,
        note=row.note,
        objects=row.objects,
        added_at=from_us(row.added_at_us),
        opened_on=opt_day(row.opened_on),
    )


def teardowns(conn: Connection) -> list[Teardown]:
    """All tear-downs in the order they were filed, but for withdrawn ones."""
    order = (TEARDOWN.c.added_at_us, TEARDOWN.c.event_id, TEARDOWN.c.code)
    gone = withdrawn(conn)
    rows = conn.execute(select(TEARDOWN).order_by(*order))
    return [_teardown(row) for row in rows if row.code not in gone]


WITHDRAWN = "withdrawn"


def withdrawn(conn: Connection) -> set[str]:
    """Tear-downs recorded by mistake, out of which no cell came."""
    found = {code for code, fields in said(conn, None, (WITHDRAWN,)).items() if fields[WITHDRAWN].value}
    if not found:
        return found
    # Another bench may have filed a cell in it: then there was such an object.
    filed = select(CELL.c.teardown).where(CELL.c.stage != Stage.WITHDRAWN.value, CELL.c.teardown.in_(found))
    return found - set(conn.execute(filed).scalars())


def require_filed(conn: Connection, code: str) -> None:
    """Raise BadData for a tear-down that was withdrawn."""
    if code in withdrawn(conn):
        raise BadData(
            f"tear-down {code} was withdrawn: it was recorded by mistake",
            f"if it is there after all: straycell teardown withdraw {code} --back --because TEXT",
        )


def teardown(conn: Connection, code: str) -> Teardown:
    """One tear-down by its code as typed. Raises BadData when there is none."""
    tidy = parse_teardown_code(code)
    row = conn.execute(select(TEARDOWN).where(TEARDOWN.c.code == tidy)).one_or_none()
    if row is None:
        raise BadData(f"there is no tear-down {tidy}", "see: straycell teardown list")
    return _teardown(row)


def add_teardown(
    pen: Pen,
    title: str,
    kind: str,
    found_on: date | None = None,
    place: str = "",
    note: str = "",
    objects: int = 1,
    opened_on: date | None = None,
) -> Teardown:
    """File a tear-down under the bench's next number."""
    said = Teardown("", title, kind, found_on, place, note, objects, pen.now, opened_on)
    require_teardown(said, pen.now.date())
    bench = pen.conn.execute(select(BENCH)).one()
    number = bench.last_teardown + 1
    code = make_teardown_code(bench.letter, number)
    event_id = pen.event("teardown-added", subject=code, detail={"title": title, "kind": kind})
    pen.conn.execute(BENCH.update().values(last_teardown=number))
    new = replace(said, code=code)
    insert(pen, new, event_id)
    return new


def insert(pen: Pen, new: Teardown, event_id: int) -> None:
    """The row of a new tear-down."""
    values = _plain(new)
    row = {"code": new.code, "born": born_text(values), "added_at_us": pen.now_us, "event_id": event_id}
    pen.conn.execute(TEARDOWN.insert().values(**values, **row))


def correct_teardown(pen: Pen, code: str, changes: Mapping[str, object], because: str) -> Teardown:
    """Put right what is said of a tear-down. What was said before stays in the book of events.

    Raises BadData (no such tear-down, nothing changes, what cannot be), UsageFault (a name of nothing said of it).
    """
    reason = require_because(because)
    for name in changes:
        if name not in TEARDOWN_FIELDS:
            raise UsageFault(
                f"'{name}' is nothing said of a tear-down", f"known: {', '.join(TEARDOWN_FIELDS)}"
            )
    old = teardown(pen.conn, code)
    typed: dict[str, Any] = dict(changes)
    new = replace(old, **typed)
    require_teardown(new, pen.now.date())
    before, after = _plain(old), _plain(new)
    names = [name for name in TEARDOWN_FIELDS if after[name] != before[name]]
    if not names:
        raise BadData(f"nothing changes for tear-down {old.code}", f"see: straycell teardown show {old.code}")
    detail = {"from": {n: before[n] for n in names}, "to": {n: after[n] for n in names}}
    event_id = pen.event(CORRECTED, subject=old.code, detail=detail, because=reason)
    put(pen, event_id, {old.code: detail["to"]})
    follow(pen.conn, teardowns=[old.code])
    if "opened_on" in names:
        # What a check of its cells is worth beside a bad sibling depends on that day.
        pen.touched |= set(pen.conn.execute(select(CELL.c.code).where(CELL.c.teardown == old.code)).scalars())
    return new


def corrections(conn: Connection, code: str) -> list[Event]:
    """What was put right of a tear-down, oldest first: each with `from` and `to` in its detail."""
    query = select(EVENT).where(EVENT.c.verb == CORRECTED, EVENT.c.subject == code)
    rows = conn.execute(query.order_by(EVENT.c.at_us, EVENT.c.id))
    return [
        Event(row.id, from_us(row.at_us), row.verb, (), row.subject, from_json(row.detail), row.because)
        for row in rows
    ]


def _plain(found: Teardown) -> dict[str, Any]:
    days = {"found_on": day_text(found.found_on), "opened_on": day_text(found.opened_on)}
    return {**{name: getattr(found, name) for name in TEARDOWN_FIELDS}, **days}


def require_teardown(new: Teardown, today: date) -> None:
    """Raise BadData for a tear-down that cannot be."""
    _require_text("title", new.title)
    _require_text("kind", new.kind)
    if not 1 <= new.objects <= 1_000_000:
        raise BadData(
            f"a tear-down of {new.objects} objects", "write how many alike objects were opened, 1 or more"
        )
    for done, day in (("found", new.found_on), ("opened", new.opened_on)):
        if day is not None and day > today:
            raise BadData(f"the tear-down was {done} on {day}, which is in the future", "check the date")
    if new.found_on is not None and new.opened_on is not None and new.opened_on < new.found_on:
        raise BadData(
            f"the tear-down was opened on {new.opened_on}, before it was found on {new.found_on}",
            "check both dates",
        )


def _require_text(name: str, text: str) -> None:
    if not text.strip():
        raise BadData(f"the {name} of a tear-down is empty", "say in a few words what was opened")
