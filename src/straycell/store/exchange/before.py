"""What earlier lists brought in: one that is taken twice would double the stock on the shelf."""

from __future__ import annotations

import hashlib
from collections import defaultdict
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from sqlalchemy import select

from straycell.cells import CellFacts, Stage
from straycell.store.book.events import notes
from straycell.store.book.stock import cells
from straycell.store.column_values import from_json, from_us
from straycell.store.exchange.table import Fault
from straycell.store.schema.tables import EVENT, EVENT_CELL
from straycell.store.session import Pen
from straycell.typed import day

if TYPE_CHECKING:
    from straycell.store.exchange.cells import NewCell

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
