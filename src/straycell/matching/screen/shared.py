"""What all tests of one match share: the demand, the limits, the time, and what was worked out before."""

from __future__ import annotations

from collections.abc import Hashable
from dataclasses import dataclass, field
from datetime import datetime

from straycell.cells import Chemistry
from straycell.matching.screen.demand import Demand
from straycell.matching.screen.limits import UseLimits


@dataclass(frozen=True, slots=True)
class Screen:
    """One match of one demand. `known` keeps answers that many cells share; it changes no answer."""

    demand: Demand
    limits: UseLimits
    now: datetime
    known: dict[Hashable, object] = field(default_factory=dict, compare=False, repr=False)

    @property
    def joined(self) -> bool:
        """True where the cell works beside others."""
        return self.demand.cells > 1

    def steady_a(self, chemistry: Chemistry) -> float:
        """Largest steady current in A of one cell of this chemistry."""
        return self._once("steady", chemistry, self.demand.steady_a)

    def peak_a(self, chemistry: Chemistry) -> float:
        """Largest current in A of one cell over a short time."""
        return self._once("peak", chemistry, self.demand.peak_a)

    def dip_a(self, chemistry: Chemistry) -> float:
        """What a peak adds in A to the current that the run time of a cell counts; 0 where it adds nothing."""
        return max(0.0, self.peak_a(chemistry) - self._once("counted", chemistry, self.demand.counted_a))

    def _once(self, what: str, chemistry: Chemistry, work: object) -> float:
        key = (what, chemistry)
        if key not in self.known:
            self.known[key] = work(chemistry, self.limits)  # type: ignore[operator]
        return self.known[key]  # type: ignore[return-value]
