"""Which cells are balanced together within which ratio of resistances: the vaguer they are, the less of it is left."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

from straycell.matching.pack.kinds import ANY_RATIO
from straycell.matching.screen.candidates import Candidate
from straycell.matching.screen.shared import Screen

# A cell whose resistance is known to no better than a band's share is balanced within a ratio that leaves room for it.
VAGUENESS = (0.0, 0.005, 0.01, 0.02, 0.03, 0.05, 0.08, 0.12, 0.2, 0.3)


def pools_of(screen: Screen, cells: Sequence[Candidate]) -> Iterator[tuple[list[Candidate], float]]:
    """Cells with the ratio they are balanced within: the vaguer their resistances, the less of it is left."""
    if screen.demand.parallel == 1:
        yield list(cells), ANY_RATIO
        return
    for ratio, vague in vagueness_bands(cells, screen.limits.resistance_ratio):
        pool = [c for c in cells if c.code not in vague]
        # The most cells first: what they cannot do within what is left of the ratio, surer ones may.
        if len(pool) >= screen.demand.cells:
            yield pool, ratio


def vagueness_bands(
    cells: Sequence[Candidate], limit: float, only: float | None = None
) -> Iterator[tuple[float, frozenset[str]]]:
    """(the ratio that a band of vagueness leaves, the codes of cells vaguer than it), the most cells first.

    With `only`, the band that leaves this ratio and no other.
    """
    found: dict[int, tuple[float, frozenset[str]]] = {}
    for share in VAGUENESS:
        vague = frozenset(c.code for c in cells if _vagueness(c) > share + 1e-12)
        ratio = limit / (1.0 + math.sqrt(2.0) * share)
        if only is None and ratio >= 1.0:
            found.setdefault(len(vague), (ratio, vague))
        elif ratio == only:
            found[0] = (ratio, vague)
    yield from reversed(found.values())


def _vagueness(c: Candidate) -> float:
    """U over the resistance."""
    figure = c.resistance
    if figure is None or (figure.value <= 0 and figure.u > 0):
        return math.inf
    return 2.0 * figure.u / figure.value if figure.value > 0 else 0.0
