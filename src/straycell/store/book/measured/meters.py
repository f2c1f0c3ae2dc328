"""Meters in the store: as declared, for good, because readings lean on them. Chargers: each measurement of a slot is a
row, the newest that was not taken back counts.
"""

import json
import math
from collections.abc import Collection, Sequence
from typing import Any

from sqlalchemy import Connection, func, select

from straycell.errors import BadData
from straycell.keys import apart, named_here
from straycell.meters import ACCURACIES, Accuracy, Meter, Resolution, untrue
from straycell.quantities import Measured
from straycell.readings import COUNTS_FOR, Charger, Mistake
from straycell.store.book.names import key_named, letter, named, shown
from straycell.store.column_values import day_text, from_us, opt_day, to_us
from straycell.store.quick.prepared import Prepared
from straycell.store.schema.tables import CHARGER, EVENT, METER, READING, SUPERSESSION
from straycell.store.schema.validation import require_because
from straycell.store.session import Pen


def _accuracy(gain: float | None, offset: float | None) -> Accuracy | None:
    return None if gain is None or offset is None else Accuracy(gain, offset)


def _steps(text: str) -> Resolution:
    """A bound of null is infinity, which JSON has no word for."""
    listed = json.loads(text) if text else []
    return Resolution(tuple((math.inf if bound is None else bound, step) for bound, step in listed))


def _steps_text(resolution: Resolution) -> str:
    listed = [(None if math.isinf(bound) else bound, step) for bound, step in resolution.steps]
    return json.dumps(listed) if listed else ""


def meter_of(row: Any, name: str | None = None) -> Meter:
    """The meter of a row, of the table or of one that has its columns, under its own or this name."""
    return Meter(
        name=row.name if name is None else name,
        like=row.like_class,
        voltage_resolution=_steps(row.voltage_resolution),
        **{q: _accuracy(getattr(row, f"{q}_gain"), getattr(row, f"{q}_offset")) for q in ACCURACIES},
        compared_on=opt_day(row.compared_on),
    )


def by_key(conn: Connection) -> dict[str | None, Meter | None]:
    """Every meter by its key; None is none."""
    # Readings refer to keys: two benches may each have a "blue multimeter".
    names = shown(conn, METER)
    return {None: None, **{row.key: meter_of(row, names[row.key]) for row in _METERS.rows(conn)}}


_METERS = Prepared(lambda: select(METER).order_by(METER.c.key))


def meters(conn: Connection) -> list[Meter]:
    """All meters by name."""
    found = [meter for meter in by_key(conn).values() if meter is not None]
    return sorted(found, key=lambda meter: meter.name)


def meter(conn: Connection, name: str) -> Meter:
    """One meter by its exact name. Raises BadData when there is none."""
    return named(meters(conn), name, "meter", "meters", "declare one with: straycell meter add {}")


def keys(conn: Connection) -> dict[str | None, str | None]:
    """The key of every meter by its name."""
    return {None: None, **{name: key for key, name in shown(conn, METER).items()}}


def add_meter(pen: Pen, new: Meter) -> Meter:
    """Declare a meter. Raises BadData when the name is empty or taken, or a figure is not an accuracy."""
    require_meter(new)
    # Changed in place, the U of every reading taken with it would change, too.
    if key_named(pen.conn, METER, new.name) is not None:
        raise BadData(
            f"there is a meter '{new.name}' already, and readings lean on its figures",
            "declare the changed one under another name",
        )
    values: dict[str, object] = {"name": new.name, "like_class": new.like}
    for quantity in ACCURACIES:
        accuracy: Accuracy | None = getattr(new, quantity)
        values[f"{quantity}_gain"] = None if accuracy is None else accuracy.gain
        values[f"{quantity}_offset"] = None if accuracy is None else accuracy.offset
    # An accuracy too good to be true takes the guard band off every limit.
    if why := untrue(new):
        raise BadData(f"meter '{new.name}': {why}", "take the limits of error from its sheet, like 0.5%+3mV")
    values["voltage_resolution"] = _steps_text(new.voltage_resolution)
    values["compared_on"] = day_text(new.compared_on)
    values["key"] = str(pen.number("record"))
    event_id = pen.event("meter-added", subject=new.name)
    pen.conn.execute(METER.insert().values(**values, event_id=event_id))
    return new


