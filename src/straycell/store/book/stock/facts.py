"""Logging cells, correcting what is known of them, taking back what was recorded of nothing: the history keeps it all.

Only what holds no evidence can be withdrawn, so that no danger once seen goes with it.
"""

import json
from collections.abc import Collection, Iterator, Mapping
from dataclasses import replace
from typing import Any

from sqlalchemy import Connection, select

from straycell.acceptance.evidence import FactSaid, fact_key
from straycell.cells import Cell, CellFacts, Chemistry, Form, Stage, check_move
from straycell.errors import BadData, UsageFault
from straycell.readings import Mistake
from straycell.store.book.derived import evident, say
from straycell.store.book.measured.readings import recorded
from straycell.store.book.names import key_named, letter
from straycell.store.book.records import KEEP, Keep
from straycell.store.book.register import BORN, Said, put, said
from straycell.store.book.stock import cells, teardowns
from straycell.store.book.stock.boxes import require_room
from straycell.store.book.stock.teardowns import require_filed
from straycell.store.book.stock.teardowns import teardown as require_teardown
from straycell.store.quick.prepared import Prepared
from straycell.store.schema.tables import BOX, CELL
from straycell.store.schema.validation import require_because, require_facts
from straycell.store.session import Pen
from straycell.store.verdicts import siblings


def add_cells(
    pen: Pen,
    facts: CellFacts,
    *,
    count: int = 1,
    code: str | None = None,
    teardown: str | None = None,
    pack: str | None = None,
    box: str | None = None,
) -> list[Cell]:
    """Log `count` alike cells, under the next codes or the one given. Raises BadData, UsageFault."""
    if code is not None and count != 1:
        raise UsageFault(f"one code cannot stand for {count} cells", "leave out --code or --count")
    require_facts(facts)
    source = require_teardown(pen.conn, teardown).code if teardown is not None else None
    if source is not None:
        require_filed(pen.conn, source)
    _require_pack(pen.conn, source, pack)
    if box is not None:
        require_room(pen.conn, box, [Cell("", facts)] * count)
    fresh = [cells.claim_code(pen, code)] if code is not None else cells.issue_codes(pen, count)
    detail = {"count": count, "pack": pack, "box": box}
    event_id = pen.event("cells-added", subject=source or "", detail=detail)
    place = None if box is None else key_named(pen.conn, BOX, box)
    values = {"box": place, "teardown": source, "pack": pack, **cells.facts_values(facts)}
    rows = [cells.born_row(each, values, pen.now_us, event_id) for each in fresh]
    pen.conn.execute(CELL.insert(), rows)
    pen.link(event_id, fresh)
    pen.touched.update(fresh)
    return [Cell(each, facts, Stage.RECEIVED, source, pack, box, pen.now) for each in fresh]


def correct_cell(
    pen: Pen,
    code: str,
    changes: Mapping[str, object],
    because: str,
    mistake: str | None = None,
    *,
    teardown: str | Keep | None = KEEP,
    pack: str | Keep | None = KEEP,
    box: str | Keep | None = KEEP,
) -> Cell:
    """Say some facts of a cell again, field by field. With `mistake` "mistyped" what was said before is withdrawn.

    Raises BadData (no such cell, tear-down or box; nothing changes), UsageFault (a name that is not a fact).
    """
    reason = require_because(because)
    if mistake not in (None, "", Mistake.MISTYPED):
        raise UsageFault(
            f"'{mistake}' is not a mistake in a cell's facts", "write --mistake mistyped, or leave it out"
        )
    old = cells.cell(pen.conn, code)
    facts = _changed(old.facts, changes)
    require_facts(facts)
    source = old.teardown
    if not isinstance(teardown, Keep):
        source = require_teardown(pen.conn, teardown).code if teardown is not None else None
    group = old.pack if isinstance(pack, Keep) else pack
    if source != old.teardown:
        _require_pack(pen.conn, source, group)
    place = old.box if isinstance(box, Keep) else box
    if place is not None and place != old.box:
        require_room(pen.conn, place, [replace(old, facts=facts)])
    new = replace(old, facts=facts, teardown=source, pack=group, box=place)
    before, after = _plain(old), _plain(new)
    open_ = disputed(pen.conn, code)
    names = [name for name in after if after[name] != before[name] or (name in open_ and name in changes)]
    if not names:
        raise BadData(f"nothing changes for cell {code}", "see: straycell cell show " + code)
    detail = {
        "from": {n: before[n] for n in names},
        "to": {n: after[n] for n in names},
        "mistake": mistake or "",
    }
    event_id = pen.event("cell-corrected", [code], detail=detail, because=reason)
    pen.kin |= siblings.siblings_of(pen.conn, [code])
    values = {n: after[n] for n in names} | ({"box": _key(pen, place)} if "box" in names else {})
    say(pen, event_id, {code: values}, mistake or "")
    pen.kin |= siblings.siblings_of(pen.conn, [code])
    pen.touched.add(code)
    return new


