"""Share a stock of cells among many demands: each wholly or not at all, most weight first, then least surplus."""

import math
import time
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from straycell.matching.allocate.market import Market, market_of
from straycell.matching.allocate.partition import Planner, plan_parts
from straycell.matching.balance.pool import checked_count, checked_number, checked_resistance_ratio
from straycell.matching.verify import verify_allocation


@dataclass(frozen=True, slots=True)
class Allocation:
    """Who gets which cells, and how far that can be from the best. Capacities in ampere-hours.

    `assignment` holds offer positions for each demand, empty where it is not served; under a resistance ratio each
    run of `parallel` cells in it is a legal group. `bound_weight` is at least the weight any plan serves,
    `bound_surplus_ah` at most the surplus of any plan that serves this weight; a gap is the distance between
    the two as a share of the larger (0.0 is proven best; weights count to nine digits).
    """

    assignment: list[list[int]]
    served: list[bool]
    weight: float
    surplus_ah: float
    bound_weight: float
    bound_surplus_ah: float
    gap_weight: float
    gap_surplus: float
    stopped_early: bool


def allocate_cells(
    offers: Sequence[Mapping[str, Any] | Any],
    demands: Sequence[Mapping[str, Any] | Any],
    *,
    resistance_ratio: float | None = None,
    seconds: float = 10.0,
    seed: int = 0,
) -> Allocation:
    """Serve the demands of most weight with cells that meet their limits, spending the least surplus of capacity.

    Offers and demands are mappings or objects with the fields of the interface; a demand needs
    series x parallel x packs cells of one of its kinds. With `resistance_ratio` they can be split into groups of
    `parallel` within that ratio. The work is bounded by turns; `seconds` only stops it, reported as
    `stopped_early`. Raises BadData or UsageFault for figures that cannot be taken.
    """
    ratio = None if resistance_ratio is None else checked_resistance_ratio(resistance_ratio)
    deadline = time.monotonic() + checked_number(seconds, "seconds", 0.0)
    market = market_of(offers, demands)
    seed = checked_count(seed, "seed", 0)
    parts = plan_parts(market, ratio, deadline, seed)
    allocation = joined(market, parts)
    # The optimiser is not believed: every plan goes through a check that shares no code with it (verify.py).
    verify_allocation(allocation.assignment, offers, demands, ratio)
    return allocation


def joined(market: Market, parts: Sequence[Planner]) -> Allocation:
    """Join the parts, which have no kind in common, into one answer."""
    given = {demand: cells for part in parts for demand, cells in part.best.assignment.items()}
    assignment = [given.get(demand, []) for demand in range(len(market.demands))]
    served = [bool(cells) for cells in assignment]
    # fsum, because weights span many orders of magnitude and a plain sum would lose the small ones.
    weight = math.fsum(asked.weight for asked, yes in zip(market.demands, served, strict=True) if yes)
    unproven = math.fsum(part.best.missing_weight(part.tiers) for part in parts)
    surplus = sum(part.best.surplus for part in parts) / market.steps_per_ah
    least = sum(part.best.surplus_bound for part in parts) / market.steps_per_ah
    return Allocation(
        assignment,
        served,
        weight,
        surplus,
        # What is not proven out of reach may still be had, so it belongs into the bound.
        weight + unproven,
        least,
        share(unproven, weight + unproven),
        share(surplus - least, surplus),
        any(part.stopped_early for part in parts),
    )


def share(distance: float, whole: float) -> float:
    """A distance as a share of the larger figure, 0.0 where there is none."""
    return distance / whole if distance > 0 else 0.0
