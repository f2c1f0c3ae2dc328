"""Numbers as the explanations print them."""

from __future__ import annotations

import math

from straycell.quantities import Dimension, show


def amps(current_a: float) -> str:
    return show(current_a, Dimension.CURRENT)


def volts(voltage_v: float) -> str:
    return show(voltage_v, Dimension.VOLTAGE)


def capacity(capacity_ah: float) -> str:
    return show(capacity_ah, Dimension.CAPACITY)


def ohms(resistance_ohm: float) -> str:
    return show(resistance_ohm, Dimension.RESISTANCE)


def hours(value_h: float, limit_h: float) -> tuple[str, str]:
    """Two times in h, with as many places as it takes to tell them apart."""
    if not math.isfinite(value_h):
        return "without end", f"{limit_h:g} h"
    places = 0 if min(value_h, limit_h) >= 10 else 1
    while places < 6 and value_h != limit_h and f"{value_h:.{places}f}" == f"{limit_h:.{places}f}":
        places += 1
    return f"{value_h:.{places}f} h", f"{limit_h:g} h" if places == 0 else f"{limit_h:.{places}f} h"


def finite(value: float) -> float | None:
    """The value, or None where it has no end: JSON knows no infinity."""
    return value if math.isfinite(value) else None
