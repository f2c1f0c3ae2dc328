"""What may become a row: checked before it exists, with a message for a person. The database checks again."""

from __future__ import annotations

import math
from collections.abc import Iterator
from datetime import UTC, datetime

from straycell.cells import CellFacts
from straycell.errors import BadData
from straycell.markings import beyond_size
from straycell.quantities import CELL_WINDOWS, Dimension, show
from straycell.readings import Charge, Method, Quantity, Reading
from straycell.safety.storage import figures
from straycell.store.column_values import from_us, to_us
from straycell.store.schema.checks import FIRST_US

_COOLER_BY_ERROR_K = 4.0
"""A cell never cools while charging; two thermometers may differ by 2 K each (common practice)."""

_DIMENSIONS = {
    Quantity.VOLTAGE: Dimension.VOLTAGE,
    Quantity.AS_FOUND_VOLTAGE: Dimension.VOLTAGE,
    Quantity.CAPACITY: Dimension.CAPACITY,
    Quantity.RESISTANCE: Dimension.RESISTANCE,
    Quantity.TEMPERATURE: Dimension.TEMPERATURE,
    Quantity.LET_DOWN: Dimension.VOLTAGE,
}


_MOST_U = max(CELL_WINDOWS[dimension].high for dimension in _DIMENSIONS.values())


def utc(at: datetime) -> datetime:
    """The same moment in UTC. Raises BadData for a time without a zone."""
    to_us(at)
    return at.astimezone(UTC)


def require_because(because: str) -> str:
    """A reason in words. Raises BadData when it is empty."""
    if not because.strip():
        raise BadData("no reason is given", "say why in a few words, with --because")
    return because.strip()


def require_moment(what: str, at: datetime, now: datetime) -> None:
    """Raise BadData for a time in the future, or before there were such cells."""
    if at > now:
        raise BadData(f"{what}: {at.isoformat()} is in the future", "check the date, the time and its zone")
    if to_us(at) < FIRST_US:
        raise BadData(f"{what}: {at.isoformat()} is before {from_us(FIRST_US).year}", "check the year")


def require_within(what: str, value: float | None, dimension: Dimension, low: float | None = None) -> None:
    """Raise BadData for a number that is none, or that cannot be meant."""
    if value is None:
        return
    window = CELL_WINDOWS[dimension]
    least = window.low if low is None else low
    if not (math.isfinite(value) and least <= value <= window.high):
        raise BadData(
            f"{what}: {show(value, dimension)} cannot be right for {window.of}",
            f"expected {show(least, dimension)} to {show(window.high, dimension)}: check the point and the unit",
        )


def require_facts(facts: CellFacts) -> None:
    """Raise BadData for a fact that cannot be meant."""
    for name, dimension, low in _FACT_WINDOWS:
        require_within(name, getattr(facts, name), dimension, low)
    volume = facts.volume_cm3
    if volume is not None and not (math.isfinite(volume) and 0.001 <= volume <= 100000.0):
        raise BadData(f"volume_cm3: {volume} cannot be right for one cell", "check the dimensions")
    for ceiling in beyond_size(facts):
        raise BadData(
            f"{ceiling.fact}: {ceiling.text}",
            "check the figure and the size; a print that cannot be true goes into the marking only",
        )
    if facts.rated_resistance_method not in set(Method):
        raise BadData(
            f"'{facts.rated_resistance_method}' is no way to measure a resistance",
            f"choose one of: {', '.join(Method)}",
        )


_FACT_WINDOWS: tuple[tuple[str, Dimension, float | None], ...] = (
    ("rated_capacity_ah", Dimension.CAPACITY, None),
    ("rated_resistance_ohm", Dimension.RESISTANCE, None),
    ("maker_charge_current_a", Dimension.CURRENT, 1e-6),
    ("maker_discharge_current_a", Dimension.CURRENT, 1e-6),
    ("full_voltage_v", Dimension.VOLTAGE, 1.0),
    ("mass_g", Dimension.MASS, None),
)


def require_item(item: Reading | Charge, now: datetime) -> None:
    """Raise BadData for a reading or charge that cannot become a row."""
    what = f"{'charge' if isinstance(item, Charge) else item.quantity} of {item.cell}"
    require_moment(what, utc(item.at), now)
    for fault in _charge_faults(item) if isinstance(item, Charge) else _reading_faults(item):
        raise BadData(f"{what}: {fault}", "see: straycell reading add --help")
    for name, value, dimension, low in _numbers(item):
        require_within(f"{what}, {name}", value, dimension, low)


