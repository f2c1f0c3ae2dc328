"""Tear-downs in the store."""

from __future__ import annotations

from datetime import date
from typing import Any

from sqlalchemy import Connection, Row, select

from straycell.errors import BadData
from straycell.store.codec import day_text, from_us, opt_day
from straycell.store.pen import Pen
from straycell.store.tables import BENCH, TEARDOWN
from straycell.teardowns import Teardown, make_teardown_code, parse_teardown_code


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
    _require_text("title", title)
    _require_text("kind", kind)
    if not 1 <= objects <= 1_000_000:
        raise BadData(
            f"a tear-down of {objects} objects", "write how many alike objects were opened, 1 or more"
        )
    if found_on is not None and found_on > pen.now.date():
        raise BadData(f"the tear-down was found on {found_on}, which is in the future", "check the date")
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


def _require_text(name: str, text: str) -> None:
    if not text.strip():
        raise BadData(f"the {name} of a tear-down is empty", "say in a few words what was opened")
