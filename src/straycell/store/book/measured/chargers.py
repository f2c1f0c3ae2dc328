"""Chargers in the store: each measurement of a slot is a row, the newest that was not taken back counts."""

from __future__ import annotations

from sqlalchemy import Connection, select

from straycell.errors import BadData
from straycell.meters import Accuracy, Meter, too_good
from straycell.quantities import Measured
from straycell.readings import Mistake
from straycell.readings.charger import Charger
from straycell.store.column_values import from_us, to_us
from straycell.store.schema.tables import CHARGER, READING, SUPERSESSION
from straycell.store.schema.validation import require_because
from straycell.store.session import Pen


def chargers(conn: Connection) -> list[Charger]:
    """Every measurement of every slot that was not taken back, oldest first."""
    gone = set(
        conn.execute(select(SUPERSESSION.c.record).where(SUPERSESSION.c.record.like("charger %"))).scalars()
    )
    known = [
        Charger(
            row.name,
            from_us(row.measured_at_us),
            row.slot,
            None if row.float_v is None else Measured(row.float_v, row.float_u),
            row.end_current_a,
            None if row.capacity_gain is None else Accuracy(row.capacity_gain, row.capacity_offset),
        )
        for row in conn.execute(select(CHARGER).order_by(CHARGER.c.measured_at_us, CHARGER.c.id))
    ]
    return [charger for charger in known if charger.key not in gone]


def add_charger(pen: Pen, new: Charger) -> Charger:
    """Record what was measured of a charger. Raises BadData: no name, or nothing measured."""
    if not new.name.strip():
        raise BadData("a charger needs a name", "write it as you call it, like 'four-bay'")
    if new.float_v is None and new.end_current_a is None and new.capacity is None:
        raise BadData(
            f"nothing was measured of charger '{new.name}'",
            "add --measured-float 4.19V, taken at the cell's terminals at the end of a charge",
        )
    # As of a meter: a counting without error would let one charge condemn a sound cell.
    if fault := too_good(Meter(new.name, capacity=new.capacity)):
        raise BadData(f"charger '{new.name}': {fault}", "take the limits of error from its sheet, like 5%")
    event_id = pen.event("charger-measured", subject=new.name, detail={"slot": new.slot})
    pen.conn.execute(
        CHARGER.insert().values(
            name=new.name,
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
    _touch(pen, new.name)
    return new


def withdraw_charger(pen: Pen, name: str, slot: int | None, because: str) -> Charger:
    """Take the newest measurement of a slot back as mistyped; it stays visible. Raises BadData where there is none."""
    reason = require_because(because)
    same = [c for c in chargers(pen.conn) if (c.name, c.slot) == (name, slot)]
    if not same:
        which = f"slot {slot} of charger '{name}'" if slot is not None else f"charger '{name}' as a whole"
        raise BadData(f"nothing was measured of {which}", "see: straycell charger list")
    event_id = pen.event("charger-withdrawn", subject=name, detail={"slot": slot}, because=reason)
    pen.conn.execute(
        SUPERSESSION.insert().values(
            record=same[-1].key, mistake=Mistake.MISTYPED.value, because=reason, event_id=event_id
        )
    )
    _touch(pen, name)
    return same[-1]


def _touch(pen: Pen, name: str) -> None:
    # What a charger was measured at speaks of the charges that it made before, too.
    made = select(READING.c.code).where(READING.c.charger == name).distinct()
    pen.touched.update(pen.conn.execute(made).scalars())
