"""What a cell's own d.c. pulses say beside one resistance: how the cold stiffens it, and how slowly charge moves in it.

Two pulses of one length at two temperatures give its own stiffening, in the place of the published sets' spread.
Two of one temperature, of 1 s and about 30 s, tell a cell whose diffusion ends a fast run from one whose does not.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from straycell.physics.derating import REFERENCE_C, Spread, inverse_kelvin, relative, resistance_ratio
from straycell.physics.shipped import shipped
from straycell.quantities import Measured


@dataclass(frozen=True, slots=True)
class Pulse:
    """A resistance in ohm, `seconds` after a steady current began, and the temperature in degC it was taken at."""

    resistance: Measured
    seconds: float
    temperature_c: float


@dataclass(frozen=True, slots=True)
class Resisting:
    """What is known of a cell's resistance: `base` in ohm with its pulse length and temperature, and all its pulses."""

    base: Measured
    seconds: float = 1.0
    temperature_c: float = REFERENCE_C
    pulses: tuple[Pulse, ...] = ()

    def ratio(self, temperature_c: float) -> Spread:
        """Resistance at a temperature over `base`: by its own pulses, else by the published sets."""
        return self.seen(temperature_c) or relative(resistance_ratio, temperature_c, self.temperature_c)

    def seen(self, temperature_c: float) -> Spread | None:
        """The same by two of its own pulses; None without them.

        Between the two an Arrhenius line through both; beyond the colder one the spread of the sets goes on.
        """
        figures = shipped("polarisation")["own_pulses"]
        others = [
            p
            for p in self.pulses
            if abs(p.seconds - self.seconds) <= figures["same_length"] * self.seconds
            and abs(counted_c(p.temperature_c) - self.temperature_c) >= figures["apart_k"]
            and p.resistance.value > 0 < self.base.value
        ]
        if not others:
            return None
        # The nearest to where the device works: the shortest way to go by what other cells did.
        own = min(others, key=lambda p: abs(p.temperature_c - temperature_c))
        # Warmer counts as 25 degC, as for cells without a pulse of their own.
        now, known, base = (
            inverse_kelvin(min(c, REFERENCE_C))
            for c in (temperature_c, counted_c(own.temperature_c), self.temperature_c)
        )
        way = (now - base) / (known - base)
        if way < 0.0:
            return None
        ratio = own.resistance.value / self.base.value
        u = 2.0 * math.hypot(own.resistance.u / own.resistance.value, self.base.u / self.base.value)
        expected, low, high = (max(1e-3, ratio * f) ** min(way, 1.0) for f in (1.0, 1.0 - u, 1.0 + u))
        beyond = resistance_ratio(max(temperature_c, REFERENCE_C))
        if way > 1.0:
            beyond = relative(resistance_ratio, temperature_c, own.temperature_c)
        return Spread(expected * beyond.expected, low * beyond.low, high * beyond.high)


@dataclass(frozen=True, slots=True)
class Taken:
    """How a resistance was taken: pulse length in s (0 for 1 kHz), degC where known, and all d.c. pulses that count."""

    seconds: float = 1.0
    temperature_c: float | None = None
    pulses: tuple[Pulse, ...] = ()

    def resisting(self, resistance: Measured) -> Resisting:
        """With the resistance itself, in ohm."""
        return Resisting(resistance, self.seconds, counted_c(self.temperature_c), self.pulses)


ONE_PULSE = Taken()


def counted_c(temperature_c: float | None) -> float:
    """The temperature in degC that a pulse counts at: that of the reference in a room, and where none is known."""
    if temperature_c is None or temperature_c >= shipped("polarisation")["own_pulses"]["room_c"]:
        return REFERENCE_C
    return temperature_c


def is_quick(capacity_ah: float, pulses: Sequence[Pulse]) -> bool:
    """Whether a short and a long pulse show that little builds up between them; never True without both."""
    figures = shipped("polarisation")["own_pulses"]
    short_s, long_s = figures["short_s"], figures["long_s"]
    for long in pulses:
        for short in pulses:
            near = abs(counted_c(long.temperature_c) - counted_c(short.temperature_c)) < figures["apart_k"]
            if not (near and short.seconds <= short_s and long.seconds >= long_s):
                continue
            grown = long.resistance.value - short.resistance.value
            u = math.hypot(long.resistance.u, short.resistance.u)
            # In the cold it builds up sooner, so a cold pair that is quick enough is so at room temperature too.
            if (grown + 2.0 * u) * capacity_ah <= figures["quick_ohm_ah"]:
                return True
    return False
