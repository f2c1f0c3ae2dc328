"""Logging cells and correcting what is known of them: every version of the facts is kept."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import replace
from typing import Any

from sqlalchemy import Connection, func, select

from straycell.cells import Cell, CellFacts, Chemistry, Form, Stage
from straycell.errors import BadData, UsageFault
from straycell.readings import Mistake
from straycell.store.book import cells
from straycell.store.book.boxes import require_room
from straycell.store.book.records import KEEP, Keep
from straycell.store.book.teardowns import teardown as require_teardown
from straycell.store.schema.tables import CELL, CELL_FACTS, READING
from straycell.store.schema.validation import require_because, require_facts
from straycell.store.session import Pen, among, rows_of
from straycell.store.verdicts import siblings


def add_cells(
    pen: Pen,
    facts: CellFacts,
    *,
    count: int,
    code: str | None,
    teardown: str | None,
    pack: str | None,
    box: str | None,
) -> list[Cell]:
    """Log `count` alike cells, under the next codes or the one given. Raises BadData, UsageFault."""
    if code is not None and count != 1:
        raise UsageFault(f"one code cannot stand for {count} cells", "leave out --code or --count")
    require_facts(facts)
    source = require_teardown(pen.conn, teardown).code if teardown is not None else None
    if box is not None:
        require_room(pen.conn, box, [Cell("", facts)] * count)
    fresh = [cells.claim_code(pen, code)] if code is not None else cells.issue_codes(pen, count)
    event_id = pen.event(
        "cells-added", subject=source or "", detail={"count": count, "pack": pack, "box": box}
    )
    common = {"stage": Stage.RECEIVED.value, "box": box, "added_at_us": pen.now_us, "event_id": event_id}
    pen.conn.execute(CELL.insert(), [{"code": each, **common} for each in fresh])
    version = {
        "teardown": source,
        "pack": pack,
        **cells.facts_values(facts),
        "changed": "",
        "mistake": "",
        "after_reading": 0,
        "event_id": event_id,
    }
    pen.conn.execute(CELL_FACTS.insert(), [{"code": each, **version} for each in fresh])
    pen.link(event_id, fresh)
    pen.touched.update(fresh)
    return [Cell(each, facts, Stage.RECEIVED, source, pack, box, pen.now) for each in fresh]


def correct_cell(
    pen: Pen,
    code: str,
    changes: Mapping[str, object],
    because: str,
    mistake: str | None,
    *,
    teardown: str | Keep | None = KEEP,
    pack: str | Keep | None = KEEP,
    box: str | Keep | None = KEEP,
) -> Cell:
    """File a new version of a cell's facts. With `mistake` "mistyped" the old entries are withdrawn.

    Raises BadData (no such cell, tear-down or box; nothing changes), UsageFault (a name that is no fact).
    """
    reason = require_because(because)
    if mistake not in (None, "", Mistake.MISTYPED):
        raise UsageFault(
            f"'{mistake}' is no mistake in a cell's facts", "write --mistake mistyped, or leave it out"
        )
    old = cells.cell(pen.conn, code)
    facts = _changed(old.facts, changes)
    require_facts(facts)
    source = old.teardown
    if not isinstance(teardown, Keep):
        source = require_teardown(pen.conn, teardown).code if teardown is not None else None
    group = old.pack if isinstance(pack, Keep) else pack
    if (source, group) != (old.teardown, old.pack) and not mistake:
        _require_no_sign(pen, code)
    place = old.box if isinstance(box, Keep) else box
    if place is not None and place != old.box:
        require_room(pen.conn, place, [replace(old, facts=facts)])
    new = replace(old, facts=facts, teardown=source, pack=group, box=place)
    before, after = _plain(old), _plain(new)
    names = [name for name in after if after[name] != before[name]]
    if not names:
        raise BadData(f"nothing changes for cell {code}", "see: straycell cell show " + code)
    detail = {
        "from": {n: before[n] for n in names},
        "to": {n: after[n] for n in names},
        "mistake": mistake or "",
    }
    event_id = pen.event("cell-corrected", [code], detail=detail, because=reason)
    pen.kin |= siblings.siblings_of(pen.conn, [code])
    _file(pen, new, [n for n in names if n in cells.FACT_NAMES], mistake or "", event_id)
    pen.kin |= siblings.siblings_of(pen.conn, [code])
    pen.touched.add(code)
    pen.clearing |= {code, *pen.kin}
    return new


def _require_no_sign(pen: Pen, code: str) -> None:
    """Raise BadData for a cell whose sibling shows danger: moving it to another pack would hide that."""
    signs = siblings.kinship(pen.conn, [code]).signs_for(code)
    if signs:
        raise BadData(
            f"cell {code} is of the same pack as {signs[0].code}, which was seen {signs[0].look}",
            "if its pack was written down wrongly, add: --mistake mistyped",
        )


def _plain(cell: Cell) -> dict[str, Any]:
    return {**cells.facts_values(cell.facts), "teardown": cell.teardown, "pack": cell.pack, "box": cell.box}


def _changed(facts: CellFacts, changes: Mapping[str, object]) -> CellFacts:
    for name in changes:
        if name not in cells.FACT_NAMES:
            raise UsageFault(f"'{name}' is nothing known of a cell", f"known: {', '.join(cells.FACT_NAMES)}")
    values = dict(changes)
    try:
        if "chemistry" in values:
            values["chemistry"] = Chemistry(str(values["chemistry"]))
        if "form" in values:
            values["form"] = Form(str(values["form"]))
    except ValueError as fault:
        raise BadData(str(fault), "see: straycell cell add --help") from fault
    typed: dict[str, Any] = values
    return replace(facts, **typed)


def _file(pen: Pen, new: Cell, changed: Sequence[str], mistake: str, event_id: int) -> None:
    """The box is where the cell lies, not a fact of it: it has no versions."""
    pen.conn.execute(
        CELL_FACTS.insert().values(
            code=new.code,
            teardown=new.teardown,
            pack=new.pack,
            **cells.facts_values(new.facts),
            changed=" ".join(changed),
            mistake=mistake,
            after_reading=pen.conn.execute(select(func.max(READING.c.id))).scalar() or 0,
            event_id=event_id,
        )
    )
    pen.conn.execute(CELL.update().where(CELL.c.code == new.code).values(box=new.box))


Said = tuple[CellFacts, dict[Chemistry, str]]
"""The facts that count now, and the other chemistries said of the cell that no mistake withdrew, with their keys."""


def said(conn: Connection, codes: Collection[str] | None) -> dict[str, Said]:
    """For each cell its facts now and what else was said of its chemistry."""
    query = select(
        CELL_FACTS.c.id, CELL_FACTS.c.code, CELL_FACTS.c.changed, CELL_FACTS.c.mistake, *cells.FACT_COLUMNS
    ).order_by(CELL_FACTS.c.code, CELL_FACTS.c.id)
    if codes is not None:
        query = query.where(among(CELL_FACTS.c.code, codes))
    listed: dict[str, Said] = {}
    for number, code, changed, mistake, *values in rows_of(conn, query):
        facts = cells.facts_of(tuple(values))
        others = listed[code][1] if code in listed else {}
        if mistake and "chemistry" in changed.split():
            others = {}
        elif code in listed and listed[code][0].chemistry is not facts.chemistry:
            others = {**others, listed[code][0].chemistry: f"fact {code}.chemistry {number}"}
        others.pop(facts.chemistry, None)
        others.pop(Chemistry.UNKNOWN, None)
        listed[code] = (facts, others)
    return listed