def _require_pack(conn: Connection, code: str | None, pack: str | None) -> None:
    """Raise UsageFault for a cell out of one of several objects of which nobody says which."""
    objects = 1 if code is None else require_teardown(conn, code).objects
    # Four devices opened together are four packs: as one, a leak in any would hold the cells of all.
    if objects > 1 and not pack:
        raise UsageFault(
            f"tear-down {code} is of {objects} objects: which of them is this cell from?",
            "say it with --pack, the same word for all cells of one object: --pack 1",
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


def _key(pen: Pen, box: str | None) -> str | None:
    return None if box is None else key_named(pen.conn, BOX, box)


def disputed(conn: Connection, code: str) -> set[str]:
    """Facts of a cell that two benches corrected differently since they last met."""
    return {name for name, found in said(conn, [code], FACTS).get(code, {}).items() if found.disputed}


FACTS = ("teardown", "pack", *cells.FACT_NAMES)
"""What can be said of a cell and is evidence."""


_FACTS = Prepared(lambda: select(CELL.c.code, *cells.FACT_COLUMNS).order_by(CELL.c.code), CELL.c.code)
_BORN = Prepared(lambda: select(CELL.c.code, CELL.c.born), CELL.c.code)


def facts(conn: Connection, codes: Collection[str] | None) -> dict[str, CellFacts]:
    """The facts of these cells (None: of all) as they are known now, by code in order."""
    return {code: cells.facts_of(tuple(values)) for code, *values in _FACTS.rows(conn, codes)}


def corrected(conn: Connection, codes: Collection[str] | None) -> dict[str, tuple[FactSaid, ...]]:
    """Of each cell of which a fact was ever corrected: all that was said of it and not withdrawn as mistyped."""
    known = said(conn, codes, FACTS)
    if not known:
        return {}
    return {
        code: tuple(
            each
            for name in sorted(known[code])
            for each in _said_of(code, name, json.loads(born), known[code][name])
        )
        for code, born in _BORN.rows(conn, known)
    }


def _said_of(code: str, name: str, born: Mapping[str, Any], found: Said) -> Iterator[FactSaid]:
    holding = {head.entry for head in found.heads}
    if BORN not in found.withdrawn:
        yield FactSaid(name, _typed(name, born.get(name, cells.UNSAID[name])), fact_key(code, name), False)
    for entry in sorted(found.entries, key=lambda e: e.rank):
        if entry.entry not in found.withdrawn:
            key = fact_key(code, name, entry.entry)
            yield FactSaid(name, _typed(name, entry.value), key, entry.entry in holding)


def _typed(name: str, value: Any) -> Any:
    if name == "chemistry":
        return Chemistry(value)
    return Form(value) if name == "form" else value


def withdraw_cell(pen: Pen, code: str, because: str) -> Cell:
    """A cell that was recorded by mistake leaves every list. Raises BadData for one of which anything is known."""
    reason, old = require_because(because), cells.cell(pen.conn, code)
    if old.stage not in (Stage.RECEIVED, Stage.SHELVED):
        raise BadData(f"cell {code} is {old.stage}", f"see: straycell cell history {code}")
    if evident(pen.conn, code):
        count = len(recorded(pen.conn, code, with_superseded=False))
        what = (
            "incidents"
            if not count
            else "a reading or charge"
            if count == 1
            else f"{count} readings or charges"
        )
        raise BadData(
            f"cell {code} has {what} on record, so there is such a cell",
            "if they are of another cell: straycell "
            + (
                "reading supersede ID --mistake wrong-cell"
                if count
                else f"incident withdraw {code} --right-cell CODE"
            )
            + " --because TEXT",
        )
    return _say_stage(pen, old, Stage.WITHDRAWN, "cell-withdrawn", reason)


def reinstate_cell(pen: Pen, code: str, because: str) -> Cell:
    """A withdrawn cell that is there after all is received. Raises BadData for one that was not withdrawn."""
    reason, old = require_because(because), cells.cell(pen.conn, code)
    if old.stage is not Stage.WITHDRAWN:
        raise BadData(f"cell {code} was not withdrawn", f"see: straycell cell show {code}")
    return _say_stage(pen, old, Stage.RECEIVED, "cell-reinstated", reason)


def _say_stage(pen: Pen, old: Cell, stage: Stage, verb: str, reason: str) -> Cell:
    check_move(old.code, old.stage, stage)
    event_id = pen.event(verb, [old.code], because=reason)
    say(pen, event_id, {old.code: {"stage": stage.value, "box": None}})
    pen.touched.add(old.code)
    return cells.cell(pen.conn, old.code)


def withdraw_teardown(pen: Pen, code: str, because: str, *, back: bool = False) -> None:
    """A tear-down without cells leaves every list, or comes back. Raises BadData."""
    reason, found = require_because(because), teardowns.teardown(pen.conn, code).code
    gone = found in teardowns.withdrawn(pen.conn)
    if gone is not back:
        raise BadData(
            f"tear-down {found} was {'not' if back else 'already'} withdrawn",
            f"see: straycell teardown show {found}",
        )
    there = select(CELL.c.code).where(CELL.c.teardown == found, CELL.c.stage != Stage.WITHDRAWN.value)
    inside = list(pen.conn.execute(there.order_by(CELL.c.code)).scalars())
    if inside:
        shown = ", ".join(inside[:5]) + (f" and {len(inside) - 5} more" if len(inside) > 5 else "")
        raise BadData(
            f"cells of tear-down {found} are on record: {shown}",
            f"withdraw them first: straycell cell withdraw --teardown {found} --because TEXT",
        )
    event_id = pen.event(f"teardown-{'reinstated' if back else 'withdrawn'}", subject=found, because=reason)
    put(pen, event_id, {found: {teardowns.WITHDRAWN: not back}})


def last_added(pen: Pen, count: int) -> list[str]:
    """The cells of this bench that were recorded last, by code. Raises BadData where there are not so many."""
    own = CELL.c.code.startswith(letter(pen.conn))
    query = select(CELL.c.code).where(CELL.c.stage != Stage.WITHDRAWN.value, own)
    found = list(
        pen.conn.execute(query.order_by(CELL.c.event_id.desc(), CELL.c.code.desc()).limit(count)).scalars()
    )
    if len(found) < count:
        raise BadData(f"this bench has {len(found)} cells on record, not {count}", "see: straycell cell list")
    return sorted(found)
