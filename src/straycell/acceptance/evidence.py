"""Everything a verdict is made from, as one frozen value: nothing else may influence it."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import datetime
from functools import cached_property
from typing import Any

from straycell.cells import FOUR_VOLT, CellFacts, Chemistry
from straycell.readings import Charge, Charger, Reading

DISMANTLED = "dismantled"
GROUP_SANK = "its group sank faster than the others"
GROUP_OUTSIDE = "its group was outside its voltage limits"
"""The kinds of upset that a cell carries out of a build."""


@dataclass(frozen=True, slots=True)
class Upset:
    """Something that happened to a cell: an incident, or coming back from a dismantled build.

    `before` holds the keys of records that bear a later time, and yet were recorded before it: a clock was wrong.
    """

    kind: str
    at: datetime
    severe: bool = False
    event: int = 0
    key: str = ""
    before: frozenset[str] = frozenset()


@dataclass(frozen=True, slots=True)
class SiblingSign:
    """A cell of the same pack that leaked, swelled, burnt or lost charge: seen at `at` as `look`, a word of the rules."""

    code: str
    look: str
    at: datetime
    key: str = ""


@dataclass(frozen=True, slots=True)
class BestSibling:
    """The largest capacity measured in the same pack, in Ah, and the key of that reading."""

    key: str
    capacity_ah: float


@dataclass(frozen=True, slots=True)
class Condemnation:
    """A person discarded the cell; `key` is "discard H-5"."""

    because: str
    at: datetime
    key: str = ""


Record = Reading | Charge | Upset | BestSibling | Charger
"""What a finding can rest on, beside facts. Each has a `key`."""


SHELF_LOSS = "shelf-loss"
"""The one rule whose findings hold a cell until a self-discharge check answers them; all others condemn it."""


@dataclass(frozen=True)
class Finding:
    """A rule as shipped condemned a cell, and what that rests on. Recorded once, for ever.

    `at` is when the record that shows it was taken (else as `recorded`), `recorded` when the finding was. `basis` holds the
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
    at: datetime
    recorded: datetime

    @cached_property
    def digest(self) -> str:
        """Its name: sha256 over cell, rule, limit and basis. What was found again is the same finding."""
        # Names itself by content: two benches that see the same danger record one finding when they merge.
        named = [self.cell, self.rule, self.limit, sorted(self.basis)]
        return hashlib.sha256(json.dumps(named).encode()).hexdigest()


@dataclass(frozen=True, slots=True)
class Fall:
    """A finding lost a record of its basis to a mistake: when, and since when it had been recorded.

    `same_bench`: the bench that recorded the finding took the record back. `instead`: keys of the readings and
    charges put in the place of the withdrawn ones. `measurable` is False where no reading of this cell was the
    mistake (a fact, a sibling's reading), so that nothing of it can be measured again.
    """

    # A slip corrected at once on the same bench needs no new checks; one found months later does.
    rule: str
    at: datetime
    found_at: datetime
    same_bench: bool = False
    instead: frozenset[str] = frozenset()
    measurable: bool = True


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


@dataclass(frozen=True)
class Evidence:
    """One cell's facts and everything measured of it that is not superseded, oldest first.

    `corrected` holds, for fields that were ever corrected, all that was said and not withdrawn as mistyped.
    `findings` are those recorded before that no mistake has voided, `falls` those that one has. `installed_at`
    tells when the cell began to work in a build, `dressed_at` when its sleeve or tabs were said to be others,
    `opened_at` from when on all packs with a sign, in which it ever was, surely were open. `floats` are the measured
    ends of the chargers that its charges name, oldest first.
    """

    code: str
    facts: CellFacts
    readings: tuple[Reading, ...] = ()
    charges: tuple[Charge, ...] = ()
    upsets: tuple[Upset, ...] = ()
    sibling_signs: tuple[SiblingSign, ...] = ()
    best_sibling: BestSibling | None = None
    condemned: Condemnation | None = None
    last_reading: str = ""
    installed_at: tuple[datetime, ...] = ()
    corrected: tuple[FactSaid, ...] = ()
    findings: tuple[Finding, ...] = ()
    falls: tuple[Fall, ...] = ()
    dressed_at: tuple[datetime, ...] = ()
    opened_at: datetime | None = None
    floats: tuple[Charger, ...] = ()

    def fact_keys(self, field: str) -> tuple[str, ...]:
        """The keys of all that gave a field the value it has; one that nobody filled in has a key, too."""
        value = getattr(self.facts, field)
        said = [each for each in self.corrected if each.field == field and each.value == value]
        # Judged as each kind it can be, a cell of unknown kind still rests on the one word that was said.
        if not said and field == "chemistry" and value in FOUR_VOLT:
            said = [each for each in self.corrected if each.field == field and each.value is Chemistry.LIION]
        return tuple(each.key for each in said) or (fact_key(self.code, field),)

    @cached_property
    def other_chemistries(self) -> tuple[Chemistry, ...]:
        """What was also said of the chemistry and never withdrawn as mistyped."""
        # Until it is withdrawn as mistyped each may be the true one, so the limits of each apply.
        said = dict.fromkeys(each.value for each in self.corrected if each.field == "chemistry")
        return tuple(kind for kind in said if kind not in (self.facts.chemistry, Chemistry.UNKNOWN))

    def under(self, chemistry: Chemistry) -> Evidence:
        """The same evidence with another chemistry that was said of the cell."""
        return replace(self, facts=replace(self.facts, chemistry=chemistry))

    @property
    def disputed(self) -> tuple[str, ...]:
        """Fields that two benches corrected differently since they last met."""
        return tuple(dict.fromkeys(self._disputed()))

    def _disputed(self) -> Iterator[str]:
        held: dict[str, Any] = {}
        for each in self.corrected:
            if each.holds and held.setdefault(each.field, each.value) != each.value:
                yield each.field
