"""A charger as an instrument: where one of its slots ends a charge, measured at the terminals, and for how long that counts."""

from dataclasses import dataclass, replace
from datetime import datetime, timedelta

from straycell.meters import Accuracy
from straycell.quantities import Measured
from straycell.readings.reading import Charge

COUNTS_FOR = timedelta(days=90)
"""How long a measured float counts: references drift and contacts wear; common practice, no published source."""
_MEASURED = ("float_v", "end_current_a", "capacity")
FULL_WITHIN_V = 0.1
"""A charge that was ended this far from the float was ended by hand, and not by the charger (common practice)."""


@dataclass(frozen=True, slots=True)
class Charger:
    """One slot of a charger (None: all alike) as measured at `at`: float in V, end current in A, its counting.

    `name` is what this bench calls it, `owned` what it is called on every bench; `meter` the name of what it was
    measured with.
    """

    name: str
    at: datetime
    slot: int | None = None
    float_v: Measured | None = None
    end_current_a: float | None = None
    capacity: Accuracy | None = None
    owned: str = ""
    meter: str | None = None

    @property
    def key(self) -> str:
        """Its name among the records: of one slot there is one measurement at a time."""
        slot = "" if self.slot is None else f" slot {self.slot}"
        # The same on every bench, and another one for another bench's charger of that name.
        return f"charger {self.owned or self.name}{slot} {self.at.isoformat()}"

    def speaks_of(self, charge: Charge) -> bool:
        """True for a charge that it, or a slot of it that may have been this one, has made."""
        return self.name == charge.charger and (None in (self.slot, charge.slot) or self.slot == charge.slot)

    def counts(self, at: datetime) -> bool:
        """True for a charge that ended within its time after the measurement."""
        # A measurement speaks for charges after it, not for those before: a charger may have been set since.
        return self.at <= at < self.at + COUNTS_FOR

    def ended(self, charge: Charge, *, until_said: bool) -> Charge:
        """The charge with this slot's end voltage, its uncertainty and its tail, where nobody ended it earlier.

        What the charger counted has the uncertainty of its counting, whoever ended the charge.
        """
        if not self.counts(charge.at):
            return charge
        if self.capacity is not None and charge.put_in_ah is not None:
            charge = replace(charge, put_in_u=self.capacity.u(charge.put_in_ah))
        tail_a = self.end_current_a if charge.end_current_a is None else charge.end_current_a
        float_v = self.float_v
        if float_v is None or (until_said and abs(charge.until_v - float_v.value) > FULL_WITHIN_V):
            return charge
        return replace(charge, until_v=float_v.value, u=float_v.u, end_current_a=tail_a)


def find_charger(known: list[Charger], name: str, slot: int | None, at: datetime) -> Charger | None:
    """What counts of this slot at a time: each figure's newest measurement; one of the whole charger serves every slot."""
    same = [c for c in known if c.name == name and c.slot in (None, slot) and c.counts(at)]
    # A slot measured by itself beats a figure for the whole charger, even a newer one: slots differ.
    return newest(sorted(same, key=lambda c: (c.slot is not None, c.at))) if same else None


def newest(oldest_first: list[Charger]) -> Charger:
    """Each figure as it was measured last: a later check of the counting alone takes no float away."""
    found = oldest_first[0]
    for later in oldest_first[1:]:
        said = {part: getattr(later, part) for part in _MEASURED if getattr(later, part) is not None}
        # Its time is that of the float, which is what it is measured again for.
        at = found.at if found.float_v is not None and later.float_v is None else later.at
        found = replace(found, at=at, slot=later.slot, **said)
    return found


def by_charger(known: list[Charger], charge: Charge, *, until_said: bool) -> Charge:
    """The charge as the charger it names ended and counted it, where that was measured lately."""
    found = find_charger(known, charge.charger, charge.slot, charge.at) if charge.charger else None
    return charge if found is None else found.ended(charge, until_said=until_said)