def _reading_faults(reading: Reading) -> Iterator[str]:
    if reading.quantity is Quantity.CHARGE:
        yield "a charge is recorded with its current and end voltage"
    if reading.quantity is Quantity.LOOK:
        if not reading.look:
            yield "a look says nothing"
        if reading.value is not None:
            yield "a look has no number"
    elif reading.value is None or reading.look:
        yield "it needs a number, and nothing else"
    if reading.quantity is Quantity.LET_DOWN:
        yield from _let_down_faults(reading)
    if reading.method is not None and reading.quantity is not Quantity.RESISTANCE:
        yield "only a resistance has a method"
    if reading.pulse_s is not None and not 0 < reading.pulse_s <= 86400:
        yield "a pulse lasts longer than nothing and less than a day"
    if reading.cutoff_v is not None and not 0 <= reading.cutoff_v <= 5:
        yield "its cut-off cannot be right for one cell"
    if reading.as_group and reading.quantity is not Quantity.AS_FOUND_VOLTAGE:
        yield "cells still welded together share an as-found voltage and nothing else"
    yield from _derived_faults(reading)


def _let_down_faults(reading: Reading) -> Iterator[str]:
    """A deep discharge must not be told as a step of care: its voltage is a reading, and decides."""
    least_v = float(figures()["let_down"]["least_v"])
    if reading.value is not None and reading.value < least_v:
        yield (
            f"{reading.value:g} V is no storage voltage, {least_v:g} V is the least; let it rest, then record "
            "the voltage it has"
        )
    if reading.rested_s is not None or reading.discharge_current_a is not None:
        yield "a let-down has an end voltage and nothing else"


def _derived_faults(reading: Reading) -> Iterator[str]:
    """Faults of what a trace tells of a reading."""
    if reading.soc is not None and not (reading.quantity is Quantity.RESISTANCE and 0 <= reading.soc <= 1):
        yield "a state of charge goes with a resistance, and is 0 to 1"
    if reading.quantity is not Quantity.CAPACITY and (
        reading.at_least or reading.from_full or reading.energy_wh is not None
    ):
        yield "only a capacity starts full, is a lower bound or has an energy"
    if reading.energy_wh is not None and not 0 < reading.energy_wh <= 2500:
        yield "its energy cannot be right for one cell"
    if reading.u is not None and not 0 < reading.u <= _MOST_U:
        yield "its uncertainty is not above zero: nothing is measured exactly"
    elif reading.u is not None and reading.u < _shown_u(reading) * (1 - 1e-9):
        yield f"its uncertainty of {reading.u:g} is below what the display of its meter can show"


def _shown_u(reading: Reading) -> float:
    """Standard uncertainty of the meter's step at this value; 0 where the step is not known."""
    if (
        reading.meter is None
        or reading.value is None
        or _DIMENSIONS.get(reading.quantity) is not Dimension.VOLTAGE
    ):
        return 0.0
    return reading.meter.voltage_resolution.u(reading.value)


def _charge_faults(charge: Charge) -> Iterator[str]:
    if charge.slot is not None and not 0 <= charge.slot <= 1000:
        yield f"slot {charge.slot} cannot be right"
    room, peak = charge.temperature_c, charge.peak_temperature_c
    if room is not None and peak is not None and room - peak > _COOLER_BY_ERROR_K:
        yield f"the warmest it became ({peak:g} C) lies below the room's {room:g} C: are the two swapped?"


def _numbers(item: Reading | Charge) -> Iterator[tuple[str, float | None, Dimension, float | None]]:
    yield "temperature", item.temperature_c, Dimension.TEMPERATURE, None
    if isinstance(item, Charge):
        yield "current", item.current_a, Dimension.CURRENT, 1e-6
        yield "end voltage", item.until_v, Dimension.VOLTAGE, 0.0
        yield "end current", item.end_current_a, Dimension.CURRENT, None
        yield "peak temperature", item.peak_temperature_c, Dimension.TEMPERATURE, None
        return
    if item.quantity in _DIMENSIONS:
        yield "value", item.value, _DIMENSIONS[item.quantity], None
    yield "rest", item.rested_s, Dimension.DURATION, None
    yield "discharge current", item.discharge_current_a, Dimension.CURRENT, None
