"""Everything a verdict is made from, as one frozen value: nothing else may influence it."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from straycell.cells import CellFacts, Look
from straycell.keys import RecordKey
from straycell.readings import Charge, Reading

DISMANTLED = "dismantled"
"""The kind of upset that a cell carries out of a build."""


@dataclass(frozen=True, slots=True)
class Upset:
    """Something that happened to a cell: an incident, or coming back from a dismantled build.

    `key` is what a finding that rests on it says: "incident H-4".
    """

    kind: str
    at: datetime
    severe: bool = False
    event: int = 0
    key: str = ""


@dataclass(frozen=True, slots=True)
class SiblingSign:
    """A cell of the same pack that leaked, swelled or burnt: `look` was seen at `at`, as the record `key` says."""

    code: str
    look: Look
    at: datetime
    key: str = ""


@dataclass(frozen=True, slots=True)
class Condemnation:
    """A person discarded the cell; `key` is "discard H-5"."""

    because: str
    at: datetime
    key: str = ""


@dataclass(frozen=True, slots=True)
class EarlierFacts:
    """A former entry of a cell's facts, and the last reading that was recorded while it stood."""

    facts: CellFacts
    last_reading: RecordKey


def fact_key(code: str, field: str, entry: str = "") -> str:
    """The key of one value of one field: as the cell was born with it, or of the correction `entry`."""
    return f"fact {code}.{field}" + (f".{entry}" if entry else "")


@dataclass(frozen=True, slots=True)
class FactSaid:
    """One value that was said of a field of a cell. It `holds`, or was corrected without having been mistyped."""

    field: str
    value: Any
    key: str
    holds: bool


@dataclass(frozen=True, slots=True)
class Evidence:
    """One cell's facts and everything measured of it that is not superseded, oldest first.

    `earlier_facts` are former entries of the facts that were not withdrawn as a mistake: a safety discard that
    followed from one of them stands. `best_sibling_ah` is the largest capacity measured in the same pack.
    `installed_at` tells when it began to work in a build. `stands_for` pairs a reading that took another's
    place on this cell with the first one of that chain. `corrected` holds, for fields that were ever corrected, all
    that was said and not withdrawn as mistyped; `best_sibling_key` is the reading behind `best_sibling_ah`.
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
    last_reading: str = ""
    stands_for: tuple[tuple[RecordKey, RecordKey], ...] = ()
    installed_at: tuple[datetime, ...] = ()
    corrected: tuple[FactSaid, ...] = ()
    best_sibling_key: str = ""

    def fact_keys(self, field: str) -> tuple[str, ...]:
        """The keys of all values of a field that hold, or held and were not withdrawn as mistyped."""
        found = tuple(each.key for each in self.corrected if each.field == field)
        return found or (fact_key(self.code, field),)

    @property
    def former(self) -> tuple[FactSaid, ...]:
        """Values that were corrected without having been mistyped: a danger under them stays one."""
        return tuple(each for each in self.corrected if not each.holds)

    @property
    def disputed(self) -> tuple[str, ...]:
        """Fields that two benches corrected differently since they last met."""
        return tuple(dict.fromkeys(self._disputed()))

    def _disputed(self) -> Iterator[str]:
        held: dict[str, Any] = {}
        for each in self.corrected:
            if each.holds and held.setdefault(each.field, each.value) != each.value:
                yield each.field
