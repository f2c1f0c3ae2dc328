"""Readings and charges in the store: added, superseded with a reason, never changed."""

from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from dataclasses import replace
from datetime import datetime
from functools import partial
from typing import Any

from sqlalchemy import ColumnElement, Connection, FromClause, Select, bindparam, func, select

from straycell.cells import Look
from straycell.errors import BadData
from straycell.keys import RecordKey, apart, key_of, named_here
from straycell.meters import Meter
from straycell.readings import Charge, Method, Quantity, Reading, Where
from straycell.store.book.measured import meters
from straycell.store.book.names import letter
from straycell.store.book.records import RecordedReading
from straycell.store.book.stock import cells
from straycell.store.column_values import from_us, to_us
from straycell.store.quick.prepared import Prepared
from straycell.store.schema.tables import READING, SUPERSESSION
from straycell.store.schema.validation import require_item, require_meant, utc
from straycell.store.session import Pen, among, insert_many
from straycell.store.verdicts import siblings

Item = Reading | Charge
_QUANTITY = {q.value: q for q in Quantity}
_METHOD: dict[str | None, Method | None] = {None: None, **{m.value: m for m in Method}}
_WHERE: dict[str | None, Where | None] = {None: None, **{w.value: w for w in Where}}
_LOOK = {look.value: look for look in Look}
_ITEM_COLUMNS = (
    READING.c.key,
    READING.c.code,
    READING.c.quantity,
    READING.c.at_us,
    READING.c.value,
    READING.c.temperature_c,
    READING.c.meter,
    READING.c.rested_s,
    READING.c.where_taken,
    READING.c.discharge_current_a,
    READING.c.cutoff_v,
    READING.c.method,
    READING.c.pulse_s,
    READING.c.look,
    READING.c.as_group,
    READING.c.charge_current_a,
    READING.c.end_current_a,
    READING.c.peak_temperature_c,
    READING.c.charger,
    READING.c.slot,
    READING.c.energy_wh,
    READING.c.soc,
    READING.c.at_least,
    READING.c.from_full,
    READING.c.u,
    READING.c.trace,
    READING.c.surroundings_c,
    READING.c.doubt,
    READING.c.put_in_ah,
    READING.c.took_s,
    READING.c.put_in_u,
)


def _items(conn: Connection) -> Callable[[Sequence[Any]], Item]:
    """What makes a row of this store a reading or charge."""
    return partial(_item, known=meters.by_key(conn), bench=letter(conn))


def _item(row: Sequence[Any], known: dict[str | None, Meter | None], bench: str) -> Item:
    key, code, quantity, at_us, value, temperature_c, meter, rested_s, where, discharge_a, *rest = row
    cutoff_v, method, pulse_s, look, as_group, charge_a, end_a, peak_c, charger, slot, *rest = rest
    energy_wh, soc, at_least, from_full, u, trace_key, surroundings_c, doubt, put_in_ah, took_s, put_in_u = (
        rest
    )
    at, number = from_us(at_us), key_of(key)
    trace = None if trace_key is None else key_of(trace_key)
    if quantity == "charge":
        # Two benches may each have a "left bay": what is known of one says nothing of the other's charges.
        name = named_here(apart(charger, number.bench), bench) if charger else ""
        shown = (name, slot, trace, u, put_in_ah, took_s, put_in_u)
        return Charge(number, code, at, charge_a, value, end_a, temperature_c, peak_c, *shown)
    return Reading(
        number,
        code,
        _QUANTITY[quantity],
        at,
        value,
        temperature_c,
        known[meter],
        rested_s,
        _WHERE[where],
        discharge_a,
        cutoff_v,
        _METHOD[method],
        pulse_s,
        tuple(_LOOK[word] for word in look.split()) if look else (),
        as_group,
        energy_wh,
        soc,
        at_least,
        from_full,
        u,
        trace,
        surroundings_c,
        doubt,
    )


def _values(item: Item, keys: Mapping[str | None, str | None]) -> dict[str, Any]:
    """The item as column values, all columns named, so that many rows go in as one statement; `keys` of meters."""
    # All columns named: SQLAlchemy sends rows of one shape as a single executemany.
    common = {"code": item.cell, "at_us": to_us(item.at), "temperature_c": item.temperature_c}
    common["trace"] = None if item.trace is None else str(item.trace)
    if isinstance(item, Charge):
        return common | {
            **dict.fromkeys(
                ("meter", "rested_s", "where_taken", "discharge_current_a", "cutoff_v", "method")
            ),
            **dict.fromkeys(("energy_wh", "soc", "surroundings_c")),
            "doubt": "",
            "u": item.u,
            "put_in_ah": item.put_in_ah,
            "took_s": item.took_s,
            "put_in_u": item.put_in_u,
            **dict.fromkeys(("at_least", "from_full"), False),
            "quantity": Quantity.CHARGE.value,
            "value": item.until_v,
            "pulse_s": None,
            "look": "",
            "as_group": False,
            "charge_current_a": item.current_a,
            "end_current_a": item.end_current_a,
            "peak_temperature_c": item.peak_temperature_c,
            "charger": item.charger,
            "slot": item.slot,
        }
    return common | {
        "quantity": item.quantity.value,
        "value": item.value,
        "meter": None if item.meter is None else keys[item.meter.name],
        "rested_s": item.rested_s,
        "where_taken": item.where,
        "discharge_current_a": item.discharge_current_a,
        "cutoff_v": item.cutoff_v,
        "method": item.method,
        "pulse_s": item.pulse_s,
        "look": " ".join(item.look),
        "as_group": item.as_group,
        "energy_wh": item.energy_wh,
        "soc": item.soc,
        "at_least": item.at_least,
        "from_full": item.from_full,
        "u": item.u,
        "surroundings_c": item.surroundings_c,
        "doubt": item.doubt,
        **dict.fromkeys(("charge_current_a", "end_current_a", "peak_temperature_c", "slot")),
        **dict.fromkeys(("put_in_ah", "took_s", "put_in_u")),
        "charger": "",
    }


