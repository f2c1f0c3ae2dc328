"""Cells from a CSV file: one line a cell, new codes where none is written, all of it as one write.

What a line does not state is filled from its marking. Only an export says it all: there, an empty field is unknown.
"""

from __future__ import annotations

import hashlib
from collections import defaultdict
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from sqlalchemy import select

from straycell.cells import Cell, CellFacts, Stage, parse_code
from straycell.errors import BadData
from straycell.markings import fill, printed_capacity_ah, read_marking, unrated_beyond_size
from straycell.readings import FACTS
from straycell.store.book.events import NOTED, notes
from straycell.store.book.names import shown
from straycell.store.book.stock import boxes, cells
from straycell.store.column_values import from_json, from_us
from straycell.store.exchange.beside import Beside, carry_past
from straycell.store.exchange.fields import Fields, quantity_columns, taken
from straycell.store.exchange.table import Fault, Imported, Progress, Table
from straycell.store.schema.tables import BOX, CELL, EVENT, EVENT_CELL
from straycell.store.schema.validation import require_facts
from straycell.store.session import Pen, insert_many
from straycell.teardowns import parse_teardown_code
from straycell.typed import day

IMPORTED = "cells-imported"
_REMEDY = (
    "leave the line out; was the first a mistake: straycell cell withdraw CODE --because TEXT; is it another cell: "
    "give it an own_number"
)


def content_of(file: Path) -> str:
    """What tells a file from others, whatever its name."""
    return hashlib.sha256(file.read_bytes()).hexdigest()[:16]


def taken_before(pen: Pen, file: Path, found: Sequence[NewCell]) -> Iterator[Fault]:
    """Lines without a code that an earlier list brought: the same file, or of any other the same own number.

    A file of the same name that has grown or was put right counts line by line. Cells that were withdrawn do not count.
    """
    # Lines with a code are refused by their code; those without would each become one cell more.
    blank = [cell for cell in found if cell.code is None]
    events = pen.conn.execute(select(EVENT).where(EVENT.c.verb == IMPORTED).order_by(EVENT.c.id)).all()
    if not blank or not events:
        return
    here = {cell.code: cell for cell in cells.cells(pen.conn) if cell.stage is not Stage.WITHDRAWN}
    said, content = notes(pen.conn), content_of(file)
    days, same_name, whole = dict[str, str](), dict[str, bool](), list[str]()
    for event in events:
        codes = select(EVENT_CELL.c.code).where(EVENT_CELL.c.event_id == event.id)
        of_event = [code for code in pen.conn.scalars(codes.order_by(EVENT_CELL.c.code)) if code in here]
        days |= dict.fromkeys(of_event, day(from_us(event.at_us)))
        same_name |= dict.fromkeys(of_event, event.subject == file.name)
        whole += of_event if from_json(event.detail).get("content") == content else []
    alike = defaultdict[tuple[Any, ...], list[str]](list)
    for code in days:
        alike[_kind(here[code].facts, said.get(code, ""))].append(code)
    for new in blank:
        codes_alike = alike[_kind(new.facts, new.note)]
        known = [code for code in codes_alike if new.numbered or same_name[code]] or whole
        if known:
            # Twenty cells alike on twenty lines are twenty cells: each earlier one answers for one line.
            code = known[0]
            if code in codes_alike and not new.numbered:
                codes_alike.remove(code)
            yield Fault(new.line, f"taken on '{days[code]}' already, as '{code}'", _REMEDY)


def _kind(facts: CellFacts, note: str) -> tuple[Any, ...]:
    return facts.form, facts.marking, facts.rated_capacity_ah, note


_QUANTITIES = quantity_columns(FACTS.values())
_PLAIN = tuple(field.column for field in FACTS.values() if field.dimension is None)
_FACTS = {field.column: field for field in FACTS.values()}
_OTHERS = ("code", "teardown", "pack", "box")
_NOTES = ("own_number", "note")
MOST_LINES = 25_000
"""In one write; of so many cells it keeps within 200 MB of memory."""
OF_AN_EXPORT = ("stage", "added_at")
"""Columns of an export that are not taken as they stand: a stage follows from the readings, and only what was out of
use, or in a device, has its say; `added_at` is when the import is made."""
COLUMNS = (*_OTHERS, *_NOTES, *_PLAIN, *_QUANTITIES, *OF_AN_EXPORT)
QUANTITY_STEMS = frozenset(column.stem for column in _QUANTITIES.values())
NUMBERS = (*_QUANTITIES, "volume_cm3")
TEMPLATE = (
    "code,teardown,pack,box,form,chemistry,marking,maker,date_code,rated_capacity_mah,rated_resistance_mohm,"
    "full_voltage_v,mass_g,bought_new,rewrapped,tabs,protection_board,confirmed_rechargeable,own_number,note\n"
    ",,,,18650,nmc,INR18650 2600mAh,,,2600,45,,45.5,no,no,yes,no,no,17,from the shed\n"
)


@dataclass(frozen=True, slots=True)
class NewCell:
    """A line that can be taken; no code means the bench's next."""

    line: int
    facts: CellFacts
    code: str | None
    teardown: str | None
    pack: str | None
    box: str | None
    note: str = ""
    was: Stage = Stage.RECEIVED
    numbered: bool = False


