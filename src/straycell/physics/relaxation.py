"""A cell's voltage over seconds and minutes: a fast resistance, and a slow one that builds up (Thevenin)."""

from __future__ import annotations

import math
from dataclasses import dataclass


def approach(state: float, target: float, seconds: float, tau_s: float) -> float:
    """First-order step response: from `state` towards `target` with the time constant `tau_s`, exact."""
    # The exact solution, not Euler: steps of a profile may be much longer than the time constant.
    return target + (state - target) * math.exp(-seconds / tau_s)


@dataclass(frozen=True, slots=True)
class Thevenin:
    """`fast_ohm` at once, `slow_ohm` with the time constant `tau_s` in s (R1 x C1)."""

    fast_ohm: float
    slow_ohm: float
    tau_s: float

    def drop(self, current_a: float, seconds: float, slow_a: float = 0.0) -> float:
        """Voltage drop in V after `seconds` of `current_a`; `slow_a` is the slow branch's current before."""
        return self.fast_ohm * current_a + self.slow_ohm * approach(slow_a, current_a, seconds, self.tau_s)

    def pulse_resistance(
        self, seconds: float, *, slope_v: float = 0.0, capacity_ah: float = math.inf
    ) -> float:
        """Apparent resistance in ohm of a pulse from rest, with the fall of the emf (`slope_v` per full charge)."""
        # Over a long pulse the emf itself falls, and a meter cannot tell that from resistance.
        return self.drop(1.0, seconds) + slope_v * seconds / 3600.0 / capacity_ah
