"""Tear-downs in the store."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import replace
from datetime import date
from typing import Any

from sqlalchemy import Connection, Row, select

from straycell.errors import BadData, UsageFault
from straycell.store.book.records import Event
from straycell.store.column_values import day_text, from_json, from_us, opt_day
from straycell.store.schema.tables import BENCH, EVENT, TEARDOWN
from straycell.store.schema.validation import require_because
from straycell.store.session import Pen
from straycell.teardowns import Teardown, make_teardown_code, parse_teardown_code

CORRECTED = "teardown-corrected"
CORRECTABLE = ("title", "kind", "found_on", "place", "note", "objects")


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
    )


def teardowns(conn: Connection) -> list[Teardown]:
    """All tear-downs in the order they were filed."""
    return [_teardown(row) for row in conn.execute(select(TEARDOWN).order_by(TEARDOWN.c.event_id))]


def teardown(conn: Connection, code: str) -> Teardown:
    """One tear-down by its code as typed. Raises BadData when there is none."""
    tidy = parse_teardown_code(code)
    row = conn.execute(select(TEARDOWN).where(TEARDOWN.c.code == tidy)).one_or_none()
    if row is None:
        raise BadData(f"there is no tear-down {tidy}", "see: straycell teardown list")
    return _teardown(row)


def add_teardown(
    pen: Pen, title: str, kind: str, *, found_on: date | None, place: str, note: str, objects: int
) -> Teardown:
    """File a tear-down under the bench's next number."""
    require_teardown(Teardown("", title, kind, found_on, place, note, objects), pen.now.date())
    bench = pen.conn.execute(select(BENCH)).one()
    number = bench.last_teardown + 1
    code = make_teardown_code(bench.letter, number)
    event_id = pen.event("teardown-added", subject=code, detail={"title": title, "kind": kind})
    pen.conn.execute(BENCH.update().values(last_teardown=number))
    pen.conn.execute(
        TEARDOWN.insert().values(
            code=code,
            title=title,
            kind=kind,
            found_on=day_text(found_on),
            place=place,
            note=note,
            objects=objects,
            added_at_us=pen.now_us,
            event_id=event_id,
        )
    )
    return Teardown(code, title, kind, found_on, place, note, objects, pen.now)


def correct_teardown(pen: Pen, code: str, changes: Mapping[str, object], because: str) -> Teardown:
    """Put right what is said of a tear-down. What was said before stays in the book of events.

    Raises BadData (no such tear-down, nothing changes, what cannot be), UsageFault (a name of nothing said of it).
    """
    reason = require_because(because)
    for name in changes:
        if name not in CORRECTABLE:
            raise UsageFault(f"'{name}' is nothing said of a tear-down", f"known: {', '.join(CORRECTABLE)}")
    old = teardown(pen.conn, code)
    typed: dict[str, Any] = dict(changes)
    new = replace(old, **typed)
    require_teardown(new, pen.now.date())
    before, after = _plain(old), _plain(new)
    names = [name for name in CORRECTABLE if after[name] != before[name]]
    if not names:
        raise BadData(f"nothing changes for tear-down {old.code}", f"see: straycell teardown show {old.code}")
    detail = {"from": {n: before[n] for n in names}, "to": {n: after[n] for n in names}}
    pen.event(CORRECTED, subject=old.code, detail=detail, because=reason)
    pen.conn.execute(TEARDOWN.update().where(TEARDOWN.c.code == old.code).values(detail["to"]))
    return new


def corrections(conn: Connection, code: str) -> list[Event]:
    """What was put right of a tear-down, oldest first: each with `from` and `to` in its detail."""
    query = select(EVENT).where(EVENT.c.verb == CORRECTED, EVENT.c.subject == code)
    rows = conn.execute(query.order_by(EVENT.c.at_us, EVENT.c.id))
    return [
        Event(row.id, from_us(row.at_us), row.verb, (), row.subject, from_json(row.detail), row.because)
        for row in rows
    ]


def follow_corrections(conn: Connection, codes: Collection[str]) -> None:
    """After a merge: each field of these tear-downs as the latest correction says, on whichever bench it was made."""
    for code in codes:
        latest: dict[str, Any] = {}
        for event in corrections(conn, code):
            latest |= event.detail["to"]
        if latest:
            conn.execute(TEARDOWN.update().where(TEARDOWN.c.code == code).values(latest))


def _plain(found: Teardown) -> dict[str, Any]:
    return {**{name: getattr(found, name) for name in CORRECTABLE}, "found_on": day_text(found.found_on)}


def require_teardown(new: Teardown, today: date) -> None:
    """Raise BadData for a tear-down that cannot be."""
    _require_text("title", new.title)
    _require_text("kind", new.kind)
    if not 1 <= new.objects <= 1_000_000:
        raise BadData(
            f"a tear-down of {new.objects} objects", "write how many alike objects were opened, 1 or more"
        )
    if new.found_on is not None and new.found_on > today:
        raise BadData(f"the tear-down was found on {new.found_on}, which is in the future", "check the date")


def _require_text(name: str, text: str) -> None:
    if not text.strip():
        raise BadData(f"the {name} of a tear-down is empty", "say in a few words what was opened")