def import_cells(
    pen: Pen,
    file: Path,
    *,
    partial: bool = False,
    mapping: Mapping[str, str] | None = None,
    progress: Progress | None = None,
) -> Imported:
    """Take the cells of a file, all or none (with `partial` those without a fault)."""
    table = Table(file, COLUMNS, (("form", "marking", "code"),), NUMBERS, mapping)
    beside = Beside(pen, file)

    def read(fields: Fields) -> NewCell | None:
        # One write holds what it records in memory (200 MB for so many).
        if fields.line.number > MOST_LINES:
            fields.refuse("", f"more than {MOST_LINES} lines", "split the file")
        return _read(fields, table.columns, beside)

    found = taken(table, _QUANTITIES, read, partial=partial, progress=progress)
    twice = [*_taken_twice(pen, found), *taken_before(pen, file, found)]
    table.faults.note(twice)
    refused = {fault.line for fault in twice}
    found = [cell for cell in found if cell.line not in refused] if partial or not table.faults else []
    if found:
        beside.take(teardowns_=_names(c.teardown for c in found), boxes_=_names(c.box for c in found))
        _require_room(pen, found)
        _file(pen, file, found)
    return table.imported(len(found))


def _names(values: Iterable[str | None]) -> set[str]:
    return {value for value in values if value is not None}


def _read(fields: Fields, columns: Sequence[str], beside: Beside) -> NewCell | None:
    given = fields.all_said(_FACTS)
    code = fields.try_("code", parse_code)
    teardown = fields.try_("teardown", lambda text: beside.teardown(parse_teardown_code(text)))
    box = fields.try_("box", beside.box)
    pack = fields.text("pack") or None
    # Pack 1 exists in every tear-down: alone it would make strangers siblings.
    if pack and not fields.has("teardown"):
        fields.refuse("pack", f"'{pack}' is a pack of no tear-down", "fill the column teardown too")
    stated = _stated(fields, columns)
    facts = fields.try_("marking", lambda _: _proposed(CellFacts(**given), stated)) or CellFacts(**given)
    if facts.rated_capacity_ah is not None and facts.rated_capacity_ah == printed_capacity_ah(facts.marking):
        facts = unrated_beyond_size(facts)
    try:
        require_facts(facts)
    except BadData as fault:
        fields.refuse("", fault.what, fault.remedy)
    was = fields.word("stage", Stage) or Stage.RECEIVED
    number, note = fields.text("own_number"), fields.text("note")
    note = "; ".join(part for part in (number and f"own number {number}", note) if part)
    return NewCell(fields.line.number, facts, code, teardown, pack, box, note, was, bool(number))


def _stated(fields: Fields, columns: Sequence[str]) -> set[str]:
    """The facts that the line states. In an export every column does, for an empty field there means unknown."""
    # An export has a column for everything, so there an empty field says unknown; a private list says
    # nothing.
    whole = set(OF_AN_EXPORT) <= set(columns)
    there = [name for name in columns if whole or fields.has(name)]
    return {_QUANTITIES[name].stem if name in _QUANTITIES else name for name in there}


def _proposed(facts: CellFacts, stated: Collection[str]) -> CellFacts:
    """What the marking proposes, for what is not stated."""
    proposal = read_marking(facts.marking)
    filled = fill(facts, proposal)  # refuses a rechargeable chemistry on the mark of a primary cell
    left_out = (name for name, field in FACTS.items() if field.column not in stated)
    return replace(facts, **{name: getattr(filled, name) for name in left_out})


def _taken_twice(pen: Pen, found: Sequence[NewCell]) -> Iterable[Fault]:
    """Codes that stand for a cell already, here or on an earlier line."""
    coded = [(cell.line, cell.code) for cell in found if cell.code is not None]
    here = cells.stages(pen.conn, [code for _, code in coded])
    # A code is for life, and two lines of one code are two cells of which one would be lost.
    first: dict[str, int] = {}
    for line, code in coded:
        if code in here:
            yield Fault(line, f"{code} is a cell already", "a code is for life: take another", "code")
        elif code in first:
            yield Fault(line, f"{code} is on line {first[code]} too", "one line for each cell", "code")
        first.setdefault(code, line)


def _require_room(pen: Pen, found: Sequence[NewCell]) -> None:
    """Raise BadData for a box that may not hold them. A condemned cell of an export may lie with its like."""
    for name in sorted(_names(cell.box for cell in found)):
        incoming = [Cell("", c.facts, c.was) for c in found if c.box == name]
        boxes.require_room(pen.conn, name, incoming)


def _file(pen: Pen, file: Path, found: Sequence[NewCell]) -> None:
    """Written codes first: new ones are then counted around them."""
    content = {"count": len(found), "content": content_of(file)}
    event_id = pen.event(IMPORTED, subject=file.name, detail=content)
    filed = {cell.code: cell for cell in found if cell.code is not None}
    _insert(pen, filed, event_id)
    blank = [cell for cell in found if cell.code is None]
    if blank:
        # After the written codes, so that a counted code never meets one that a later line brings.
        new = dict(zip(cells.issue_codes(pen, len(blank)), blank, strict=True))
        _insert(pen, new, event_id)
        filed |= new
    pen.events(NOTED, {code: cell.note for code, cell in filed.items() if cell.note})
    carry_past(pen, file, {code: cell.was for code, cell in filed.items()}, event_id)


def _insert(pen: Pen, found: Mapping[str, NewCell], event_id: int) -> None:
    keys = {name: key for key, name in shown(pen.conn, BOX).items()}
    rows = (
        cells.born_row(
            code,
            {
                "box": keys[new.box] if new.box else None,
                "teardown": new.teardown,
                "pack": new.pack,
                **cells.facts_values(new.facts),
            },
            pen.now_us,
            event_id,
        )
        for code, new in found.items()
    )
    insert_many(pen.conn, CELL, rows)
    pen.link(event_id, found)
    pen.touched.update(found)
