"""Which cells are alike enough to be joined, and within which ratio of resistances those known vaguely are balanced."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field

from straycell.matching.screen import Candidate, Screen
from straycell.matching.words import capacity

ANY_RATIO = 1e9


@dataclass(frozen=True, slots=True, order=True)
class PackKind:
    """Cells of one kind may be joined. Resistances of different methods or pulse lengths are never compared.

    Where the marking (`written` as on the cell) is not known the rated capacity stands in for it: unmarked
    cells go only with unmarked ones.
    """

    chemistry: str
    form: str
    marking: str
    rated_ah: float
    method: str
    pulse_s: float
    written: str = field(default="", compare=False)

    @classmethod
    def of(cls, c: Candidate) -> PackKind:
        """The kind of a cell."""
        marking = " ".join(c.facts.marking.upper().split())
        rated_ah = 0.0 if marking else (c.facts.rated_capacity_ah or 0.0)
        return cls(
            str(c.facts.chemistry),
            str(c.facts.form),
            marking,
            rated_ah,
            str(c.resistance_method or ""),
            round(c.pulse_s, 1),
            " ".join(c.facts.marking.split()),
        )

    @property
    def words(self) -> str:
        """`nmc 18650 'INR18650 2000mAh'`."""
        named = f" '{self.written}'" if self.marking else " without a marking"
        rated = f", rated {capacity(self.rated_ah)}" if self.rated_ah else ""
        return f"{self.chemistry} {self.form}{named}{rated}"

    def difference(self, other: PackKind) -> str:
        """What keeps a cell of this kind from joining cells of `other`."""
        for name in ("chemistry", "form"):
            if getattr(self, name) != getattr(other, name):
                return f"{name} {getattr(self, name)}"
        if (self.marking, self.rated_ah) != (other.marking, other.rated_ah):
            return f"marked '{self.written}'" if self.marking else "its marking is not known"
        return "its resistance was taken in another way"


def by_kind(cells: Iterable[Candidate]) -> dict[PackKind, list[Candidate]]:
    """The cells of each kind, by code; kinds in a fixed order."""
    found: dict[PackKind, list[Candidate]] = {}
    for c in sorted(cells, key=lambda c: c.code):
        if c.resistance is not None and c.resistance_method is not None:
            found.setdefault(PackKind.of(c), []).append(c)
    return dict(sorted(found.items()))


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
