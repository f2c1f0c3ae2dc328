"""Weights as whole numbers in tiers: where a weight outweighs all smaller ones together, they are served in turn.

That keeps priorities exact (a priority of weight 1,000,000 beside others of weight 1), where one sum in floating
point would not.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from math import gcd, lcm

import numpy as np

from straycell.matching.balance.pool import Floats

# Sums up to this many units stay whole in the solver's floating point; finer weights are rounded to it.
LARGEST_WHOLE = 10**9


@dataclass(frozen=True, slots=True)
class Tier:
    """Whole worth of each demand in this tier, in units of `unit` of the weights as given."""

    worth: dict[int, int]
    unit: float

    def weights(self, demands: Iterable[int]) -> Floats:
        """What each of these demands gives to this tier."""
        return np.array([self.worth.get(demand, 0) for demand in demands], dtype=np.float64)


def tiers_of(weights: Mapping[int, float]) -> list[Tier]:
    """Demands with a positive weight in tiers, the heaviest first."""
    # Through the decimal text: 0.1 is meant as a tenth and not as its binary neighbour.
    exact = {i: Fraction(Decimal(repr(weight))) for i, weight in weights.items() if weight > 0}
    common = lcm(*(weight.denominator for weight in exact.values())) if exact else 1
    whole = {i: int(weight * common) for i, weight in exact.items()}
    heaviest_first = sorted(whole, key=lambda i: (-whole[i], i))
    rest = sum(whole.values())
    tiers: list[Tier] = []
    current: list[int] = []
    divisor = 0
    for place, demand in enumerate(heaviest_first):
        current.append(demand)
        divisor = gcd(divisor, whole[demand])
        rest -= whole[demand]
        last = place + 1 == len(heaviest_first)
        # Only where the smallest unit outweighs all that follow can the tier be settled before them.
        if last or (divisor > rest and whole[heaviest_first[place + 1]] < whole[demand]):
            tiers.append(tier_of({i: whole[i] // divisor for i in current}, Fraction(divisor, common)))
            current, divisor = [], 0
    return tiers


def tier_of(worth: dict[int, int], unit: Fraction) -> Tier:
    """A tier whose numbers a solver can add without losing any."""
    total = sum(worth.values())
    if total <= LARGEST_WHOLE:
        return Tier(worth, float(unit))
    smaller = Fraction(total, LARGEST_WHOLE)
    return Tier({i: max(1, round(one / smaller)) for i, one in worth.items()}, float(unit * smaller))