# --- looking ---------------------------------------------------------------------------------------


def standing(conn: Connection, codes: Collection[str] | None) -> Iterator[Item]:
    """Every reading and charge that is not superseded, of these cells (None: of all), oldest first."""
    return map(_items(conn), _STANDING.rows(conn, codes))


# NOT IN the superseded ones and no flag on the row: a row of history is never changed.
_STANDING = Prepared(
    lambda: (
        select(*_ITEM_COLUMNS)
        .where(READING.c.key.not_in(select(SUPERSESSION.c.record)))
        .order_by(READING.c.code, READING.c.at_us, *recording(READING))
    ),
    READING.c.code,
)


def last_numbers(conn: Connection, codes: Collection[str] | None) -> dict[str, str]:
    """The number of the reading that came last of each cell that has any."""
    return {row[0]: row[1] for row in _LAST_KEYS.rows(conn, codes)}


# SQLite takes a bare column from the row that has the maximum (sqlite.org/lang_select.html#bareagg).
_LAST_KEYS = Prepared(
    lambda: select(READING.c.code, READING.c.key, func.max(READING.c.id)).group_by(READING.c.code),
    READING.c.code,
)


def taken_with(conn: Connection, meter: str, start: datetime, end: datetime) -> list[Reading]:
    """What a meter (by its key) showed from `start` to `end` and was not taken back, oldest first."""
    query = (
        select(*_ITEM_COLUMNS)
        .where(READING.c.key.not_in(select(SUPERSESSION.c.record)), READING.c.meter == meter)
        .where(READING.c.at_us >= to_us(start), READING.c.at_us <= to_us(end))
        .order_by(READING.c.at_us, READING.c.code, *recording(READING))
    )
    return [item for item in map(_items(conn), conn.execute(query)) if isinstance(item, Reading)]


def recorded_since(conn: Connection, codes: Collection[str], event_id: int) -> set[str]:
    """The keys of readings and charges of these cells that were recorded after an event."""
    # By event and not by time: clocks jump, event numbers do not.
    query = select(READING.c.key).where(among(READING.c.code, codes), READING.c.event_id > event_id)
    return set(conn.execute(query).scalars())


def _recorded(conn: Connection, rows: Iterator[Any]) -> list[RecordedReading]:
    made = _items(conn)
    found: list[RecordedReading] = []
    for recorded_at_us, event_id, mistake, because, replacement, *row in rows:
        found.append(
            RecordedReading(
                item=made(row),
                recorded_at=from_us(recorded_at_us),
                event_id=event_id,
                superseded_by=None if replacement is None else key_of(replacement),
                mistake=mistake or "",
                because=because or "",
                retracted=mistake is not None and replacement is None,
            )
        )
    return found


def _with_fate() -> Select[Any]:
    later, other = READING.alias("later"), SUPERSESSION.alias("other")
    # The first replacement of all, so that two benches show the same one after a merge.
    first = (
        select(later.c.key).where(later.c.supersedes == READING.c.key).order_by(*recording(later)).limit(1)
    )
    fate = (SUPERSESSION.c.mistake, SUPERSESSION.c.because, first.scalar_subquery())
    once = select(func.min(other.c.id)).where(other.c.record == READING.c.key).scalar_subquery()
    return (
        select(READING.c.recorded_at_us, READING.c.event_id, *fate, *_ITEM_COLUMNS)
        .select_from(READING)
        .outerjoin(SUPERSESSION, SUPERSESSION.c.id == once)
        .order_by(READING.c.at_us, *recording(READING))
    )


def recording(table: FromClause) -> tuple[ColumnElement[Any], ...]:
    """The order of recording, the same on every bench: the moment, then the bench's own numbers."""
    # Keys are text: length first puts H-9 before H-10.
    return table.c.recorded_at_us, func.length(table.c.key), table.c.key


_OF_CELL = Prepared(lambda: _with_fate().where(READING.c.code == bindparam("code", "")))
_NUMBERED = Prepared(lambda: _with_fate().where(READING.c.key == bindparam("key", "")))


