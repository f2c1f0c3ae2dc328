"""What is not known exactly about a cell: one expected choice, and one for each doubt to either side."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from straycell.cells import Chemistry
from straycell.physics.own_pulses import Resisting, is_quick
from straycell.physics.polarisation import Spread, assumed_resistance, lag_h, steady_over_pulse
from straycell.physics.temperature import (
    REFERENCE_C,
    capacity_ratio,
    lag_ratio,
    relative,
    resistance_ratio,
)
from straycell.quantities import Measured

ASSUMED_NOTE = "resistance not measured: a usual one for this capacity is assumed"
DOUBTS = ("capacity", "resistance", "lag", "cold", "stiff")


@dataclass(frozen=True, slots=True)
class Assumed:
    """One choice of everything that is not known exactly; ratios are those of the temperature."""

    capacity_ah: float
    steady_ohm: float
    lag_h: float
    capacity_ratio: float
    resistance_ratio: float
    lag_ratio: float


def known_resistance(capacity: Measured, resistance: Measured | None) -> tuple[float, float, list[str]]:
    """(ohm, standard uncertainty in ohm, notes): as measured, else what is usual for the capacity."""
    if resistance is not None:
        return resistance.value, resistance.u, []
    ohm, u = assumed_resistance(capacity.value)
    return ohm, u, [ASSUMED_NOTE]


def cases_of(
    chemistry: Chemistry,
    capacity: Measured,
    resisting: Resisting,
    temperature_c: float,
    trace_c: float | None = None,
) -> dict[str, Assumed]:
    """Expected, and one case for each thing that is not known exactly, to either side.

    `trace_c` is the temperature in degC of the own trace; the capacity was taken at 25.
    Only the resistance of a sound cell grows over hours: what a worn one has beyond it is contact and film, which
    act at once.
    """
    # Everything is set out at 25 degC, where the capacity was taken, and then carried to the working temperature.
    base_25 = resisting.ratio(REFERENCE_C).expected
    ohm, ohm_u = base_25 * resisting.base.value, base_25 * resisting.base.u
    quick = is_quick(capacity.value, resisting.pulses)
    steady, lag = steady_over_pulse(chemistry, resisting.seconds, quick), lag_h(chemistry, quick)
    known_c = REFERENCE_C if trace_c is None else trace_c
    cold_q, cold_lag = (relative(ratio, temperature_c, known_c) for ratio in (capacity_ratio, lag_ratio))
    # A worn cell's extra resistance sits in contact and film, which show at once in a pulse: only the sound part
    # grows.
    sound_ohm = min(ohm, assumed_resistance(capacity.value)[0])
    steady_ohm = ohm + (steady.expected - 1.0) * sound_ohm
    cold_r = _colder(resisting, temperature_c, trace_c, sound_ohm, steady_ohm, quick)
    expected = Assumed(
        capacity.value, steady_ohm, lag.expected, cold_q.expected, cold_r.expected, cold_lag.expected
    )
    # Reading and growth are independent, so they add in quadrature; U (2 u) keeps both at the same coverage.
    worse = math.hypot(2.0 * ohm_u, sound_ohm * (steady.high - steady.expected))
    better = math.hypot(2.0 * ohm_u, sound_ohm * (steady.expected - steady.low))
    least = max(capacity.low, 1e-3 * capacity.value)
    return {
        "expected": expected,
        "capacity-": replace(expected, capacity_ah=least),
        "capacity+": replace(expected, capacity_ah=capacity.high),
        "resistance-": replace(expected, steady_ohm=expected.steady_ohm + worse),
        "resistance+": replace(expected, steady_ohm=max(0.0, expected.steady_ohm - better)),
        # More lag leaves more charge behind, so the high lag is the short run.
        "lag-": replace(expected, lag_h=lag.high),
        "lag+": replace(expected, lag_h=lag.low),
        "cold-": replace(expected, capacity_ratio=cold_q.low),
        "cold+": replace(expected, capacity_ratio=cold_q.high),
        # Conduction and diffusion stiffen together: one cold, one electrolyte.
        "stiff-": replace(expected, resistance_ratio=cold_r.high, lag_ratio=cold_lag.high),
        "stiff+": replace(expected, resistance_ratio=cold_r.low, lag_ratio=cold_lag.low),
    }


def _stiffened(cold: Spread, sound_ohm: float, pulse_ohm: float, steady_ohm: float) -> Spread:
    """The ratio of the whole resistance: a worn cell's contact resistance does not stiffen with the electrolyte."""
    worn = max(0.0, pulse_ohm - sound_ohm) / steady_ohm if steady_ohm > 0 else 0.0
    # Film stiffens, bare contact does not, and nobody measured which it is: the middle for the worst.
    rests = (cold.low, cold.low, cold.expected)
    expected, low, high = (
        worn * rest + (1.0 - worn) * sound
        for rest, sound in zip(rests, (cold.expected, cold.low, cold.high), strict=True)
    )
    return Spread(expected, low, high)


def _colder(
    resisting: Resisting,
    temperature_c: float,
    trace_c: float | None,
    sound_ohm: float,
    steady_ohm: float,
    quick: bool,
) -> Spread:
    """The ratio of the whole resistance over that at 25 degC, or at the temperature of the own trace."""
    # What a trace shows is in no doubt at its own temperature, what a pulse shows at the pulse's.
    if trace_c is not None:
        stiff = relative(resisting.ratio, temperature_c, trace_c)
    else:
        base_25, now = resisting.ratio(REFERENCE_C).expected, resisting.ratio(temperature_c)
        stiff = Spread(now.expected / base_25, now.low / base_25, now.high / base_25)
    pulse_ohm = resisting.base.value * resisting.ratio(REFERENCE_C).expected
    if resisting.seen(temperature_c) is None or steady_ohm <= 0:
        return _stiffened(stiff, sound_ohm, pulse_ohm, steady_ohm)
    sets = relative(resistance_ratio, temperature_c, REFERENCE_C if trace_c is None else trace_c)
    seen = _seen_stiffened(stiff, sets, min(1.0, pulse_ohm / steady_ohm))
    if quick:
        return seen
    # What builds up after the pulse is what ends such a cell in the cold: its pulse may only speak against it.
    worse = _stiffened(sets, sound_ohm, pulse_ohm, steady_ohm)
    return Spread(*(max(pair) for pair in zip(_ends(seen), _ends(worse), strict=True)))


def _ends(spread: Spread) -> tuple[float, float, float]:
    return spread.expected, spread.low, spread.high


def _seen_stiffened(seen: Spread, stiff: Spread, share: float) -> Spread:
    """The ratio of the whole resistance where that of the pulse, a `share` of it, was measured: the rest as the sets."""
    expected, low, high = (
        share * own + (1.0 - share) * rest
        for own, rest in zip(
            (seen.expected, seen.low, seen.high), (stiff.expected, stiff.low, stiff.high), strict=True
        )
    )
    return Spread(expected, low, high)


def slow_share(chemistry: Chemistry, capacity_ah: float, steady_ohm: float) -> float:
    """The part of a resistance over hours that builds up over minutes; the rest acts at once."""
    ratio = steady_over_pulse(chemistry, 1.0).expected
    # The split comes from the 1 s pulse: what it already shows is fast, the growth beyond it is slow.
    if steady_ohm <= 0:
        return 0.0
    sound_ohm = min(steady_ohm / ratio, assumed_resistance(capacity_ah)[0])
    return max(0.0, (ratio - 1.0) * sound_ohm / steady_ohm)
