"""Three hundred cells whose truth is known: what they are inside, and what becomes of them in a year.

Nothing here looks at the rules: the truth is drawn from the published curves and a seed.
"""

from __future__ import annotations

import random
from dataclasses import dataclass, field
from enum import StrEnum

from straycell.cells import CellFacts, Chemistry, Form
from straycell.physics.curves import OcvCurve, curves_for

FULL_SOC = 0.985
"""Where a cell rests a day after it was charged full with a tail of a twentieth."""
LFP_SHARE = 0.15
"""Of the kinds that can be iron phosphate: their curve is flat, so voltage tells nothing of a leak."""


class Kind(StrEnum):
    """What is wrong with a cell, if anything."""

    GOOD = "good"
    WORN = "worn"
    LEAKY = "leaky"
    LEAKY_LATER = "leaky later"
    DEEP = "deep-discharged"
    BAD_LOOK = "bad look"
    SWOLLEN_LATER = "swollen later"
    OVER = "over-charged"
    PRIMARY = "primary"
    MIS_GOOD = "good, mis-measured"
    MIS_DEEP = "deep-discharged, mistyped as fine"
    DROPPED = "dropped"
    SHORTED = "shorted"


MAY_BE_LFP = (
    Kind.GOOD,
    Kind.WORN,
    Kind.LEAKY,
    Kind.LEAKY_LATER,
    Kind.SWOLLEN_LATER,
    Kind.DEEP,
    Kind.DROPPED,
)
HARMLESS = (Kind.GOOD, Kind.MIS_GOOD)
COUNTS = {
    Kind.GOOD: 150,
    Kind.WORN: 25,
    Kind.LEAKY: 25,
    Kind.LEAKY_LATER: 15,
    Kind.DEEP: 20,
    Kind.BAD_LOOK: 10,
    Kind.SWOLLEN_LATER: 12,
    Kind.OVER: 5,
    Kind.PRIMARY: 5,
    Kind.MIS_GOOD: 15,
    Kind.MIS_DEEP: 5,
    Kind.DROPPED: 8,
    Kind.SHORTED: 5,
}


@dataclass
class TrueCell:
    """One cell as it is. `turns_day` is when a later defect begins; losses in % of charge a month."""

    kind: Kind
    facts: CellFacts
    curve: OcvCurve
    capacity_ah: float
    ohm: float
    loss: float
    later_loss: float
    turns_day: float
    found_v: float
    soc: float = 0.5
    soc_day: float = 0.0
    offset_v: float = 0.0
    code: str = ""
    deep: bool = False
    log: list[tuple[float, str]] = field(default_factory=list)

    @property
    def lfp(self) -> bool:
        return self.facts.chemistry is Chemistry.LFP

    @property
    def full_v(self) -> float:
        """What its charger goes up to."""
        return 3.65 if self.lfp else 4.2

    @property
    def floor_v(self) -> float:
        """Below this it counts as deeply discharged (handbook: 2.00 V; iron phosphate 1.5 V)."""
        return 1.5 if self.lfp else 2.0

    def turned(self, day: float) -> bool:
        return day >= self.turns_day

    def soc_at(self, day: float) -> float:
        """State of charge after lying from the last charge or discharge until a day."""
        calm = max(0.0, min(day, self.turns_day) - self.soc_day)
        fast = max(0.0, day - max(self.soc_day, self.turns_day))
        return max(0.0, self.soc - (self.loss * calm + self.later_loss * fast) / 3000.0)

    def put(self, soc: float, day: float) -> None:
        """Charged or discharged to a state of charge."""
        self.soc, self.soc_day = soc, day

    def volts(self, day: float) -> float:
        """True rest voltage."""
        return self.curve.voltage(self.soc_at(day)) + self.offset_v


def make_cells(seed: int, share: float = 1.0) -> list[TrueCell]:
    """All three hundred, or a share of each kind, in a shuffled order."""
    dice = random.Random(seed)
    kinds = [kind for kind, count in COUNTS.items() for _ in range(round(count * share))]
    dice.shuffle(kinds)
    return [_make(kind, dice) for kind in kinds]


def _make(kind: Kind, dice: random.Random) -> TrueCell:
    chemistry = dice.choice([Chemistry.NMC, Chemistry.NMC, Chemistry.LCO, Chemistry.NCA])
    facts = CellFacts(chemistry, Form.F18650, "INR18650 2500mAh", rated_capacity_ah=2.5)
    if chemistry is Chemistry.LCO:
        facts = CellFacts(chemistry, Form.F18650, "ICR18650 2200mAh", rated_capacity_ah=2.2)
    flat = kind in MAY_BE_LFP and dice.random() < LFP_SHARE
    if flat:
        chemistry = Chemistry.LFP
        facts = CellFacts(chemistry, Form.F18650, "IFR18650 1500mAh", rated_capacity_ah=1.5)
    if kind is Kind.PRIMARY:
        facts = CellFacts(Chemistry.PRIMARY, Form.F16340, "CR123A")
    rated = facts.rated_capacity_ah or 1.5
    share = dice.uniform(0.25, 0.76) if kind is Kind.WORN else dice.uniform(0.84, 0.99)
    calm = dice.uniform(0.3, 1.8)
    leaky = dice.uniform(7.0, 30.0)
    curves = curves_for(chemistry if chemistry is not Chemistry.PRIMARY else Chemistry.NMC)
    later = kind in (Kind.LEAKY_LATER, Kind.SWOLLEN_LATER)
    found = dice.uniform(3.25, 3.32) if flat else dice.uniform(3.3, 3.95)
    if kind in (Kind.DEEP, Kind.MIS_DEEP):
        found = dice.uniform(0.2, 1.45 if flat else 1.95)
    elif kind is Kind.OVER:
        found = dice.uniform(4.27, 4.45)
    cell = TrueCell(
        kind=kind,
        facts=facts,
        curve=curves[0],
        capacity_ah=rated * share,
        ohm=dice.uniform(0.020, 0.040) if flat else dice.uniform(0.030, 0.070),
        loss=leaky if kind is Kind.LEAKY else calm,
        later_loss=dice.uniform(9.0, 25.0) if kind is Kind.LEAKY_LATER else calm,
        turns_day=dice.uniform(110.0, 260.0) if later else float("inf"),
        found_v=found,
        offset_v=dice.uniform(-0.0015, 0.0015),
        deep=kind in (Kind.DEEP, Kind.MIS_DEEP),
    )
    if kind is Kind.LEAKY:
        cell.later_loss = cell.loss
    return cell
