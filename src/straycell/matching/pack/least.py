"""The least that cells of a pool must hold to last, and the proof that no choice of them does."""

import math
from collections.abc import Callable, Sequence
from dataclasses import replace
from statistics import median

from straycell.cells import Chemistry
from straycell.matching.screen import Candidate, Screen, lasts, runs, usable
from straycell.quantities import Measured

LEAST_AH, MOST_AH = 1e-3, 400.0
"""Where a sufficient capacity is looked for: from coin cells to the largest prismatic cells, nothing else is one cell."""


def too_weak(screen: Screen, cells: Sequence[Candidate]) -> bool:
    """Proof that no choice lasts: not even a group of the mean of the best cells, each as sure and as low in resistance
    as any, does; the weakest group of any pack is weaker than that."""
    count = screen.demand.cells
    best = sorted((c.capacity.value for c in cells if c.capacity), reverse=True)[:count]
    vague = min(c.capacity.u for c in cells if c.capacity)
    ohms = [max(0.0, c.resistance.low) for c in cells if c.resistance is not None]
    ideal = replace(
        cells[0],
        code="",
        capacity=Measured(math.fsum(best) / count, vague),
        resistance=Measured(min(ohms, default=0.0), 0.0),
        own_trace=None,
        # Taken at more current, or down to a higher voltage, the same figure leaves more to give.
        capacity_current_a=max((c.capacity_current_a for c in cells if c.capacity_current_a), default=None),
        capacity_cutoff_v=max((c.capacity_cutoff_v for c in cells if c.capacity_cutoff_v), default=None),
    )
    traced = screen.demand.parallel == 1 and any(c.own_trace for c in cells)
    return not traced and not lasts(screen, runs(screen, [ideal])[0])


def least_capacity(screen: Screen, pool: Sequence[Candidate]) -> float:
    """Least capacity in Ah, to 0.2 %, of cells of this pool's usual resistance that last; infinite where none does."""
    share, resistance = _usual(pool)
    usual = replace(
        pool[len(pool) // 2], code="", resistance=resistance, own_trace=None, capacity_current_a=None
    )

    def enough(capacity_ah: float) -> bool:
        asked = replace(usual, capacity=Measured(capacity_ah, share * capacity_ah))
        return lasts(screen, runs(screen, [asked])[0])

    chemistry = usual.facts.chemistry
    return bisected(enough, screen.steady_a(chemistry) * screen.demand.project.need.runtime_h, 1.002)


def _usual(pool: Sequence[Candidate]) -> tuple[float, Measured]:
    """(usual uncertainty as a share of the capacity, usual resistance) of a pool."""
    vague = median(c.capacity.u / c.capacity.value for c in pool if c.capacity and c.capacity.value > 0)
    known = [c.resistance for c in pool if c.resistance is not None]
    return vague, Measured(median(r.value for r in known), median(r.u for r in known))


def least_fitting(screen: Screen, chemistry: Chemistry, made: Callable[[float], Candidate]) -> float:
    """Least capacity in Ah, to 1 %, of a cell `made` with it that passes every test; infinite where none does."""
    first_ah = screen.steady_a(chemistry) * screen.demand.project.need.runtime_h

    def fits(capacity_ah: float) -> bool:
        # The run time last: it takes a hundred times as long as all other tests, and most often a charger forbids it.
        cell = made(capacity_ah)
        return any(usable(screen, [cell])) and lasts(screen, runs(screen, [cell])[0])

    found_ah = bisected(fits, first_ah, 1.01)
    # Half a per cent up: three figures must not round to less than what is enough.
    return float(f"{found_ah * 1.005:.3g}")


def bisected(enough: Callable[[float], bool], first_guess_ah: float, precision: float) -> float:
    """The least figure that is enough, rounded up within `precision`; infinite where even the most is not."""
    high_ah = min(MOST_AH, max(LEAST_AH, 1.3 * first_guess_ah))
    low_ah = high_ah / 2.0
    while not enough(high_ah):
        if high_ah >= MOST_AH:
            return math.inf
        low_ah, high_ah = high_ah, min(MOST_AH, 2.0 * high_ah)
    while low_ah > LEAST_AH and enough(low_ah):
        low_ah, high_ah = low_ah / 2.0, low_ah
    while high_ah > precision * low_ah:
        middle_ah = math.sqrt(low_ah * high_ah)
        low_ah, high_ah = (low_ah, middle_ah) if enough(middle_ah) else (middle_ah, high_ah)
    return high_ah
