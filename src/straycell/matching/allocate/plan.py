"""Who gets which cells, what that serves and spends, and what is proven of every other plan.

Weights are whole numbers in tiers: where a weight outweighs all smaller ones together, they are served in turn. That
keeps priorities exact (one of 1,000,000 beside others of 1), where one sum in floating point would not.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from math import gcd, lcm

import numpy as np

from straycell.matching.allocate.read_input import Market
from straycell.matching.balance.pool import Floats, Ints

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


@dataclass(frozen=True, slots=True)
class Plan:
    """Offer positions by demand, weights by tier, surplus in steps, with bounds.

    A tier's bound holds where all tiers before it are at theirs; the bound on surplus for plans of these weights.
    """

    assignment: dict[int, list[int]]
    weights: list[int]
    surplus: int
    weight_bounds: list[int]
    surplus_bound: int

    @property
    def goodness(self) -> tuple[list[int], int]:
        """More is better: the weights served, then less surplus."""
        return self.weights, -self.surplus

    def settled(self, close: float) -> bool:
        """Whether no plan can be better, or only by a share of the surplus."""
        return (
            self.weights == self.weight_bounds and self.surplus - self.surplus_bound <= close * self.surplus
        )

    def missing_weight(self, tiers: Sequence[Tier]) -> float:
        """Weight that is not proven out of reach. After a tier that is not proven all of the lower ones counts."""
        total, proven = 0.0, True
        for tier, weight, bound in zip(tiers, self.weights, self.weight_bounds, strict=True):
            most = bound if proven else sum(tier.worth.values())
            total += max(0, most - weight) * tier.unit
            proven = proven and bound == weight
        return total


def plan_of(
    market: Market,
    tiers: Sequence[Tier],
    given: Mapping[int, Sequence[int] | Ints],
    weight_bounds: Sequence[int],
    surplus_bound: int,
) -> Plan:
    """The plan of these cells. In order of resistance, so that runs of `parallel` are the groups that verify.py expects."""
    assignment: dict[int, list[int]] = {}
    surplus = 0
    for demand, held in sorted(given.items()):
        cells = np.asarray(held, dtype=np.int64)
        assignment[demand] = cells[np.lexsort((cells, market.resistance[cells]))].tolist()
        surplus += int(market.capacity[cells].sum()) - int(market.minimum[demand]) * len(cells)
    weights = [sum(tier.worth.get(demand, 0) for demand in given) for tier in tiers]
    return Plan(assignment, weights, surplus, list(weight_bounds), min(surplus_bound, surplus))
