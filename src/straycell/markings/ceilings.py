"""What no cell of a size can hold or withstand: the ceiling of a rating and of a maker's currents.

A print of 9900 mAh on an 18650 is a lie, and every current that is a share of it would be a danger.
"""

from collections.abc import Iterator
from dataclasses import dataclass

from straycell.cells import CellFacts
from straycell.markings.prints import tables
from straycell.markings.sizes import trade_size
from straycell.quantities import Dimension, show


@dataclass(frozen=True, slots=True)
class Ceiling:
    """One of the facts with the most it can be: its name in CellFacts, value and limit in the base unit."""

    fact: str
    value: float
    most: float
    dimension: Dimension

    @property
    def text(self) -> str:
        """The figure and what it is above, for a person."""
        value, most = show(self.value, self.dimension), show(self.most, self.dimension)
        return f"{value} is more than a cell of this size can be rated at (at most {most})"


def most_capacity_ah(facts: CellFacts) -> float | None:
    """The largest capacity in Ah that a cell of this chemistry and size can be rated at; None without a size."""
    # lfp holds less than other chemistries in the same can, so the pair with the chemistry is asked for first.
    known = tables()["most"]["capacity_ah"]
    for key in (f"{facts.chemistry}/{facts.form}", str(facts.form)):
        if key in known:
            return float(known[key])
    return _by_volume(facts, "capacity_ah")


def beyond_size(facts: CellFacts) -> Iterator[Ceiling]:
    """The facts that no cell of this size has, each with its ceiling."""
    limits = (
        ("rated_capacity_ah", Dimension.CAPACITY, most_capacity_ah(facts)),
        ("maker_charge_current_a", Dimension.CURRENT, _by_volume(facts, "charge_a")),
        ("maker_discharge_current_a", Dimension.CURRENT, _by_volume(facts, "discharge_a")),
    )
    # Sheets state currents cell by cell: volume stands in for size, because electrode area grows with it
    # (markings.toml).
    for name, dimension, most in limits:
        value = getattr(facts, name)
        if most is not None and value is not None and value > most:
            yield Ceiling(name, value, most, dimension)


def rating_beyond_size(facts: CellFacts) -> Ceiling | None:
    """The rated capacity where it is more than the size can hold."""
    return next((each for each in beyond_size(facts) if each.fact == "rated_capacity_ah"), None)


def _by_volume(facts: CellFacts, name: str) -> float | None:
    size = trade_size(facts.form)
    # A trade size fixes the volume; a measured one only counts for cells of no trade size.
    volume_cm3 = facts.volume_cm3 if size is None else size.volume_cm3
    return None if volume_cm3 is None else float(tables()["most"]["per_cm3"][name]) * volume_cm3
