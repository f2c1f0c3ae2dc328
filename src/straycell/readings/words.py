"""The words of a reading: what it holds, where and how it was taken, why it is taken back."""

from enum import StrEnum


class Quantity(StrEnum):
    """What a reading holds; `reading.KINDS` says what each needs."""

    VOLTAGE = "voltage"
    AS_FOUND_VOLTAGE = "as-found-voltage"
    CAPACITY = "capacity"
    RESISTANCE = "resistance"
    TEMPERATURE = "temperature"
    MASS = "mass"
    LOOK = "look"
    CHARGE = "charge"
    LET_DOWN = "let-down"


class Where(StrEnum):
    """Where a voltage or resistance was taken on a cell with a protection board."""

    # A tripped board shows almost nothing while the cell behind it is charged: the place decides what a voltage
    # means.
    TABS = "tabs"
    BOARD = "board"


class Method(StrEnum):
    """How a resistance was taken; values of different methods are never compared."""

    DC_PULSE = "dc-pulse"
    # A 1 kHz reading leaves out the slow part of the resistance and is lower than a pulse (a battery maker's
    # bulletin, 2005).
    AC_1KHZ = "ac-1khz"
    UNKNOWN = "unknown"


class Mistake(StrEnum):
    """Why a reading is superseded."""

    WRONG_CELL = "wrong-cell"
    MISTYPED = "mistyped"
    # A bad contact falsifies one reading; a faulty meter all of its own, and goes its own way (METER_FAULT).
    BAD_CONTACT = "bad-contact"


METER_FAULT = "meter-fault"
"""The mistake of readings that a faulty meter gave; said of all of them at once, never of one alone."""
RECORDS_LOST = "records-lost"
"""Of what was recorded of a cell a part is lost with a damaged store: what is left does not count, and it is tested again."""
