"""One measured quantity of one cell at one time, and one recorded charge.

Append-only: a wrong one is superseded by another, with a reason, and stays visible.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum

from straycell.cells import Look
from straycell.keys import RecordKey
from straycell.meters import Accuracy, Meter
from straycell.quantities import Measured


class Quantity(StrEnum):
    """What a reading holds."""

    VOLTAGE = "voltage"
    AS_FOUND_VOLTAGE = "as-found-voltage"
    CAPACITY = "capacity"
    RESISTANCE = "resistance"
    TEMPERATURE = "temperature"
    LOOK = "look"
    CHARGE = "charge"
    LET_DOWN = "let-down"

    @property
    def electrical(self) -> bool:
        """True where a bad contact can be the mistake."""
        return self in (Quantity.VOLTAGE, Quantity.AS_FOUND_VOLTAGE, Quantity.CAPACITY, Quantity.RESISTANCE)


UNITS: dict[Quantity, str] = {
    Quantity.VOLTAGE: "V",
    Quantity.AS_FOUND_VOLTAGE: "V",
    Quantity.CAPACITY: "Ah",
    Quantity.RESISTANCE: "ohm",
    Quantity.TEMPERATURE: "C",
    Quantity.LOOK: "",
    Quantity.CHARGE: "V",
    Quantity.LET_DOWN: "V",
}


class Where(StrEnum):
    """Where a voltage or resistance was taken on a cell with a protection board."""

    TABS = "tabs"
    BOARD = "board"


class Method(StrEnum):
    """How a resistance was taken; values of different methods are never compared."""

    DC_PULSE = "dc-pulse"
    AC_1KHZ = "ac-1khz"
    UNKNOWN = "unknown"


class Mistake(StrEnum):
    """Why a reading is superseded."""

    WRONG_CELL = "wrong-cell"
    MISTYPED = "mistyped"
    BAD_CONTACT = "bad-contact"


METER_FAULT = "meter-fault"
"""The mistake of readings that a faulty meter gave; said of all of them at once, never of one alone."""


@dataclass(frozen=True, slots=True)
class Reading:
    """One reading. `value` is in UNITS[quantity]; None for a look, whose words are in `look`.

    A let-down is no measurement: a load brought the cell down to `value`, on purpose. It tells that charge was
    moved, and is evidence of nothing else.

    `where` None means: not said. `id` is NEW for one not yet recorded. Times are UTC.
    What a trace tells of a reading: `trace` is its number; `u` its own standard uncertainty, in the place of
    the meter's; `at_least` a capacity that did not run whole, `from_full` one whose trace shows a full start;
    `energy_wh` what came out with a capacity; `soc` the state of charge (0 to 1) of a resistance.
    """

    id: RecordKey
    cell: str
    quantity: Quantity
    at: datetime
    value: float | None = None
    temperature_c: float | None = None
    meter: Meter | None = None
    rested_s: float | None = None
    where: Where | None = None
    discharge_current_a: float | None = None
    cutoff_v: float | None = None
    method: Method | None = None
    pulse_s: float | None = None
    look: tuple[Look, ...] = ()
    as_group: bool = False
    energy_wh: float | None = None
    soc: float | None = None
    at_least: bool = False
    from_full: bool = False
    u: float | None = None
    trace: RecordKey | None = None

    @property
    def key(self) -> str:
        """Its number as a text: H-613."""
        return str(self.id)


@dataclass(frozen=True, slots=True)
class Charge:
    """One recorded charge; `at` is when it ended. It shares the readings' numbers, and is superseded like one.

    `trace` is the number of the trace it was seen in, if so.
    """

    id: RecordKey
    cell: str
    at: datetime
    current_a: float
    until_v: float
    end_current_a: float | None = None
    temperature_c: float | None = None
    peak_temperature_c: float | None = None
    charger: str = ""
    slot: int | None = None
    trace: RecordKey | None = None

    @property
    def key(self) -> str:
        """Its number as a text: H-613."""
        return str(self.id)


@dataclass(frozen=True, slots=True)
class CautiousDefaults:
    """Limits of error where no meter is named; they belong to the rules (see acceptance)."""

    voltage: Accuracy
    capacity: Accuracy
    resistance: Accuracy
    resistance_unknown_method: Accuracy
    temperature: Accuracy


def accuracy_of(reading: Reading, defaults: CautiousDefaults) -> tuple[Accuracy, bool]:
    """The accuracy that holds for a reading, and whether it is the cautious default."""
    known: Accuracy | None = None
    if reading.quantity in (Quantity.VOLTAGE, Quantity.AS_FOUND_VOLTAGE, Quantity.LET_DOWN):
        known, fallback = (reading.meter.voltage if reading.meter else None), defaults.voltage
    elif reading.quantity is Quantity.CAPACITY:
        known, fallback = (reading.meter.capacity if reading.meter else None), defaults.capacity
    elif reading.quantity is Quantity.RESISTANCE:
        if reading.method is Method.UNKNOWN:
            return _worse(
                reading.meter.resistance if reading.meter else None, defaults.resistance_unknown_method
            )
        known, fallback = (reading.meter.resistance if reading.meter else None), defaults.resistance
    else:
        known, fallback = (reading.meter.temperature if reading.meter else None), defaults.temperature
    return (known, False) if known is not None else (fallback, True)


def _worse(known: Accuracy | None, fallback: Accuracy) -> tuple[Accuracy, bool]:
    """A tester's unknown method is not better than the fallback in gain or offset, whatever its sheet says."""
    if known is None:
        return fallback, True
    worse = Accuracy(max(known.gain, fallback.gain), max(known.offset, fallback.offset))
    return worse, worse != known


def measured(reading: Reading, defaults: CautiousDefaults) -> Measured:
    """The reading's value with its standard uncertainty (meter limits and resolution, rectangular).

    A reading out of a trace brings its own.
    """
    assert reading.value is not None
    if reading.u is not None:
        return Measured(reading.value, reading.u)
    accuracy, is_default = accuracy_of(reading, defaults)
    u = accuracy.u(reading.value)
    if not is_default and reading.meter is not None and UNITS[reading.quantity] == "V":
        u = math.hypot(u, reading.meter.voltage_resolution.u(reading.value))
    return Measured(reading.value, u)


def is_off(reading: Reading, actual: float, defaults: CautiousDefaults) -> bool:
    """True when what a meter showed of a known value (in UNITS) is further from it than its accuracy leaves room for."""
    assert reading.value is not None
    return abs(reading.value - actual) > measured(reading, defaults).expanded


def by_default(reading: Reading, defaults: CautiousDefaults) -> bool:
    """True when no meter spoke for the uncertainty of a reading."""
    return reading.meter is None if reading.u is not None else accuracy_of(reading, defaults)[1]
