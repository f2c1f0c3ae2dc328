"""All pending projects as one question to the optimiser: which cells each may take, and what serving it is worth."""

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date

from straycell.matching.pack.kinds import PackKind, by_kind, least_capacity
from straycell.matching.screen import Candidate, Screen, Screened
from straycell.projects import Project
from straycell.quantities import Measured

# Two mAh, far less than a tester's error, so that rounding shuts no cell out of a bound.
DUST_AH = 0.002


@dataclass(frozen=True, slots=True)
class Wish:
    """One project in one shape, with every cell's way through its tests."""

    project: Project
    screen: Screen
    screened: Mapping[str, Screened]

    @property
    def shape(self) -> tuple[int, int]:
        return self.screen.demand.series, self.screen.demand.parallel

    @property
    def fitting(self) -> frozenset[str]:
        """Cells that would do, in a pack among cells like them."""
        return frozenset(code for code, s in self.screened.items() if s.fits)

    @property
    def helping(self) -> frozenset[str]:
        """Cells that any plan could use: a weak one may be in a group beside the strongest of its kind."""
        if self.shape[1] == 1:
            return self.fitting
        ran = [s.candidate for s in self.screened.values() if s.run is not None]
        found = set(self.fitting)
        for members in by_kind(ran).values():
            # A lower bound needs the best partner that could be there, not the one that is.
            strongest_ah = max(c.capacity.value for c in members if c.capacity)
            surest = [_surest(c, members) for c in members[:1]]
            group_ah = self.shape[1] * least_capacity(self.screen, surest)
            weakest_ah = group_ah - (self.shape[1] - 1) * strongest_ah
            found |= {c.code for c in members if c.capacity and c.capacity.value >= weakest_ah - DUST_AH}
        return frozenset(found)


def _surest(c: Candidate, members: Sequence[Candidate]) -> Candidate:
    """A cell with the lowest resistance and the least doubt that any of its kind has."""
    # The lowest figure of each, though no one cell may have them all: for a bound only.
    share = min(m.capacity.u / m.capacity.value for m in members if m.capacity)
    ohm = min(max(0.0, m.resistance.low) for m in members if m.resistance)
    return replace(c, capacity=Measured(1.0, share), resistance=Measured(ohm, 0.0))


def offers_of(cells: Sequence[Candidate]) -> list[dict[str, object]]:
    """What the optimiser must know of each cell: its figures, and the kind that a pack takes all its cells of."""
    return [
        {
            "kind": PackKind.of(c),
            "capacity_ah": c.capacity.value if c.capacity else 0.0,
            "resistance_ohm": c.resistance.value if c.resistance else 0.0,
            "rank": int(c.outcome),
        }
        for c in cells
    ]


def demand_of(
    wish: Wish, cells: Sequence[Candidate], codes: Collection[str], weight: float
) -> dict[str, object]:
    """What the optimiser must know of a project that may have the cells of these codes."""
    places = [k for k, c in enumerate(cells) if c.code in codes]
    allowed = [cells[k] for k in places]
    return {
        # A kind that no offer has: the demand stays in its place of the list and cannot be served.
        "kind": sorted({PackKind.of(c) for c in allowed}) or [("none",)],
        "series": wish.shape[0],
        "parallel": wish.shape[1],
        # Surplus is counted from the least cell that would do.
        "min_capacity_ah": min((c.capacity.value for c in allowed if c.capacity), default=0.0),
        "cells": places,
        "weight": weight,
    }


def worths(projects: Sequence[Project]) -> dict[str, float]:
    """What serving each project is worth: one of a better priority outweighs all of lesser ones together.

    Within a priority each further project outweighs every gain of due dates, of which the earlier count for more.
    """
    found: dict[str, float] = {}
    lesser, scale = 0, 1
    for priority in sorted({p.priority for p in projects}, reverse=True):
        level = [p for p in projects if p.priority == priority]
        days = sorted({_due(p) for p in level})
        unit = len(level) * (len(days) + 1)
        # A power of two keeps every weight exact in floating point.
        while scale <= lesser:
            scale *= 2
        for p in level:
            weight = scale * (unit + len(days) - days.index(_due(p)))
            found[p.name] = float(weight)
            lesser += weight
    return found


def _due(project: Project) -> date:
    return project.due or date.max


def in_order(projects: Iterable[Project]) -> list[Project]:
    """The most urgent first."""
    return sorted(projects, key=lambda p: (p.priority, _due(p), p.name))
