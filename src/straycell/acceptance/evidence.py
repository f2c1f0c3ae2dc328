"""Everything a verdict is made from, as one frozen value: nothing else may influence it."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import datetime
from functools import cached_property

from straycell.cells import CellFacts, Chemistry, Look
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

    @property
    def key(self) -> str:
        """Its name in the basis of a finding."""
        return f"incident {self.event}"


@dataclass(frozen=True, slots=True)
class SiblingSign:
    """A cell of the same pack that leaked, swelled or burnt: `look` was seen at `at`."""

    code: str
    look: Look
    at: datetime


@dataclass(frozen=True, slots=True)
class BestSibling:
    """The largest capacity measured in the same pack, in Ah, and the key of that reading."""

    key: str
    capacity_ah: float


@dataclass(frozen=True, slots=True)
class Condemnation:
    """A person discarded the cell."""

    because: str
    at: datetime


Record = Reading | Charge | Upset | BestSibling
"""What a finding can rest on, beside facts. Each has a `key`."""


@dataclass(frozen=True)
class Finding:
    """A rule as shipped condemned a cell, and what that rests on. Recorded once, for ever.

    `at` is when the newest record of the basis was taken, `recorded` when the finding was. `basis` holds the
    keys of readings, charges, incidents and facts: these alone condemn by the same rule, at any later time.
    """

    cell: str
    rule: str
    words: str
    value: float | str | None
    expanded_uncertainty: float | None
    limit: float | str | None
    unit: str
    source: str
    safety: bool
    basis: frozenset[str]
    at: datetime | None
    recorded: datetime

    @cached_property
    def digest(self) -> str:
        """Its name: sha256 over cell, rule, limit and basis. What was found again is the same finding."""
        named = [self.cell, self.rule, self.limit, sorted(self.basis)]
        return hashlib.sha256(json.dumps(named).encode()).hexdigest()


@dataclass(frozen=True, slots=True)
class Fall:
    """A finding lost a record of its basis to a mistake: when, and since when it had been recorded.

    `same_bench`: the bench that recorded the finding took the record back. `instead`: keys of the readings and
    charges put in the place of the withdrawn ones. `measurable` is False where no reading of this cell was the
    mistake (a fact, a sibling's reading), so that nothing of it can be measured again.
    """

    rule: str
    at: datetime
    found_at: datetime
    same_bench: bool = False
    instead: frozenset[str] = frozenset()
    measurable: bool = True


@dataclass(frozen=True)
class Evidence:
    """One cell's facts and everything measured of it that is not superseded, oldest first.

    `fact_keys` names the record of each field of the facts; `other_chemistries` are those that were also said and
    never withdrawn as mistyped, with their keys. `findings` are those recorded before that no mistake has voided,
    `falls` those that one has. `installed_at` tells when the cell began to work in a build.
    """

    code: str
    facts: CellFacts
    readings: tuple[Reading, ...] = ()
    charges: tuple[Charge, ...] = ()
    fact_keys: Mapping[str, str] = field(default_factory=dict)
    other_chemistries: Mapping[Chemistry, str] = field(default_factory=dict)
    upsets: tuple[Upset, ...] = ()
    sibling_signs: tuple[SiblingSign, ...] = ()
    best_sibling: BestSibling | None = None
    condemned: Condemnation | None = None
    last_reading: int = 0
    installed_at: tuple[datetime, ...] = ()
    findings: tuple[Finding, ...] = ()
    falls: tuple[Fall, ...] = ()

    def under(self, chemistry: Chemistry) -> Evidence:
        """The same evidence with another chemistry that was said of the cell."""
        keys = {**self.fact_keys, "chemistry": self.other_chemistries[chemistry]}
        return replace(self, facts=replace(self.facts, chemistry=chemistry), fact_keys=keys)

    def fact_key(self, name: str) -> str:
        """The key of a field's value; a field of which nothing was ever recorded has one, too."""
        return self.fact_keys.get(name) or f"fact {self.code}.{name}"