def require_meter(new: Meter) -> None:
    """Raise BadData when the name is empty, or a figure is not an accuracy and no step."""
    if not new.name.strip():
        raise BadData("a meter needs a name", "write it as you call the instrument, like 'blue multimeter'")
    for quantity in ACCURACIES:
        accuracy: Accuracy | None = getattr(new, quantity)
        if accuracy is not None:
            _require_accuracy(new.name, quantity, accuracy)
    for bound, step in new.voltage_resolution.steps:
        if not (bound > 0 and 0 < step < math.inf):
            raise BadData(f"meter '{new.name}': a resolution of {step} V", "write it like 1mV")


def _require_accuracy(name: str, quantity: str, accuracy: Accuracy) -> None:
    # 0 % + 0 would count as exact.
    parts = (accuracy.gain, accuracy.offset)
    if not all(math.isfinite(part) and part >= 0 for part in parts) or not any(parts):
        raise BadData(f"meter '{name}': its {quantity} accuracy is not above zero", "write it like 0.5%+2mV")


# --- chargers ---------------------------------------------------------------------------------------


# Every judgement of a charged cell asks for both; a range of records goes by the index, a pattern would not.
_TAKEN_BACK = Prepared(
    lambda: select(SUPERSESSION.c.record).where(
        SUPERSESSION.c.record >= "charger ", SUPERSESSION.c.record < "charger!"
    )
)
MEASURED = "charger-measured"
"""The event of a charger's measurement; it holds what the float was measured with."""
# Outer: where an event's row is gone the measurement still warns.
_CHARGERS = Prepared(
    lambda: (
        select(CHARGER, EVENT.c.detail)
        .outerjoin(EVENT, EVENT.c.id == CHARGER.c.event_id)
        .order_by(CHARGER.c.measured_at_us, CHARGER.c.id)
    )
)


def chargers(conn: Connection) -> list[Charger]:
    """Every measurement of every slot that was not taken back, oldest first; another bench's charger has its letter."""
    gone = {row.record for row in _TAKEN_BACK.rows(conn)}
    here, with_meter = letter(conn), shown(conn, METER)
    known = [
        Charger(
            named_here(row.name, here),
            from_us(row.measured_at_us),
            row.slot,
            None if row.float_v is None else Measured(row.float_v, row.float_u),
            row.end_current_a,
            None if row.capacity_gain is None else Accuracy(row.capacity_gain, row.capacity_offset),
            row.name,
            with_meter.get(json.loads(row.detail or "{}").get("meter")),
        )
        for row in _CHARGERS.rows(conn)
    ]
    return [charger for charger in known if charger.key not in gone]


def require_chargers(conn: Connection, names: Collection[str]) -> None:
    """Raise BadData for the name of a charger that differs from a known one by nothing but capitals and spaces."""
    # Of 'Bay' it was measured that it ends too high, and the cells that 'bay' charged would pass.
    here = letter(conn)
    known = {named_here(row.name, here) for row in _CHARGERS.rows(conn)} if names else set()
    # The charges are all looked through for a name that was never measured, and for that alone.
    if known.issuperset(names):
        return
    first = func.substr(READING.c.key, 1, 1).label("bench")
    charged = conn.execute(select(READING.c.charger, first).where(READING.c.charger != "").distinct())
    known |= {named_here(apart(row.charger, row.bench), here) for row in charged}
    alike = {" ".join(name.casefold().split()): name for name in sorted(known)}
    for name in sorted(set(names) - known):
        same = alike.setdefault(" ".join(name.casefold().split()), name)
        if same != name:
            raise BadData(
                f"charger '{name}' is written like '{same}', but for capitals or spaces",
                f"write '{same}' if it is that one, else give it a name that nobody mixes up",
            )


