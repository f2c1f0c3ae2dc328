"""Everything a verdict is made from, as one frozen value: nothing else may influence it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from straycell.cells import CellFacts, Look
from straycell.readings import Charge, Reading

DISMANTLED = "dismantled"
"""The kind of upset that a cell carries out of a build."""


@dataclass(frozen=True, slots=True)
class Upset:
    """Something that happened to a cell: an incident, or coming back from a dismantled build."""

    kind: str
    at: datetime
    severe: bool = False
    event: int = 0


@dataclass(frozen=True, slots=True)
class SiblingSign:
    """A cell of the same pack that leaked, swelled or burnt: `look` was seen at `at`."""

    code: str
    look: Look
    at: datetime


@dataclass(frozen=True, slots=True)
class Condemnation:
    """A person discarded the cell."""

    because: str
    at: datetime


@dataclass(frozen=True, slots=True)
class EarlierFacts:
    """A former entry of a cell's facts, and the last reading that was recorded while it stood."""

    facts: CellFacts
    last_reading: int


@dataclass(frozen=True, slots=True)
class Evidence:
    """One cell's facts and everything measured of it that is not superseded, oldest first.

    `earlier_facts` are former entries of the facts that were not withdrawn as a mistake: a safety discard that
    followed from one of them stands. `best_sibling_ah` is the largest capacity measured in the same pack.
    `installed_at` tells when it began to work in a build. `stands_for` pairs a reading that took another's
    place on this cell with the first one of that chain.
    """

    code: str
    facts: CellFacts
    readings: tuple[Reading, ...] = ()
    charges: tuple[Charge, ...] = ()
    earlier_facts: tuple[EarlierFacts, ...] = ()
    upsets: tuple[Upset, ...] = ()
    sibling_signs: tuple[SiblingSign, ...] = ()
    best_sibling_ah: float | None = None
    condemned: Condemnation | None = None
    last_reading: int = 0
    stands_for: tuple[tuple[int, int], ...] = ()
    installed_at: tuple[datetime, ...] = ()
