"""What may become a row: checked before it exists, with a message for a person. The database checks again."""

import math
from collections.abc import Iterator
from datetime import UTC, datetime

from straycell.acceptance.rules import shipped_rules
from straycell.cells import CellFacts
from straycell.errors import BadData
from straycell.markings import beyond_size
from straycell.quantities import Dimension, show
from straycell.readings import FACTS, KINDS, Charge, Field, Item, Kind, Method, Quantity, Reading, said_of
from straycell.safety.storage import figures
from straycell.store.column_values import from_us, to_us
from straycell.store.schema.checks import FIRST_US

_COOLER_BY_ERROR_K = 4.0
"""A cell never cools while charging; two thermometers may differ by 2 K each (common practice)."""


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


def require_within(what: str, value: float | None, field: Field) -> None:
    """Raise BadData for a number that is none, or that cannot be meant."""
    window = field.window
    # Windows catch a slipped point (37.1 V) and not a bad cell: they are wide on purpose.
    if value is None or window is None or (math.isfinite(value) and window.low <= value <= window.high):
        return
    given, low, high = (_shown(number, field.dimension) for number in (value, window.low, window.high))
    raise BadData(
        f"{what}: {given} cannot be right for {window.of}",
        f"expected {low} to {high}: check the point and the unit",
    )


def _shown(value: float, dimension: Dimension | None) -> str:
    return show(value, dimension) if dimension else f"{value:g}"


def require_meant(what: str, capacity_ah: float | None, facts: CellFacts) -> None:
    """Raise BadData for a capacity so far below what such a cell holds that its unit was a slip."""
    usual = shipped_rules().limit("unrated-capacity").values or {}
    # The rating itself is held against the size alone.
    rating = what == "rated_capacity_ah"
    rated = None if rating else facts.rated_capacity_ah
    held_ah, by = (
        (rated, "its rating") if rated else (usual.get(str(facts.form)), f"what a {facts.form} holds")
    )
    if capacity_ah is None or held_ah is None or capacity_ah >= _SLIP * held_ah:
        return
    given, expected = show(capacity_ah, Dimension.CAPACITY), show(held_ah, Dimension.CAPACITY)
    meant = f"write {capacity_ah * 1000:g}Ah if that is meant; " if capacity_ah else ""
    worn_out = "a cell that really gives no more is worn out: straycell discard CODE --because TEXT"
    raise BadData(
        f"{what}: {given} is less than a hundredth of {by}, {expected}",
        meant + ("else read the print again, or leave it out" if rating else worn_out),
    )


_SLIP = 0.01
"""Whoever thinks in Ah and types mAh is off by a thousand; a tired cell still gives some per cent (common practice)."""


def require_facts(facts: CellFacts) -> None:
    """Raise BadData for a fact that cannot be meant."""
    require_meant("rated_capacity_ah", facts.rated_capacity_ah, facts)
    for name, field in FACTS.items():
        if field.window is not None:
            require_within(name, getattr(facts, name), field)
    # A print beyond what the size can hold would make every current look gentle.
    for ceiling in beyond_size(facts):
        raise BadData(
            f"{ceiling.fact}: {ceiling.text}",
            "check the figure and the size; a print that cannot be true goes into the marking only",
        )
    if facts.rated_resistance_method not in set(Method):
        raise BadData(
            f"'{facts.rated_resistance_method}' is not a way to measure a resistance",
            f"choose one of: {', '.join(Method)}",
        )


def require_item(item: Item, now: datetime) -> None:
    """Raise BadData for a reading or charge that cannot become a row."""
    what, kind = f"{item.quantity} of {item.cell}", KINDS[item.quantity]
    require_moment(what, utc(item.at), now)
    for fault in _faults(item, kind):
        raise BadData(f"{what}: {fault}", "see: straycell reading add --help")
    if kind.value is not None:
        require_within(f"{what}, {kind.value.noun}", item.value, kind.value)
    for field, value in said_of(item):
        if field.window is not None:
            require_within(f"{what}, {field.noun}", value, field)


def _faults(item: Item, kind: Kind) -> Iterator[str]:
    said = {field.name: field for field, _ in said_of(item)}
    if (item.value is None) != (kind.value is None) or ("look" in said) != (kind.value is None):
        yield (
            "a look has words and no number" if kind.value is None else "it needs a number, and nothing else"
        )
    if isinstance(item, Reading) and item.u is not None:
        yield from _exact_faults(item, item.u)
    # A condition on the wrong quantity was meant for another reading.
    for name in sorted(said.keys() - {*kind.takes, kind.key}):
        yield f"a {kind.quantity} has no {said[name].noun}"
    if isinstance(item, Charge):
        yield from _warming_faults(item)
    elif kind.quantity is Quantity.CHARGE:
        yield "a charge is recorded with its current and end voltage"
    elif kind.quantity is Quantity.LET_DOWN:
        yield from _let_down_faults(item)


def _exact_faults(reading: Reading, u: float) -> Iterator[str]:
    """An uncertainty of nothing, or finer than the display, takes the guard band off every limit."""
    if u <= 0.0:
        yield "its uncertainty is not above zero: nothing is measured exactly"
        return
    # A display that steps by 10 mV cannot show 1 mV, whatever was typed.
    in_volts = reading.meter is not None and KINDS[reading.quantity].unit == "V"
    shown_u = reading.meter.voltage_resolution.u(reading.value or 0.0) if in_volts and reading.meter else 0.0
    if u < shown_u * (1 - 1e-9):
        yield f"its uncertainty of {u:g} V is below what the display of its meter can show"


def _let_down_faults(reading: Reading) -> Iterator[str]:
    """A deep discharge must not be reported as a step of care: its voltage is a reading, and decides."""
    least_v = float(figures()["let_down"]["least_v"])
    if reading.value is not None and reading.value < least_v:
        yield (
            f"{reading.value:g} V is not a storage voltage, {least_v:g} V is the least; let it rest, then record "
            "the voltage it has"
        )


def _warming_faults(charge: Charge) -> Iterator[str]:
    # Swapped, a hot charge would pass as a cool one.
    room, peak = charge.temperature_c, charge.peak_temperature_c
    if room is not None and peak is not None and room - peak > _COOLER_BY_ERROR_K:
        yield f"the warmest it became ({peak:g} C) lies below the room's {room:g} C: are the two swapped?"