def add_charger(pen: Pen, new: Charger) -> Charger:
    """Record what was measured of a charger. Raises BadData: no name, nothing measured, or another float of this moment."""
    if not new.name.strip():
        raise BadData("a charger needs a name", "write it as you call it, like 'four-bay'")
    require_chargers(pen.conn, [new.name])
    # Taken back by its key, both would go; beside one that was taken back it would never count.
    there = (
        CHARGER.c.slot == new.slot,
        CHARGER.c.measured_at_us == to_us(new.at),
        CHARGER.c.float_v.is_not(None),
    )
    known = pen.conn.execute(select(CHARGER.c.name).where(*there)).scalars()
    if new.float_v is not None and apart(new.name, letter(pen.conn)) in known:
        raise BadData(
            f"a float of charger '{new.name}' was recorded at this very moment",
            "measure it again, or take that one back with straycell charger withdraw",
        )
    if new.float_v is None and new.end_current_a is None and new.capacity is None:
        raise BadData(
            f"nothing was measured of charger '{new.name}'",
            "add --measured-float 4.19V, taken at the cell's terminals at the end of a charge",
        )
    # As of a meter: a counting without error would let one charge condemn a sound cell.
    if fault := untrue(Meter(new.name, capacity=new.capacity)):
        raise BadData(f"charger '{new.name}': {fault}", "take the limits of error from its sheet, like 5%")
    detail = {"slot": new.slot, "meter": keys(pen.conn)[new.meter]}
    event_id = pen.event(MEASURED, subject=new.name, detail=detail)
    pen.conn.execute(
        CHARGER.insert().values(
            # The letter goes with the row, through merges and restores: a charger has no number.
            name=apart(new.name, letter(pen.conn)),
            slot=new.slot,
            float_v=None if new.float_v is None else new.float_v.value,
            float_u=None if new.float_v is None else new.float_v.u,
            end_current_a=new.end_current_a,
            capacity_gain=None if new.capacity is None else new.capacity.gain,
            capacity_offset=None if new.capacity is None else new.capacity.offset,
            measured_at_us=to_us(new.at),
            event_id=event_id,
        )
    )
    pen.touched |= charged_by(pen.conn, new.name)
    return new


def take_back_chargers(pen: Pen, wrong: Sequence[Charger], mistake: str, because: str, event_id: int) -> None:
    """Measurements of chargers that do not count any more; what they say of any charge is judged again."""
    common = {"mistake": mistake, "because": because, "event_id": event_id}
    for each in wrong:
        pen.conn.execute(SUPERSESSION.insert().values(record=each.key, **common))
        pen.touched |= charged_by(pen.conn, each.name)


def withdraw_charger(pen: Pen, name: str, slot: int | None, because: str) -> Charger:
    """Take the newest measurement of a slot back as mistyped; it stays visible. Raises BadData where there is none."""
    reason = require_because(because)
    same = [c for c in chargers(pen.conn) if (c.name, c.slot) == (name, slot)]
    if not same:
        which = f"slot {slot} of charger '{name}'" if slot is not None else f"charger '{name}' as a whole"
        raise BadData(f"nothing was measured of {which}", "see: straycell charger list")
    event_id = pen.event("charger-withdrawn", subject=name, detail={"slot": slot}, because=reason)
    take_back_chargers(pen, same[-1:], Mistake.MISTYPED.value, reason, event_id)
    return same[-1]


def charged_by(conn: Connection, name: str) -> set[str]:
    """The cells that a charger charged, or one of that name: what it was measured at speaks of these charges, too."""
    query = select(READING.c.code, READING.c.charger).where(READING.c.charger != "").distinct()
    return {row.code for row in conn.execute(query) if named_here(row.charger) == named_here(name)}


def ended_by(conn: Connection, measured: Charger) -> set[str]:
    """The cells of which a charge took its end from this measurement."""
    since, until = to_us(measured.at), to_us(measured.at + COUNTS_FOR)
    query = select(READING).where(READING.c.charger != "", READING.c.u.is_not(None))
    rows = conn.execute(query.where(READING.c.at_us >= since, READING.c.at_us < until))
    return {
        row.code
        for row in rows
        if apart(row.charger, row.key[0]) == measured.owned and measured.slot in (None, row.slot)
    }
