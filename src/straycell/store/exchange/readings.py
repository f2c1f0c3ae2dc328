"""Readings and charges from a CSV file: a line with several figures of one cell, or one line for each as exported.

A line with the column `quantity` filled is one reading; else every figure on it becomes one.
"""

from collections.abc import Iterator, Mapping
from datetime import datetime
from pathlib import Path
from typing import Any

from sqlalchemy import select

from straycell.cells import CellFacts, Form, parse_code, tidy_code
from straycell.errors import BadData
from straycell.meters import Meter, best_accuracy
from straycell.quantities import parse_quantity
from straycell.readings import (
    FIELDS,
    KINDS,
    OF_READING,
    Charge,
    Item,
    Method,
    Quantity,
    Reading,
    Where,
    charge_of,
    reading_of,
)
from straycell.store.book.measured import readings
from straycell.store.book.stock import cells
from straycell.store.column_values import to_us
from straycell.store.exchange.beside import Beside
from straycell.store.exchange.fields import Fields, quantity_columns, taken
from straycell.store.exchange.table import Imported, Progress, Table
from straycell.store.schema.tables import CELL, READING, SUPERSESSION
from straycell.store.schema.validation import require_item, require_meant
from straycell.store.session import Pen, among, rows_of

_QUANTITIES = quantity_columns(FIELDS.values())
_BY_COLUMN = {field.column: field for field in FIELDS.values()}
_OTHERS = (
    *("code", "at", "quantity", "value", "unit", "meter"),
    *(field.column for field in FIELDS.values() if field.dimension is None),
)
OF_AN_EXPORT = (
    "id",
    "key",
    "mistake",
    "because",
    "supersedes",
    "recorded_at",
    "event_id",
    "trace",
    "trace_id",
    "put_in_u",
)
"""Columns of an export that are not taken; a line with a mistake is a superseded reading and is left out.

An uncertainty that no trace of this store gave falls back to the cautious default.
"""
COLUMNS = (*_OTHERS, *_QUANTITIES, *OF_AN_EXPORT)
QUANTITY_STEMS = frozenset(column.stem for column in _QUANTITIES.values())
NUMBERS = (*_QUANTITIES, "value", "soc", "u")
TEMPLATE = (
    "code,at,look,as_found_voltage_v,voltage_v,rested_h,capacity_mah,discharge_current_a,cutoff_v,"
    "resistance_mohm,method,temperature_c,meter,charge_current_a,charge_until_v,end_current_a,"
    "peak_temperature_c,charger,slot\n"
    "A00002M,2026-05-01T18:30,clean,3.61,,,,,,,,,,,,,,,\n"
    "A00002M,2026-05-02T09:00,,,,,,,,,,21,,0.5,4.20,0.05,27,four-slot charger,2\n"
    "A00002M,2026-05-03T20:00,,,4.18,30,2350,0.5,2.75,52,dc-pulse,21,blue multimeter,,,,,,\n"
)


def import_readings(
    pen: Pen,
    file: Path,
    *,
    partial: bool = False,
    mapping: Mapping[str, str] | None = None,
    progress: Progress | None = None,
) -> Imported:
    """Take the readings of a file, all or none (with `partial` those of lines without a fault)."""
    table = Table(file, COLUMNS, (("code",), ("at",)), NUMBERS, mapping)
    beside, known, left_out = Beside(pen, file), _Known(pen, table), 0

    def read(fields: Fields) -> list[Item] | None:
        nonlocal left_out
        if not fields.has("mistake"):
            return _read(pen, fields, beside, known)
        # A superseded reading brought back as a plain one would count again.
        left_out += 1
        return None

    lines = taken(table, _QUANTITIES, read, partial=partial, progress=progress)
    found = [item for items in lines for item in items]
    if not found or (table.faults and not partial):
        return table.imported(0, left_out)
    named = {item.meter.name for item in found if isinstance(item, Reading) and item.meter is not None}
    beside.take(meters_=named)
    readings.add_items(pen, found, "readings-imported")
    return table.imported(len(lines), left_out)


class _Known:
    """Cells that are here, and what is recorded of those the file speaks of: nothing is taken twice."""

    def __init__(self, pen: Pen, table: Table) -> None:
        wanted = {tidy_code(line.fields.get("code", "")[:40]) for line in table.lines(noting=False)}
        self.pen, self.codes = pen, set(cells.stages(pen.conn, wanted))
        boards = select(CELL.c.code).where(among(CELL.c.code, self.codes), CELL.c.protection_board)
        self.boards = set(pen.conn.execute(boards).scalars())
        # Three columns only: a list may speak of a hundred thousand cells.
        rated = select(CELL.c.code, CELL.c.form, CELL.c.rated_capacity_ah)
        self.rated = {
            row[0]: row[1:] for row in rows_of(pen.conn, rated.where(among(CELL.c.code, self.codes)))
        }
        standing = select(
            READING.c.code, READING.c.quantity, READING.c.at_us, READING.c.value, READING.c.look
        ).where(among(READING.c.code, self.codes), READING.c.key.not_in(select(SUPERSESSION.c.record)))
        self._seen: dict[tuple[Any, ...], int] = {tuple(row): 0 for row in rows_of(pen.conn, standing)}

    def code(self, text: str) -> str:
        """The code of a cell that is here. Raises BadData."""
        if text in self.codes:
            return text
        code = parse_code(text)
        if code not in self.codes:
            cells.require_cells(self.pen.conn, [code])
        return code

    def line_of(self, item: Item, line: int) -> int | None:
        """None for something new, else the line that says the same, 0 for one recorded before."""
        look = " ".join(getattr(item, "look", ()))
        # Taking a list twice is common; the same cell, time and value twice is one measurement.
        key = (item.cell, item.quantity.value, to_us(item.at), item.value, look)
        earlier = self._seen.get(key)
        self._seen.setdefault(key, line)
        return earlier


