"""The other way round: which current or which series resistor gives the hours that are wanted."""

import math
from collections.abc import Callable
from dataclasses import dataclass

from straycell.errors import BadData, NegativeAnswer
from straycell.physics.loads import ConstantCurrent, Lamps, Load
from straycell.physics.resistors import bands, power_rating, rounded_up
from straycell.physics.run_time.runtime import Runtime

Run = Callable[[Load], Runtime]
"""A run time with the cell and the cut-offs already chosen."""
TOLERANCE = 0.05
"""The resistor to buy: E24 is the series of 5 %."""
# The smallest resistor sold as one piece (resistors.py); the lamps' model refuses zero.
_LEAST_OHM = 0.1
_LEAST_A = 1e-6
_STEP = 1.25


@dataclass(frozen=True, slots=True)
class CurrentChoice:
    """The largest constant current in A whose promised run time is what was wanted."""

    current_a: float
    runtime: Runtime


@dataclass(frozen=True, slots=True)
class ResistorChoice:
    """A resistor to buy: value in ohm, colours, heat in it at the full voltage and rating in W, run time with it.

    The run time is that of a resistor at the lower end of its tolerance.
    """

    ohm: float
    bands: tuple[str, ...]
    dissipated_w: float
    rating_w: float
    full_current_a: float
    runtime: Runtime


def current_for_runtime(wanted_h: float, run: Run, *, most_a: float) -> CurrentChoice:
    """Bisect for the current; raises NegativeAnswer when not even a microampere lasts that long."""
    _check_wanted(wanted_h)
    if not run(ConstantCurrent(_LEAST_A)).low_h >= wanted_h:
        raise NegativeAnswer(
            f"no current lasts {wanted_h:g} h on this cell", "take a larger cell, or several"
        )
    # Halving the logarithm: currents span microamperes to amperes, and the answer is wanted to a share.
    low, high = math.log(_LEAST_A), math.log(most_a)
    if run(ConstantCurrent(most_a)).low_h >= wanted_h:
        low = high
    while high - low > 1e-4:
        middle = 0.5 * (low + high)
        if run(ConstantCurrent(math.exp(middle))).low_h >= wanted_h:
            low = middle
        else:
            high = middle
    current_a = math.exp(low)
    return CurrentChoice(current_a, run(ConstantCurrent(current_a)))


def resistor_for_runtime(
    wanted_h: float,
    lamps: Lamps,
    run: Run,
    *,
    full_v: float,
    most_ohm: float = 1e6,
    brighter: bool = False,
) -> ResistorChoice:
    """The smallest E24 series resistor for these lamps whose promised run time is what was wanted.

    No lamp gets more than it was lit with in its old device unless `brighter` asks for it: what it bears beyond
    that is not known. `full_v` is the pack's full voltage in V, for that and for the heat. Raises NegativeAnswer
    when none does, or when the pack does not light them at all.
    """
    _check_wanted(wanted_h)
    if lamps.with_resistor(_LEAST_OHM).dark_v >= full_v:
        raise NegativeAnswer(
            f"the lamps go dark on one cell: {lamps.lamp_v:.2f} V stood over them when they were measured, and the "
            f"cell gives {full_v:.2f} V at most",
            "run them from more cells in series, or behind a step-up regulator; see: straycell match",
        )

    def lasts(ohm: float) -> bool:
        # A resistor at the low end of its tolerance lets more through, and the promise must hold for it too.
        return run(lamps.with_resistor(ohm * (1 - TOLERANCE))).low_h >= wanted_h

    # A larger resistor lets less through, but darkens the lamps earlier: the first one that lasts is looked for upwards.
    nothing = NegativeAnswer(
        f"no resistor makes these lamps last {wanted_h:g} h and still light",
        "take a larger cell, or fewer lamps",
    )
    # The gentlest resistor is bought with its tolerance, so its low end must still spare the lamps.
    gentle_ohm = 0.0 if brighter else rounded_up(max(_LEAST_OHM, lamps.gentle_ohm(full_v) / (1 - TOLERANCE)))
    low = high = max(_LEAST_OHM, gentle_ohm)
    while not lasts(high):
        low, high = high, high * _STEP
        if high > most_ohm or lamps.with_resistor(high).dark_v >= full_v:
            raise nothing
    low, high = math.log(low), math.log(high)
    while high - low > 1e-4:
        middle = 0.5 * (low + high)
        low, high = (low, middle) if lasts(math.exp(middle)) else (middle, high)
    ohm = max(gentle_ohm, rounded_up(math.exp(high)))
    weakest = lamps.with_resistor(ohm * (1 - TOLERANCE))
    found = run(weakest)
    if not found.low_h >= wanted_h:  # what can be bought lies beyond the few values that would do
        raise nothing
    full_a = weakest.current_at(full_v)
    # The most heat comes with the most current: full pack, resistor at the low end of its tolerance.
    heat_w = full_a * full_a * ohm * (1 - TOLERANCE)
    return ResistorChoice(ohm, bands(ohm, TOLERANCE), heat_w, power_rating(heat_w), full_a, found)


def _check_wanted(wanted_h: float) -> None:
    if not (math.isfinite(wanted_h) and wanted_h > 0):
        raise BadData(f"wanted run time is {wanted_h:g} h", "write it like 24h")
