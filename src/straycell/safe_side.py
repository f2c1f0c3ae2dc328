"""Limits and advice in few figures, rounded so that who keeps to the printed number keeps to the true one."""

import math

from straycell.quantities import Dimension, show


def two_figures(value: float, *, up: bool) -> float:
    """The value to two significant figures, never below it (`up`) or never above it."""
    return _figures(value, 2, up=up)


def at_most(value: float, dimension: Dimension) -> str:
    """A limit from above in advice: two figures, rounded down."""
    return show(two_figures(value, up=False), dimension)


def at_least(value: float, dimension: Dimension) -> str:
    """A limit from below, or a load in advice: two figures, rounded up."""
    return show(two_figures(value, up=True), dimension)


def beside(value: float, limit: float, dimension: Dimension) -> tuple[str, str]:
    """A value and the limit from above that it is held against: two figures each, the value rounded up, the limit
    down, or as many figures as it takes to leave the answer what it is."""
    # Value and limit may round to the same figures and turn a fail into a seeming pass; more figures tell them apart.
    for figures in range(2, 8):
        up, down = _figures(value, figures, up=True), _figures(limit, figures, up=False)
        if (up <= down) == (value <= limit):
            break
    return show(up, dimension), show(down, dimension)


def millivolts(value_v: float, *, up: bool) -> str:
    """`4.263 V`: the limits of a cell's voltage lie some 50 mV apart, where two figures would say nothing."""
    whole = math.ceil(1000.0 * value_v - 1e-6) if up else math.floor(1000.0 * value_v + 1e-6)
    text = f"{whole / 1000.0:.3f}"
    return f"{text.removesuffix('0')} V"


def _figures(value: float, figures: int, *, up: bool) -> float:
    """The value to so many significant figures, rounded up or down."""
    if not math.isfinite(value) or value == 0:
        return value
    places = figures - 1 - math.floor(math.log10(abs(value)))
    # What is within the rounding of binary fractions of a step is on it.
    scaled = value * 10.0**places
    return round((math.ceil(scaled - 1e-9) if up else math.floor(scaled + 1e-9)) / 10.0**places, 12)
