"""Offers and demands as the caller gives them, and the plan: who gets which cells, what that serves, what is proven of others.

Weights are whole numbers in tiers: where a weight outweighs all smaller ones together, they are served in turn. That
keeps priorities exact (one of 1,000,000 beside others of 1), where one sum in floating point would not.
"""

import math
from collections.abc import Collection, Hashable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from math import gcd, lcm
from typing import Any

import numpy as np

from straycell.errors import BadData
from straycell.matching.balance.pool import (
    LARGEST_CAPACITY_AH,
    Bools,
    Floats,
    Ints,
    as_number,
    checked_count,
    checked_figures,
    steps_per_ah_of,
)

# Sums up to this many units stay whole in the solver's floating point; finer weights are rounded to it.
LARGEST_WHOLE = 10**9
Kind = Hashable
MISSING = object()


@dataclass(frozen=True, slots=True)
class Demand:
    """How many cells one project needs, and what serving it is worth; which cells it may have is in `Market.fits`."""

    kinds: tuple[Kind, ...]
    series: int
    parallel: int
    packs: int
    min_capacity_ah: float
    weight: float

    @property
    def groups(self) -> int:
        return self.series * self.packs

    @property
    def cells(self) -> int:
        return self.groups * self.parallel


@dataclass(frozen=True, slots=True)
class Market:
    """All offers as columns and all demands, capacities in whole steps of 1 / `steps_per_ah` Ah.

    `fits[d, o]` says whether offer o is within what demand d asks of a cell, of whatever kind it is; `of_kind` which
    offers are of a kind that somebody accepts.
    """

    kinds: list[Kind]
    capacity: Ints
    resistance: Floats
    demands: list[Demand]
    minimum: Ints
    steps_per_ah: int
    fits: Bools
    of_kind: dict[Kind, Bools]


def market_of(offers: Sequence[Any], demands: Sequence[Any]) -> Market:
    """Read both lists. Raises BadData or UsageFault naming the first figure that cannot be taken."""
    kinds = [
        plain_kind(field(offer, "kind", f"offers[{i}]"), f"offers[{i}]") for i, offer in enumerate(offers)
    ]
    capacities = checked_figures(column(offers, "capacity_ah"), "capacity_ah", LARGEST_CAPACITY_AH)
    ohms = checked_figures(column(offers, "resistance_ohm"), "resistance_ohm", math.inf)
    ranks = [number(rank, f"offers[{i}] rank") for i, rank in enumerate(column(offers, "rank"))]
    known = set(kinds)
    read = [demand_of(demand, f"demands[{i}]", known) for i, demand in enumerate(demands)]
    minima = [demand.min_capacity_ah for demand in read]
    # Steps that fit both stock and needs, so that comparisons in whole steps are exact.
    steps = steps_per_ah_of([*capacities, *minima])
    figures = np.array([capacities, ohms, ranks], dtype=np.float64)
    fits = [fits_of(demand, f"demands[{i}]", figures) for i, demand in enumerate(demands)]
    return Market(
        kinds,
        np.rint(figures[0] * steps).astype(np.int64),
        figures[1],
        read,
        np.rint(np.array(minima, dtype=np.float64) * steps).astype(np.int64),
        steps,
        np.array(fits, dtype=np.bool_).reshape(len(read), len(kinds)),
        {k: np.array([one == k for one in kinds], dtype=np.bool_) for demand in read for k in demand.kinds},
    )


def column(items: Sequence[Any], name: str) -> list[Any]:
    return [field(item, name, f"offers[{index}]") for index, item in enumerate(items)]


def field(item: Any, name: str, where: str, default: Any = MISSING) -> Any:
    """A field of a mapping or an attribute of an object. Raises BadData where there is none."""
    value = item.get(name, MISSING) if isinstance(item, Mapping) else getattr(item, name, MISSING)
    if value is MISSING:
        value = default
    if value is MISSING:
        raise BadData(f"{where} has no {name}", f"give every offer and demand its {name}")
    return value


def demand_of(item: Any, where: str, known: Collection[Kind]) -> Demand:
    """One demand, without what it asks of a cell."""
    return Demand(
        kinds=kinds_of(field(item, "kind", where), where, known),
        series=checked_count(field(item, "series", where), f"{where} series"),
        parallel=checked_count(field(item, "parallel", where), f"{where} parallel"),
        packs=checked_count(field(item, "packs", where, 1), f"{where} packs"),
        min_capacity_ah=number(field(item, "min_capacity_ah", where), f"{where} min_capacity_ah", 0.0),
        weight=number(field(item, "weight", where, 1), f"{where} weight", 0.0),
    )


def fits_of(item: Any, where: str, figures: Floats) -> Bools:
    """Which offers (rows: capacity, resistance, rank) a demand's limits and its list of `cells` let in, where given."""
    most, rank, cells = (
        field(item, name, where, None) for name in ("max_resistance_ohm", "min_rank", "cells")
    )
    capacity_ah, ohm, ranks = figures
    fits: Bools = capacity_ah >= float(field(item, "min_capacity_ah", where))
    if most is not None:
        fits &= ohm <= ceiling(most, f"{where} max_resistance_ohm")
    if rank is not None:
        fits &= ranks >= number(rank, f"{where} min_rank")
    if cells is not None:
        # A caller whose tests know more than three limits says itself which cells pass them.
        fits &= np.isin(np.arange(len(fits)), list(cells))
    return fits


def number(value: Any, name: str, least: float = -math.inf) -> float:
    """A finite number of at least `least`. Raises BadData."""
    figure = as_number(value)
    if not (math.isfinite(figure) and figure >= least):
        raise BadData(
            f"{name} is {value!r}", "give a finite number" + (", not negative" if least == 0 else "")
        )
    return figure


def ceiling(value: Any, name: str) -> float:
    """An upper limit, which may be infinite. Raises BadData."""
    return math.inf if value == math.inf else number(value, name, 0.0)


def plain_kind(kind: Any, where: str) -> Kind:
    """A kind that can be compared; a list stands for the tuple of its items."""
    kind = tuple(kind) if isinstance(kind, list) else kind
    try:
        hash(kind)
    except TypeError:
        raise BadData(f"{where} kind is {kind!r}", "give a word, or a pair of words") from None
    return kind  # type: ignore[no-any-return]


def kinds_of(kind: Any, where: str, known: Collection[Kind]) -> tuple[Kind, ...]:
    """The kinds a demand may be served with. A tuple is one kind where offers have it or kinds like it."""
    # A tuple may be one kind or a list of kinds; what the offers hold decides.
    if isinstance(kind, tuple):
        pairs = any(isinstance(one, tuple) for one in known)
        single = kind in known or (pairs and not any(isinstance(part, tuple) for part in kind))
    else:
        single = isinstance(kind, str) or not isinstance(kind, Collection)
    if single:
        return (plain_kind(kind, where),)
    listed = [plain_kind(one, where) for one in kind]
    if not listed:
        raise BadData(f"{where} accepts no kind", "name at least one kind")
    # Sorted, because a set has another order in every run and equal plans would differ.
    return tuple(sorted(set(listed), key=repr))


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
