"""How far a reading can be off: its meter's accuracy, or the cautious default of the rules."""

import math
from dataclasses import dataclass

from straycell.meters import Accuracy
from straycell.quantities import Measured
from straycell.readings.reading import KINDS, Reading
from straycell.readings.words import Method

_NO_SCALE = Accuracy()


@dataclass(frozen=True, slots=True)
class CautiousDefaults:
    """Limits of error where no meter is named; they belong to the rules (see acceptance)."""

    voltage: Accuracy
    capacity: Accuracy
    resistance: Accuracy
    resistance_unknown_method: Accuracy
    temperature: Accuracy
    mass: Accuracy = _NO_SCALE


def accuracy_of(reading: Reading, defaults: CautiousDefaults) -> tuple[Accuracy, bool]:
    """The accuracy that holds for a reading, and whether it is the cautious default."""
    covered_by = KINDS[reading.quantity].accuracy
    known: Accuracy | None = getattr(reading.meter, covered_by, None)
    # A display that does not say how it measures counts for no more than the cautious fallback.
    if reading.method is Method.UNKNOWN:
        return _worse(known, defaults.resistance_unknown_method)
    fallback: Accuracy = getattr(defaults, covered_by)
    return (known, False) if known is not None else (fallback, True)


def _worse(known: Accuracy | None, fallback: Accuracy) -> tuple[Accuracy, bool]:
    """A tester's unknown method is not better than the fallback in gain or offset, whatever its sheet says."""
    if known is None:
        return fallback, True
    # The worse of each: a good gain does not excuse what an unknown method may leave out.
    worse = Accuracy(max(known.gain, fallback.gain), max(known.offset, fallback.offset))
    return worse, worse != known


def measured(reading: Reading, defaults: CautiousDefaults) -> Measured:
    """The reading's value with its standard uncertainty (meter limits and resolution, rectangular).

    A reading out of a trace brings its own.
    """
    assert reading.value is not None
    # A trace has a whole budget of its own, and the meter's limits are in it already.
    if reading.u is not None:
        return Measured(reading.value, reading.u)
    accuracy, is_default = accuracy_of(reading, defaults)
    u = accuracy.u(reading.value)
    # The display's rounding is an error of its own, independent of the limits (JCGM 100:2008, F.2.2.1).
    if not is_default and reading.meter is not None and KINDS[reading.quantity].accuracy == "voltage":
        u = math.hypot(u, reading.meter.voltage_resolution.u(reading.value))
    return Measured(reading.value, u)


def alone_u(reading: Reading, defaults: CautiousDefaults) -> float | None:
    """The part of a voltage's standard uncertainty that another reading by its meter does not share.

    None where no known meter took it.
    """
    accuracy, is_default = accuracy_of(reading, defaults)
    # Only one known meter shares its errors between two readings, so that they cancel.
    if is_default or reading.meter is None or reading.u is not None or reading.value is None:
        return None
    # A meter without a known step may step by up to twice its accuracy.
    step_v = reading.meter.voltage_resolution.step(reading.value) or 2 * accuracy.limit(reading.value)
    return step_v / math.sqrt(12.0)


def is_off(reading: Reading, actual: float, defaults: CautiousDefaults) -> bool:
    """True when what a meter showed of a known value (in the reading's unit) is off by more than U."""
    assert reading.value is not None
    # More than U: within it the two agree, and a sound meter must not be called faulty.
    return abs(reading.value - actual) > measured(reading, defaults).expanded


def by_default(reading: Reading, defaults: CautiousDefaults) -> bool:
    """True when no meter spoke for the uncertainty of a reading."""
    return reading.meter is None if reading.u is not None else accuracy_of(reading, defaults)[1]
