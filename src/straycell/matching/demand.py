"""What a project's device and charger ask of one cell, computed once for all candidates."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import accumulate

from straycell.cells import Chemistry
from straycell.matching.limits import UseLimits
from straycell.physics.loads import Profile
from straycell.projects import Project


@dataclass(frozen=True, slots=True)
class Demand:
    """The largest mean currents of a device. For a recorded profile they are means over the rules' times.

    `mean_value` and `peak_value` are the profile's own figures (A or W); None for every other load.
    """

    project: Project
    mean_value: float | None = None
    peak_value: float | None = None

    @classmethod
    def of(cls, project: Project, limits: UseLimits) -> Demand:
        """The demand of a project under these limits."""
        load = project.load
        if not isinstance(load, Profile):
            return cls(project)
        values = load.values[: len(load.durations_s)]
        mean, peak = (largest_mean(load.time_s, values, t) for t in (limits.mean_s, limits.peak_s))
        return cls(project, mean, peak)

    def stop_v(self, chemistry: Chemistry, limits: UseLimits) -> float:
        """Lowest voltage in V at which one cell of this chemistry still feeds the device."""
        own = limits.cell_cutoff_v.get(chemistry, 0.0)
        return max(own, self.project.need.cutoff_v, self.project.protection.cutoff_v or 0.0)

    def steady_a(self, chemistry: Chemistry, limits: UseLimits) -> float:
        """Largest steady current in A between full and the voltage at which the device stops."""
        low_v, high_v = self.stop_v(chemistry, limits), limits.full_v[chemistry]
        if self.mean_value is not None:
            return self._from_value(self.mean_value, low_v)
        return max(self.project.load.current_at(low_v), self.project.load.current_at(high_v))

    def peak_a(self, chemistry: Chemistry, limits: UseLimits) -> float:
        """Largest current in A over a short time, the steady one where no peak is known."""
        peak_a = max(self.steady_a(chemistry, limits), self.project.need.peak_current_a or 0.0)
        if self.peak_value is not None:
            return max(peak_a, self._from_value(self.peak_value, self.stop_v(chemistry, limits)))
        return peak_a

    def _from_value(self, value: float, voltage_v: float) -> float:
        load = self.project.load
        return value if isinstance(load, Profile) and load.current_a is not None else value / voltage_v


def largest_mean(time_s: Sequence[float], values: Sequence[float], window_s: float) -> float:
    """Largest mean of a repeated step function over any window of this length.

    `time_s` holds the start of every step and the end of the round; `values` one value a step.
    """
    period_s = time_s[-1]
    steps = zip(time_s, time_s[1:], values, strict=False)
    totals = [0.0, *accumulate((end - start) * value for start, end, value in steps)]

    def total(at_s: float) -> float:
        rounds, rest_s = divmod(at_s, period_s)
        index = min(bisect_right(time_s, rest_s) - 1, len(values) - 1)
        return rounds * totals[-1] + totals[index] + (rest_s - time_s[index]) * values[index]

    # A window of the largest mean can always be moved until it starts or ends where a step does.
    starts = (s for edge in time_s[:-1] for s in (edge, edge - window_s))
    return max(total(start + window_s) - total(start) for start in starts) / window_s
