"""What is not known exactly about a cell: one expected choice, and one for each doubt to either side."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Generic, TypeVar

from straycell.cells import Chemistry
from straycell.physics.derating import (
    REFERENCE_C,
    Spread,
    assumed_resistance,
    capacity_ratio,
    lag_h,
    lag_ratio,
    own_heat_k,
    relative,
    resistance_ratio,
    steady_over_pulse,
)
from straycell.physics.own_pulses import Resisting, is_quick
from straycell.quantities import Measured

if TYPE_CHECKING:
    from straycell.physics.many.draw import Floats

ASSUMED_NOTE = "resistance not measured: a usual one for this capacity is assumed"
DOUBTS = ("capacity", "resistance", "lag", "cold", "stiff")
Figure = TypeVar("Figure", float, "Floats")
"""A figure of one cell, or an array of those of many cells beside each other: one set of equations serves both."""


@dataclass(frozen=True, slots=True)
class Assumed(Generic[Figure]):
    """One choice of everything that is not known exactly; ratios are those of the temperature."""

    capacity_ah: Figure
    steady_ohm: Figure
    lag_h: Figure | float
    capacity_ratio: Figure | float
    resistance_ratio: Figure
    lag_ratio: Figure | float


@dataclass(frozen=True, slots=True)
class Known(Generic[Figure]):
    """What was measured at 25 degC, in Ah and ohm, with standard uncertainties; `sound_ohm` is what a sound cell has of it."""

    capacity_ah: Figure
    capacity_u: Figure
    pulse_ohm: Figure
    pulse_u: Figure
    sound_ohm: Figure

    def steady_ohm(self, steady: Spread) -> Figure:
        """The resistance over hours."""
        # A worn cell's extra resistance sits in contact and film, which show at once in a pulse: only the sound part
        # grows.
        return self.pulse_ohm + (steady.expected - 1.0) * self.sound_ohm


@dataclass(frozen=True, slots=True)
class Sets:
    """What the published sets say of a chemistry, a length of pulse and a temperature."""

    steady: Spread
    lag: Spread
    cold_q: Spread
    cold_lag: Spread

    @classmethod
    def of(
        cls, chemistry: Chemistry, pulse_s: float, temperature_c: float, known_c: float, quick: bool = False
    ) -> Sets:
        """`known_c` is the temperature in degC at which the cell itself was measured."""
        return cls(
            steady_over_pulse(chemistry, pulse_s, quick),
            lag_h(chemistry, quick),
            relative(capacity_ratio, temperature_c, known_c),
            relative(lag_ratio, temperature_c, known_c),
        )


def known_resistance(capacity: Measured, resistance: Measured | None) -> tuple[Measured, list[str]]:
    """(the resistance in ohm, notes): as measured, else what is usual for the capacity."""
    if resistance is not None:
        return resistance, []
    return Measured(*assumed_resistance(capacity.value)), [ASSUMED_NOTE]


Asked = tuple[Chemistry, Measured, Resisting, float, float | None]
"""What `cases_of` is asked."""


def cases_of(
    chemistry: Chemistry,
    capacity: Measured,
    resisting: Resisting,
    temperature_c: float,
    trace_c: float | None = None,
) -> dict[str, Assumed[float]]:
    """Expected, and one case for each thing that is not known exactly, to either side.

    `trace_c` is the temperature in degC of the own trace; the capacity was taken at 25.
    Only the resistance of a sound cell grows over hours: what a worn one has beyond it is contact and film, which
    act at once.
    """
    # Everything is set out at 25 degC, where the capacity was taken, and then carried to the working temperature.
    base_25 = resisting.ratio(REFERENCE_C).expected
    ohm, ohm_u = base_25 * resisting.base.value, base_25 * resisting.base.u
    quick = is_quick(capacity.value, resisting.pulses)
    known_c = REFERENCE_C if trace_c is None else trace_c
    sets = Sets.of(chemistry, resisting.seconds, temperature_c, known_c, quick)
    sound_ohm = min(ohm, assumed_resistance(capacity.value)[0])
    known = Known(capacity.value, capacity.u, ohm, ohm_u, sound_ohm)
    cold_r = _colder(resisting, temperature_c, trace_c, sound_ohm, known.steady_ohm(sets.steady), quick)
    return set_out(known, sets, cold_r, max)


def warmest(case: Assumed[float], asked: Asked, mean_a: float, hours: float, cells: int) -> Assumed[float]:
    """`case` as the cold and the loss of a run of `mean_a` in A over `hours` leave it at best.

    Its own heat only lengthens a run, so the high end alone is that of the warmest of a pack of `cells`.
    """
    chemistry, capacity, resisting, temperature_c, trace_c = asked
    loss_w = mean_a**2 * case.steady_ohm * case.resistance_ratio
    hot_c = temperature_c + own_heat_k(loss_w, hours, capacity.value, cells)
    hot = cases_of(chemistry, capacity, resisting, hot_c, trace_c)
    # Whether a cell keeps its charge in the cold, stiffens and warms hangs together: at best all three are its luck.
    return replace(hot["stiff+"], capacity_ratio=hot["cold+"].capacity_ratio)


def set_out(
    known: Known[Figure],
    sets: Sets,
    stiff: tuple[Figure, Figure, Figure],
    largest: Callable[[Figure, Figure], Figure],
) -> dict[str, Assumed[Figure]]:
    """The cases of one cell or of many; `stiff` is the ratio of their whole resistance: expected, low, high."""
    steady, lag, ah, sound_ohm = sets.steady, sets.lag, known.capacity_ah, known.sound_ohm
    middle_ohm = known.steady_ohm(steady)
    expected = Assumed(ah, middle_ohm, lag.expected, sets.cold_q.expected, stiff[0], sets.cold_lag.expected)
    # Reading and growth are independent, so they add in quadrature; U (2 u) keeps both at the same coverage.
    worse, better = (
        ((2.0 * known.pulse_u) ** 2 + (sound_ohm * grown) ** 2) ** 0.5
        for grown in (steady.high - steady.expected, steady.expected - steady.low)
    )
    return {
        "expected": expected,
        "capacity-": replace(expected, capacity_ah=largest(ah - 2.0 * known.capacity_u, 1e-3 * ah)),
        "capacity+": replace(expected, capacity_ah=ah + 2.0 * known.capacity_u),
        "resistance-": replace(expected, steady_ohm=middle_ohm + worse),
        "resistance+": replace(expected, steady_ohm=largest(0.0 * ah, middle_ohm - better)),
        # More lag leaves more charge behind, so the high lag is the short run.
        "lag-": replace(expected, lag_h=lag.high),
        "lag+": replace(expected, lag_h=lag.low),
        "cold-": replace(expected, capacity_ratio=sets.cold_q.low),
        "cold+": replace(expected, capacity_ratio=sets.cold_q.high),
        # Conduction and diffusion stiffen together: one cold, one electrolyte.
        "stiff-": replace(expected, resistance_ratio=stiff[2], lag_ratio=sets.cold_lag.high),
        "stiff+": replace(expected, resistance_ratio=stiff[1], lag_ratio=sets.cold_lag.low),
    }


def stiffened(
    cold: Spread, sound_ohm: Figure, pulse_ohm: Figure, steady_ohm: Figure
) -> tuple[Figure, Figure, Figure]:
    """The ratio of the whole resistance: a worn cell's contact resistance does not stiffen with the electrolyte."""
    # A cell without resistance has nothing that could stiffen, and no part of nothing is worn.
    worn = (pulse_ohm - sound_ohm) / (steady_ohm + 1e-300)
    # Film stiffens, bare contact does not, and nobody measured which it is: the middle for the worst.
    rests = ((cold.low, cold.expected), (cold.low, cold.low), (cold.expected, cold.high))
    expected, low, high = (worn * rest + (1.0 - worn) * sound for rest, sound in rests)
    return expected, low, high


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
        return Spread(*stiffened(stiff, sound_ohm, pulse_ohm, steady_ohm))
    sets = relative(resistance_ratio, temperature_c, REFERENCE_C if trace_c is None else trace_c)
    seen = _seen_stiffened(stiff, sets, min(1.0, pulse_ohm / steady_ohm))
    if quick:
        return seen
    # What builds up after the pulse is what ends such a cell in the cold: its pulse may only speak against it.
    worse = stiffened(sets, sound_ohm, pulse_ohm, steady_ohm)
    return Spread(*(max(pair) for pair in zip(seen, worse, strict=True)))


def _seen_stiffened(seen: Spread, stiff: Spread, share: float) -> Spread:
    """The ratio of the whole resistance where that of the pulse, a `share` of it, was measured: the rest as the sets."""
    return Spread(*(share * own + (1.0 - share) * rest for own, rest in zip(seen, stiff, strict=True)))


def slow_share(chemistry: Chemistry, capacity_ah: float, steady_ohm: float) -> float:
    """The part of a resistance over hours that builds up over minutes; the rest acts at once."""
    ratio = steady_over_pulse(chemistry, 1.0).expected
    # The split comes from the 1 s pulse: what it already shows is fast, the growth beyond it is slow.
    if steady_ohm <= 0:
        return 0.0
    sound_ohm = min(steady_ohm / ratio, assumed_resistance(capacity_ah)[0])
    return max(0.0, (ratio - 1.0) * sound_ohm / steady_ohm)
