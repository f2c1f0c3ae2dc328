"""Offers and demands as the caller gives them, read and checked once."""

from __future__ import annotations

import math
from collections.abc import Collection, Hashable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from straycell.errors import BadData
from straycell.matching.balance.pool import (
    LARGEST_CAPACITY_AH,
    Floats,
    Ints,
    checked_count,
    checked_figures,
    steps_per_ah_of,
)

Kind = Hashable
MISSING = object()


@dataclass(frozen=True, slots=True)
class Demand:
    """What one project asks of every cell, how many it needs, and what serving it is worth."""

    kinds: tuple[Kind, ...]
    series: int
    parallel: int
    packs: int
    min_capacity_ah: float
    max_resistance_ohm: float
    min_rank: float
    weight: float

    @property
    def groups(self) -> int:
        return self.series * self.packs

    @property
    def cells(self) -> int:
        return self.groups * self.parallel


@dataclass(frozen=True, slots=True)
class Market:
    """All offers as columns and all demands; capacities also in whole steps of 1 / `steps_per_ah` Ah."""

    kinds: list[Kind]
    capacity_ah: Floats
    capacity: Ints
    resistance: Floats
    rank: Floats
    demands: list[Demand]
    minimum: Ints
    steps_per_ah: int


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
    return Market(
        kinds,
        np.array(capacities, dtype=np.float64),
        np.rint(np.array(capacities, dtype=np.float64) * steps).astype(np.int64),
        np.array(ohms, dtype=np.float64),
        np.array(ranks, dtype=np.float64),
        read,
        np.rint(np.array(minima, dtype=np.float64) * steps).astype(np.int64),
        steps,
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
    """One demand; no limit of resistance or rank where none is given."""
    most = field(item, "max_resistance_ohm", where, None)
    rank = field(item, "min_rank", where, None)
    return Demand(
        kinds=kinds_of(field(item, "kind", where), where, known),
        series=checked_count(field(item, "series", where), f"{where} series"),
        parallel=checked_count(field(item, "parallel", where), f"{where} parallel"),
        packs=checked_count(field(item, "packs", where, 1), f"{where} packs"),
        min_capacity_ah=number(field(item, "min_capacity_ah", where), f"{where} min_capacity_ah", 0.0),
        # No limit given is not a limit: infinity compares rightly with every cell.
        max_resistance_ohm=math.inf if most is None else ceiling(most, f"{where} max_resistance_ohm"),
        min_rank=-math.inf if rank is None else number(rank, f"{where} min_rank"),
        weight=number(field(item, "weight", where, 1), f"{where} weight", 0.0),
    )


def number(value: Any, name: str, least: float = -math.inf) -> float:
    """A finite number of at least `least`. Raises BadData."""
    try:
        figure = float(value)
    except (TypeError, ValueError):
        figure = math.nan
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
