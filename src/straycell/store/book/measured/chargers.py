"""Chargers in the store: each measurement of a slot is a row, the newest counts."""

from __future__ import annotations

from sqlalchemy import Connection, select

from straycell.errors import BadData
from straycell.meters import Accuracy, Meter, too_good
from straycell.quantities import Measured
from straycell.readings.charger import Charger
from straycell.store.column_values import from_us, to_us
from straycell.store.schema.tables import CHARGER
from straycell.store.session import Pen


def chargers(conn: Connection) -> list[Charger]:
    """Every measurement of every slot, oldest first."""
    return [
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
    return new
