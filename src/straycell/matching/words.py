"""Numbers as the explanations print them."""

from __future__ import annotations

import math

from straycell.quantities import Dimension, safe_figures, show, show_safe


def amps(current_a: float) -> str:
    return show(current_a, Dimension.CURRENT)


def volts(voltage_v: float) -> str:
    return show(voltage_v, Dimension.VOLTAGE)


def capacity(capacity_ah: float) -> str:
    return show(capacity_ah, Dimension.CAPACITY)


def ohms(resistance_ohm: float) -> str:
    return show(resistance_ohm, Dimension.RESISTANCE)


def at_most(value: float, dimension: Dimension) -> str:
    """A limit from above in advice: two figures, rounded down."""
    return show_safe(value, dimension, up=False)


def at_least(value: float, dimension: Dimension) -> str:
    """A limit from below, or a load in advice: two figures, rounded up."""
    return show_safe(value, dimension, up=True)


def beside(value: float, limit: float, dimension: Dimension) -> tuple[str, str]:
    """A value and the limit from above that it is held against: two figures each, the value rounded up, the limit
    down, or as many figures as it takes to leave the answer what it is."""
    # Value and limit may round to the same figures and turn a fail into a seeming pass; more figures tell them apart.
    for figures in range(2, 8):
        up, down = safe_figures(value, figures, up=True), safe_figures(limit, figures, up=False)
        if (up <= down) == (value <= limit):
            break
    return show(up, dimension), show(down, dimension)


def hours(value_h: float, limit_h: float) -> tuple[str, str]:
    """Two times in h, with as many places as it takes to tell them apart."""
    if not math.isfinite(value_h):
        return "without end", f"{limit_h:g} h"
    places = 0 if min(value_h, limit_h) >= 10 else 1
    # Six places of an hour are below a hundredth of a second: further digits would be noise.
    while places < 6 and value_h != limit_h and f"{value_h:.{places}f}" == f"{limit_h:.{places}f}":
        places += 1
    return f"{value_h:.{places}f} h", f"{limit_h:g} h" if places == 0 else f"{limit_h:.{places}f} h"


def run_hours(value_h: float) -> str:
    """A run time as a person says it: `26 min`, `11.6 h`, `7547 h`; never in powers of ten."""
    if not math.isfinite(value_h):
        return "without end"
    if value_h < 1:
        return f"{60 * value_h:.0f} min"
    return f"{value_h:.{2 if value_h < 10 else 1 if value_h < 100 else 0}f} h"


def finite(value: float) -> float | None:
    """The value, or None where it has no end: JSON knows no infinity."""
    return value if math.isfinite(value) else None