def _read(pen: Pen, fields: Fields, beside: Beside, known: _Known) -> list[Item]:
    code = fields.try_("code", known.code)
    at = fields.time("at", pen.now)
    for column in ("code", "at"):
        if not fields.has(column):
            fields.refuse(column, "nothing is there", "say which cell, and when it was measured")
    given = fields.all_said(_BY_COLUMN)
    # Only a trace brings its own; typed into a list it would take the guard band off a limit.
    if not (fields.has("trace") or fields.has("trace_id")):
        given.pop("u", None)
    meter = fields.try_("meter", beside.meter)
    if code is None or at is None:
        return []
    # An export has a line for each reading, a bench's own list a line for each visit.
    make = _one if fields.has("quantity") else _several
    items = list(make(fields, code, at, given, meter))
    if not items and not fields.faults:
        fields.refuse("", "nothing was measured on this line", "fill one figure, or remove the line")
    for item in items:
        _check(pen, fields, item, known)
    return items


def _one(
    fields: Fields, code: str, at: datetime, given: dict[str, Any], meter: Meter | None
) -> Iterator[Item]:
    """The reading or charge that `quantity` and `value` name."""
    quantity = fields.word("quantity", Quantity)
    if quantity is None:
        return
    kind, value = KINDS[quantity], None
    dimension = kind.dimension
    if dimension is not None:
        unit = fields.text("unit") or None
        value = fields.try_(
            "value",
            lambda text: parse_quantity(
                fields.pointed(text), dimension, bare=unit, name="value", prompted=False
            ),
        )
        if value is None and fields.has("value"):
            return
        given = {**given, kind.key: value}
        if "u" in given and value is not None:
            # No instrument is truer than the best there is, whatever a list says of a trace.
            given["u"] = max(given["u"], best_accuracy(kind.accuracy).u(value))
    for name in sorted(given.keys() - {*kind.takes, kind.key}):
        fields.refuse(FIELDS[name].column, f"a {quantity} has no {FIELDS[name].noun}", "leave it empty")
    if quantity is Quantity.CHARGE:
        yield from _charge(fields, code, at, given)
    else:
        yield reading_of(kind, given, code, at, meter)


def _several(
    fields: Fields, code: str, at: datetime, given: dict[str, Any], meter: Meter | None
) -> Iterator[Item]:
    """A reading for each figure, with the conditions that belong to it; a look; a charge."""
    if "current_a" in given or "until_v" in given:
        yield from _charge(fields, code, at, given)
    for quantity, kind in KINDS.items():
        if kind.key in given and kind.key in OF_READING and quantity is not Quantity.TEMPERATURE:
            # A resistance without its method counts as unknown: judged by d.c. limits, solo at best.
            yield reading_of(kind, {"method": Method.UNKNOWN, **given}, code, at, meter)


def _charge(fields: Fields, code: str, at: datetime, given: dict[str, Any]) -> Iterator[Charge]:
    # Without its end voltage a charge says nothing of full or over-charged.
    if given.get("current_a") is None or given.get("until_v") is None:
        fields.refuse(
            "", "a charge needs its current and its end voltage", "fill charge_current and charge_until"
        )
        return
    yield charge_of(given, code, at)


def _check(pen: Pen, fields: Fields, item: Item, known: _Known) -> None:
    try:
        require_item(item, pen.now)
        if item.quantity is Quantity.CAPACITY and item.cell in known.rated and not fields.has("trace"):
            form, rated_ah = known.rated[item.cell]
            require_meant("capacity", item.value, CellFacts(form=Form(form), rated_capacity_ah=rated_ah))
    except BadData as fault:
        fields.refuse("", fault.what, fault.remedy)
    if isinstance(item, Reading) and item.where is Where.BOARD and item.cell not in known.boards:
        fields.refuse(
            "where", f"cell {item.cell} has no protection board on record", "write tabs, or nothing"
        )
    earlier = known.line_of(item, fields.line.number)
    if earlier is not None:
        where = f"is on line {earlier} too" if earlier else "is recorded already"
        fields.refuse("", f"the same reading of {item.cell} {where}", "leave the line out")
