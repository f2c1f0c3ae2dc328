"""Which cells are alike enough to be joined: one chemistry, form and marking, resistances taken in one way."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field

from straycell.matching.screen.candidates import Candidate
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
