"""What a device draws from one cell at most, steadily and in peaks, and how far a peak pulls the voltage down."""

from __future__ import annotations

from dataclasses import dataclass

from straycell.cli.show.cell_sheet import OneCell
from straycell.matching import UseLimits
from straycell.matching.screen.demand import drawn_between
from straycell.matching.screen.running import peak_growth
from straycell.physics.loads import Load
from straycell.physics.run_time.doubts import known_resistance
from straycell.quantities import Dimension, show
from straycell.safe_side import at_least


@dataclass(frozen=True, slots=True)
class Draw:
    """Largest currents in A: over a minute, and over the two seconds of a peak; `dip_v` (V) is lost at the peak.

    The run goes on until the voltage has fallen to `dip_v` above the device's and the protection's cut-off.
    """

    steady_a: float
    peak_a: float
    dip_v: float = 0.0

    def notes(self, until_v: float) -> list[str]:
        """What a peak does, in words."""
        if self.dip_v <= 0:
            return []
        # The person sets a cut-off; the resting voltage at which it is reached is what a meter shows.
        steady_v = show(until_v + self.dip_v, Dimension.VOLTAGE)
        return [
            f"a peak of {at_least(self.peak_a, Dimension.CURRENT)} pulls the voltage up to "
            f"{at_least(self.dip_v, Dimension.VOLTAGE)} further down: the device stops when it is at {steady_v} "
            "between the peaks"
        ]


def draw_of(
    one: OneCell, load: Load, stop_v: float, temperature_c: float, device_peak_a: float | None
) -> Draw:
    """What this load draws between full and `stop_v`; `device_peak_a` (A) are peaks beyond the load itself."""
    limits = UseLimits.from_rules(one.rules)
    steady_a, peak_a, base_a = drawn_between(load, limits, stop_v, one.full_v)
    # A peak inside the load is in its current already; counted again it would cost the cell twice.
    if device_peak_a is None or device_peak_a <= base_a:
        return Draw(steady_a, peak_a)
    dip_v = (device_peak_a - base_a) * _peak_ohm(one, limits, temperature_c)
    return Draw(steady_a, device_peak_a, dip_v)


def _peak_ohm(one: OneCell, limits: UseLimits, temperature_c: float) -> float:
    """The resistance in ohm to reckon with at a peak: R + U at its length, cold and nearly empty, as in a match."""
    resistance, _ = known_resistance(one.capacity, one.candidate.resistance)
    grown = peak_growth(one.facts.chemistry, one.candidate.pulse_s, limits.peak_s, temperature_c)
    # The high end: a promise of hours must hold for the worst resistance that fits the readings.
    return resistance.high * grown
