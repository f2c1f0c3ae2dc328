"""Kinds of incidents: which condemn at once, which hold until a re-test. The kinds stand in incidents.toml."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from functools import lru_cache
from importlib import resources

RETEST = ("look", "rest voltage", "resistance")
"""What must be recorded after an incident before the cell counts again (acceptance rule `upset`)."""


@dataclass(frozen=True, slots=True)
class IncidentKind:
    """One kind. `text` says when it is meant, `why` what it can have done, `look` what was seen, if anything."""

    id: str
    text: str
    severe: bool
    why: str
    source: str
    look: str = ""


@lru_cache(maxsize=1)
def incident_kinds() -> tuple[IncidentKind, ...]:
    """The known kinds, the severe ones first."""
    text = resources.files("straycell.safety").joinpath("incidents.toml").read_text(encoding="utf-8")
    return tuple(IncidentKind(**entry) for entry in tomllib.loads(text)["kind"])


def find_incident(word: str) -> IncidentKind | None:
    """The kind of this name, capitals and blanks forgiven; None for words of one's own."""
    tidy = "-".join(word.casefold().replace("_", "-").split())
    return next((kind for kind in incident_kinds() if kind.id == tidy), None)
