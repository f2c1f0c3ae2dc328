"""Boxes in the store, and moving cells between them."""

from collections.abc import Collection, Sequence

from sqlalchemy import Connection, func, select

from straycell.cells import Cell, Stage
from straycell.errors import BadData
from straycell.readings import Quantity
from straycell.safety.boxes import Contents, why_not
from straycell.safety.energy import Held, energy_wh, total
from straycell.store.book.derived import say
from straycell.store.book.names import key_named, named, shown
from straycell.store.book.records import Box
from straycell.store.book.stock import cells
from straycell.store.schema.tables import BOX, READING, SUPERSESSION
from straycell.store.session import Pen, among


def boxes(conn: Connection) -> list[Box]:
    """All boxes by name."""
    names = shown(conn, BOX)
    found = [Box(names[row.key], row.kind, row.limit_wh) for row in conn.execute(select(BOX))]
    return sorted(found, key=lambda box: box.name)


def box(conn: Connection, name: str) -> Box:
    """One box by its exact name. Raises BadData when there is none."""
    return named(boxes(conn), name, "box", "boxes", "make one with: straycell box add {}")


def add_box(pen: Pen, name: str, kind: str = "", limit_wh: float | None = None) -> Box:
    """A new box. Raises BadData when the name is empty or taken, or the limit not above zero."""
    if not name.strip():
        raise BadData("a box needs a name", "write it as it is on the box")
    if limit_wh is not None and not 0 < limit_wh < float("inf"):
        raise BadData(
            f"box '{name}': a limit of {limit_wh} Wh", "write a limit above zero, like --limit-wh 100"
        )
    if key_named(pen.conn, BOX, name) is not None:
        raise BadData(f"there is a box '{name}' already", "take another name")
    event_id = pen.event("box-added", subject=name, detail={"kind": kind, "limit_wh": limit_wh})
    values = {"key": str(pen.number("record")), "name": name, "kind": kind, "limit_wh": limit_wh}
    pen.conn.execute(BOX.insert().values(**values, event_id=event_id))
    return Box(name, kind, limit_wh)


def capacities(conn: Connection, codes: Collection[str]) -> dict[str, float]:
    """The latest capacity in Ah of each of these cells that was measured."""
    withdrawn = select(SUPERSESSION.c.record)
    newest = (
        select(func.max(READING.c.id))
        .where(
            READING.c.quantity == Quantity.CAPACITY.value,
            among(READING.c.code, codes),
            READING.c.key.not_in(withdrawn),
        )
        .group_by(READING.c.code)
    )
    rows = conn.execute(select(READING.c.code, READING.c.value).where(READING.c.id.in_(newest)))
    return {code: float(value) for code, value in rows}


def helds(conn: Connection, listed: Sequence[Cell]) -> list[Held]:
    """What the energy of each of these cells follows from, in their order."""
    measured = capacities(conn, [cell.code for cell in listed])
    return [Held(cell.facts, measured.get(cell.code)) for cell in listed]


def contents(conn: Connection, name: str) -> Contents:
    """What lies in a box now."""
    listed = cells.cells(conn, box=name)
    return Contents(
        tuple(cell.code for cell in listed if cell.stage is not Stage.CONDEMNED),
        tuple(cell.code for cell in listed if cell.stage is Stage.CONDEMNED),
        total(energy_wh(held) for held in helds(conn, listed)),
    )


def require_room(conn: Connection, name: str, incoming: Sequence[Cell]) -> None:
    """Raise BadData when there is no such box, or these cells may not lie in it: its limit, or bad with good."""
    there = box(conn, name)
    found = contents(conn, name)
    energy = total(energy_wh(held) for held in helds(conn, incoming))
    for condemned in sorted({cell.stage is Stage.CONDEMNED for cell in incoming}):
        refusal = why_not(there.name, there.kind, there.limit_wh, found, condemned=condemned, energy=energy)
        if refusal is not None:
            raise BadData(*refusal)


def move_cell(pen: Pen, code: str, name: str | None) -> Cell:
    """Lay a cell into a box (None: out of its box). A cell just received is shelved by it.

    Raises BadData for a box that is not there, is too full or holds cells it must not lie with, or a cell that
    is built in or has left the house.
    """
    old = cells.cell(pen.conn, code)
    cells.require_here(pen.conn, [code])
    if name is not None and name != old.box:
        require_room(pen.conn, name, [old])
    if old.stage is Stage.INSTALLED:
        raise BadData(f"cell {code} is {old.stage} and lies in no box", "dismantle its build first")
    event_id = pen.event("cell-moved", [code], subject=name or "", detail={"from": old.box, "to": name})
    said = {"box": None if name is None else key_named(pen.conn, BOX, name)}
    if name is not None and old.stage is Stage.RECEIVED:
        said["stage"] = Stage.SHELVED.value
    say(pen, event_id, {code: said})
    return cells.cell(pen.conn, code)