def recorded(conn: Connection, code: str, *, with_superseded: bool = True) -> list[RecordedReading]:
    """All of one cell's readings and charges, oldest first."""
    found = _recorded(conn, _OF_CELL.rows(conn, code=code))
    return [each for each in found if with_superseded or not each.mistake]


def reading(conn: Connection, number: RecordKey) -> RecordedReading:
    """One reading or charge by its number. Raises BadData when there is none."""
    found = _recorded(conn, _NUMBERED.rows(conn, key=str(number)))
    if not found:
        raise BadData(f"there is no reading {number}", "numbers are in: straycell cell show CODE")
    return found[0]


def latest(conn: Connection, quantity: Quantity) -> Item | None:
    """The reading or charge of a quantity that was recorded last, of any cell, superseded ones left out."""
    query = (
        select(*_ITEM_COLUMNS)
        .where(READING.c.quantity == quantity.value)
        .where(READING.c.key.not_in(select(SUPERSESSION.c.record)))
        .order_by(*(column.desc() for column in recording(READING)))
        .limit(1)
    )
    row = conn.execute(query).first()
    return None if row is None else _items(conn)(row)


# --- writing ---------------------------------------------------------------------------------------


def add_items(pen: Pen, items: Sequence[Item], verb: str) -> list[Item]:
    """Record readings or charges as one write. Raises BadData; nothing is recorded then."""
    if not items:
        raise BadData("there is nothing to record", "name at least one measured value")
    codes = list(dict.fromkeys(item.cell for item in items))
    cells.require_here(pen.conn, codes)
    require_fit(pen.conn, items)
    event_id = pen.event(verb, codes)
    return insert_items(pen, items, event_id)


def add_readings(pen: Pen, items: Sequence[Reading]) -> list[Reading]:
    """Record readings as one write; returns them numbered. Raises BadData and records none."""
    return [item for item in add_items(pen, items, "readings-added") if isinstance(item, Reading)]


def add_charge(pen: Pen, charge: Charge) -> Charge:
    """Record a charge; returns it numbered. Raises BadData."""
    (filed,) = add_items(pen, [charge], "charge-added")
    assert isinstance(filed, Charge)
    return filed


def require_fit(conn: Connection, items: Sequence[Item]) -> None:
    """Raise BadData for a reading at the board of a cell that has none, or a capacity in a slipped unit."""
    typed = [item for item in items if item.quantity is Quantity.CAPACITY and item.trace is None]
    for cell in cells.cells(conn, wanted={item.cell for item in typed}) if typed else ():
        for item in typed:
            if item.cell == cell.code:
                require_meant("capacity", item.value, cell.facts)
    # A reading at a board that is not on record was misread or of another cell.
    at_board = {item.cell for item in items if isinstance(item, Reading) and item.where is Where.BOARD}
    for cell in cells.cells(conn, wanted=at_board) if at_board else ():
        if not cell.facts.protection_board:
            raise BadData(
                f"cell {cell.code} has no protection board on record, so nothing was measured at one",
                f"leave --where out, or record the board: straycell cell correct {cell.code} --protection-board",
            )


def insert_items(
    pen: Pen, items: Sequence[Item], event_id: int, supersedes: RecordKey | None = None
) -> list[Item]:
    """Validate, number and insert; marks the cells, and where it matters their siblings, as touched."""
    known: dict[str | None, Meter | None] = {meter.name: meter for meter in meters.meters(pen.conn)}
    for item in items:
        require_item(item, pen.now)
        if isinstance(item, Reading) and item.meter is not None and item.meter.name not in known:
            meters.meter(pen.conn, item.meter.name)
    meters.require_chargers(pen.conn, {i.charger for i in items if isinstance(i, Charge) and i.charger})
    # Numbered after validation: a refused reading uses up no number.
    numbers = pen.numbers("reading", len(items))
    numbered = [_filed(item, number, known) for item, number in zip(items, numbers, strict=True)]
    common = {
        "recorded_at_us": pen.now_us,
        "event_id": event_id,
        "supersedes": None if supersedes is None else str(supersedes),
    }
    keys = meters.keys(pen.conn)
    rows = ({"key": str(item.id), **_values(item, keys), **common} for item in numbered)
    insert_many(pen.conn, READING, rows)
    pen.touched.update(item.cell for item in numbered)
    # Only capacities and bad looks speak for siblings: other readings spare judging the whole pack.
    tells = {item.cell for item in numbered if _tells_siblings(item)}
    if tells:
        pen.kin |= siblings.siblings_of(pen.conn, tells)
    return numbered


def _filed(item: Item, number: RecordKey, known: Mapping[str | None, Meter | None]) -> Item:
    """As it will be read again: numbered, in UTC, with the meter as declared."""
    if isinstance(item, Charge):
        return replace(item, id=number, at=utc(item.at))
    meter = None if item.meter is None else known[item.meter.name]
    return replace(item, id=number, at=utc(item.at), meter=meter)


def _tells_siblings(item: Item) -> bool:
    if isinstance(item, Charge):
        return False
    return item.quantity is Quantity.CAPACITY or any(word in siblings.signs() for word in item.look)
