"""Readings and charges from a CSV file: a line with several figures of one cell, or one line for each as exported.

A line with the column `quantity` filled is one reading; else every figure on it becomes one.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from datetime import datetime
from pathlib import Path
from typing import Any

from sqlalchemy import select

from straycell.cells import Look, parse_code, tidy_code
from straycell.errors import BadData
from straycell.quantities import Dimension, parse_quantity
from straycell.readings import Charge, Method, Quantity, Reading, Where
from straycell.store.book import cells, readings
from straycell.store.column_values import to_us
from straycell.store.exchange.beside import Beside
from straycell.store.exchange.fields import Fields, parse_word, quantity_columns
from straycell.store.exchange.table import Imported, Table, Told, counted
from straycell.store.schema.tables import READING, SUPERSESSION
from straycell.store.schema.validation import require_item
from straycell.store.session import Pen, among, rows_of

_D = Dimension
_FIGURES = {
    "voltage": _D.VOLTAGE,
    "as_found_voltage": _D.VOLTAGE,
    "capacity": _D.CAPACITY,
    "resistance": _D.RESISTANCE,
}
_CONDITIONS = {
    "temperature": _D.TEMPERATURE,
    "rested": _D.DURATION,
    "discharge_current": _D.CURRENT,
    "cutoff": _D.VOLTAGE,
    "pulse": _D.DURATION,
    "charge_current": _D.CURRENT,
    "charge_until": _D.VOLTAGE,
    "end_current": _D.CURRENT,
    "peak_temperature": _D.TEMPERATURE,
    "energy": _D.ENERGY,
}
_QUANTITIES = quantity_columns({**_FIGURES, **_CONDITIONS})
_DIMENSIONS = {
    Quantity.VOLTAGE: _D.VOLTAGE,
    Quantity.AS_FOUND_VOLTAGE: _D.VOLTAGE,
    Quantity.CAPACITY: _D.CAPACITY,
    Quantity.RESISTANCE: _D.RESISTANCE,
    Quantity.TEMPERATURE: _D.TEMPERATURE,
    Quantity.CHARGE: _D.VOLTAGE,
    Quantity.LET_DOWN: _D.VOLTAGE,
}
_OTHERS = (
    *("code", "at", "quantity", "value", "unit", "meter", "where", "method", "look", "as_group"),
    *("charger", "slot", "soc", "at_least", "from_full", "u"),
)
OF_AN_EXPORT = ("id", "mistake", "because", "supersedes", "recorded_at", "event_id", "trace_id")
"""Columns of an export that are not taken; a line with a mistake is a superseded reading and is left out."""
COLUMNS = (*_OTHERS, *_QUANTITIES, *OF_AN_EXPORT)
QUANTITY_STEMS = frozenset(column.stem for column in _QUANTITIES.values())
NUMBERS = (*_QUANTITIES, "value", "soc", "u")
TEMPLATE = (
    "code,at,look,as_found_voltage_v,voltage_v,rested_h,capacity_mah,discharge_current_a,cutoff_v,"
    "resistance_mohm,method,temperature_c,meter,charge_current_a,charge_until_v,end_current_a,"
    "peak_temperature_c,charger,slot\n"
    "A00001O,2026-05-01T18:30,clean,3.61,,,,,,,,,,,,,,,\n"
    "A00001O,2026-05-02T09:00,,,,,,,,,,21,,0.5,4.20,0.05,27,four-slot charger,2\n"
    "A00001O,2026-05-03T20:00,,,4.18,30,2350,0.5,2.75,52,dc-pulse,21,blue multimeter,,,,,,\n"
)
Item = Reading | Charge


def import_readings(
    pen: Pen, file: Path, *, partial: bool, mapping: Mapping[str, str] | None = None, told: Told | None = None
) -> Imported:
    """Take the readings of a file, all or none (with `partial` those of lines without a fault)."""
    table = Table(file, COLUMNS, (("code",), ("at",)), NUMBERS, mapping)
    found, taken, left_out = list[Item](), 0, 0
    beside, known = Beside(pen, file), _Known(pen, table)
    for line in counted(table.lines(patient=partial), told):
        if line.fields.get("mistake"):
            left_out += 1
            continue
        fields = Fields(line, _QUANTITIES)
        items = _read(pen, fields, beside, known)
        table.faults.note(fields.faults)
        if not fields.faults and (partial or not table.faults):
            found += items
            taken += 1
    if not found or (table.faults and not partial):
        return table.imported(0, left_out)
    named = {item.meter.name for item in found if isinstance(item, Reading) and item.meter is not None}
    beside.take(meters_=named)
    readings.add_items(pen, found, "readings-imported")
    return table.imported(taken, left_out)


class _Known:
    """Cells that are here, and what is recorded of those the file speaks of: nothing is taken twice."""

    def __init__(self, pen: Pen, table: Table) -> None:
        wanted = {tidy_code(line.fields.get("code", "")[:40]) for line in table.lines(noting=False)}
        self.pen, self.codes = pen, set(cells.stages(pen.conn, wanted))
        standing = select(
            READING.c.code, READING.c.quantity, READING.c.at_us, READING.c.value, READING.c.look
        ).where(among(READING.c.code, self.codes), READING.c.id.not_in(select(SUPERSESSION.c.reading_id)))
        self._seen: dict[tuple[Any, ...], int] = {tuple(row): 0 for row in rows_of(pen.conn, standing)}

    def code(self, text: str) -> str:
        """The code of a cell that is here. Raises BadData."""
        code = parse_code(text)
        if code not in self.codes:
            cells.require_cells(self.pen.conn, [code])
        return code

    def line_of(self, item: Item, line: int) -> int | None:
        """None for something new, else the line that says the same, 0 for one recorded before."""
        value, look = (item.until_v, "") if isinstance(item, Charge) else (item.value, " ".join(item.look))
        quantity = Quantity.CHARGE if isinstance(item, Charge) else item.quantity
        key = (item.cell, quantity.value, to_us(item.at), value, look)
        earlier = self._seen.get(key)
        self._seen.setdefault(key, line)
        return earlier


def _read(pen: Pen, fields: Fields, beside: Beside, known: _Known) -> list[Item]:
    code = fields.try_("code", known.code)
    at = fields.time("at", pen.now)
    for column in ("code", "at"):
        if not fields.has(column):
            fields.refuse(column, "nothing stands there", "say which cell, and when it was measured")
    given = _given(fields, beside)
    if code is None or at is None:
        return []
    make = _one if fields.has("quantity") else _several
    items = list(make(fields, code, at, given))
    if not items and not fields.faults:
        fields.refuse("", "nothing was measured on this line", "fill one figure, or remove the line")
    for item in items:
        _check(pen, fields, item, known)
    return items


def _given(fields: Fields, beside: Beside) -> dict[str, Any]:
    """Every condition of the line, named as in a reading."""
    return {
        "temperature_c": fields.quantity("temperature"),
        "meter": fields.try_("meter", beside.meter),
        "rested_s": fields.quantity("rested"),
        "where": fields.word("where", Where),
        "discharge_current_a": fields.quantity("discharge_current"),
        "cutoff_v": fields.quantity("cutoff"),
        "method": fields.word("method", Method),
        "pulse_s": fields.quantity("pulse"),
        "look": fields.try_("look", _looks) or (),
        "as_group": fields.flag("as_group"),
        "energy_wh": fields.quantity("energy"),
        "soc": fields.number("soc"),
        "at_least": fields.flag("at_least"),
        "from_full": fields.flag("from_full"),
        # Only a trace brings its own; typed into a list it would take the guard band off a limit.
        "u": fields.number("u") if fields.has("trace_id") else None,
    }


def _looks(text: str) -> tuple[Look, ...]:
    return tuple(parse_word(word, Look) for word in text.replace(",", " ").replace(";", " ").split())


def _one(fields: Fields, code: str, at: datetime, given: dict[str, Any]) -> Iterator[Item]:
    """The reading or charge that `quantity` and `value` name."""
    quantity = fields.word("quantity", Quantity)
    if quantity is None:
        return
    value, dimension = None, _DIMENSIONS.get(quantity)
    if dimension is not None:
        unit = fields.text("unit") or None
        value = fields.try_(
            "value", lambda text: parse_quantity(fields.pointed(text), dimension, bare=unit, name="value")
        )
        if value is None and fields.has("value"):
            return
    if quantity is Quantity.CHARGE:
        yield from _charge(fields, code, at, given, value)
    else:
        yield Reading(0, code, quantity, at, value, **given)


_APPLIES: dict[str, tuple[str, ...]] = {
    "voltage": ("temperature_c", "meter", "rested_s", "where"),
    "as_found_voltage": ("temperature_c", "meter", "where", "as_group"),
    "capacity": ("temperature_c", "meter", "discharge_current_a", "cutoff_v", "energy_wh"),
    "resistance": ("temperature_c", "meter", "where", "method", "pulse_s"),
}


def _several(fields: Fields, code: str, at: datetime, given: dict[str, Any]) -> Iterator[Item]:
    """A reading for each figure, with the conditions that belong to it; a look; a charge."""
    if given["look"]:
        yield Reading(0, code, Quantity.LOOK, at, look=given["look"])
    if fields.quantity("charge_current") is not None or fields.quantity("charge_until") is not None:
        yield from _charge(fields, code, at, given, fields.quantity("charge_until"))
    for stem, names in _APPLIES.items():
        value = fields.quantity(stem)
        if value is not None:
            own = {name: given[name] for name in names}
            if stem == "resistance" and own["method"] is None:
                own["method"] = Method.UNKNOWN
            yield Reading(0, code, Quantity(stem.replace("_", "-")), at, value, **own)


def _charge(
    fields: Fields, code: str, at: datetime, given: dict[str, Any], until_v: float | None
) -> Iterator[Charge]:
    current_a, slot = fields.quantity("charge_current"), fields.try_("slot", _slot)
    if current_a is None or until_v is None:
        fields.refuse(
            "", "a charge needs its current and its end voltage", "fill charge_current and charge_until"
        )
        return
    yield Charge(
        0,
        code,
        at,
        current_a,
        until_v,
        fields.quantity("end_current"),
        given["temperature_c"],
        fields.quantity("peak_temperature"),
        fields.text("charger"),
        slot,
    )


def _slot(text: str) -> int:
    if not (text.isascii() and text.isdigit() and len(text) < 5):
        raise BadData(f"'{text[:60]}' is no slot", "write its number, like 2")
    return int(text)


def _check(pen: Pen, fields: Fields, item: Item, known: _Known) -> None:
    try:
        require_item(item, pen.now)
    except BadData as fault:
        fields.refuse("", fault.what, fault.remedy)
    earlier = known.line_of(item, fields.line.number)
    if earlier is not None:
        where = f"stands on line {earlier} too" if earlier else "is recorded already"
        fields.refuse("", f"the same reading of {item.cell} {where}", "leave the line out")
