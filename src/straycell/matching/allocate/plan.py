"""Who gets which cells, what that serves and spends, and what is proven of every other plan."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from straycell.matching.allocate.read_input import Market
from straycell.matching.allocate.weights import Tier
from straycell.matching.balance.pool import Ints


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
