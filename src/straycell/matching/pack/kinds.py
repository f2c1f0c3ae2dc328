"""Cells alike enough to be joined form a pool: within which ratio of resistances, what they must hold at least to last.

The proof that no choice of a pool does is here too.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from statistics import median

from straycell.cells import Chemistry
from straycell.matching.screen import Candidate, Screen, lasts, runs, usable
from straycell.quantities import Measured, amp_hours

LEAST_AH, MOST_AH = 1e-3, 400.0
"""Where a sufficient capacity is looked for: from coin cells to the largest prismatic cells, nothing else is one cell."""
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
        rated = f", rated {amp_hours(self.rated_ah)}" if self.rated_ah else ""
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
