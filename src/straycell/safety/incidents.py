"""Kinds of incidents: which condemn at once, which hold until a re-test. The kinds are in incidents.toml."""

from dataclasses import dataclass
from functools import lru_cache

from straycell.shipped import shipped_table

RETEST = ("look", "rest voltage", "resistance", "self-discharge check")
"""What must be recorded after an incident before the cell counts again (acceptance rule `upset`)."""


@dataclass(frozen=True, slots=True)
class IncidentKind:
    """One kind. `text` says when it is meant, `why` what it can have done, `look` what was seen, if anything.

    `also` holds other words for it, as they may be typed; `due` is the danger it is until the cell is tested again.
    `over_c` is the temperature of the cell in C above which it is one, where that makes it one.
    """

    id: str
    text: str
    severe: bool
    why: str
    source: str
    look: str = ""
    over_c: float | None = None
    also: tuple[str, ...] = ()
    due: str = "incident"


@lru_cache(maxsize=1)
def incident_kinds() -> tuple[IncidentKind, ...]:
    """The known kinds, the severe ones first."""
    listed = shipped_table("safety/incidents.toml")["kind"]
    return tuple(IncidentKind(**{**entry, "also": tuple(entry.get("also", ()))}) for entry in listed)


def heat_incident(temperature_c: float) -> IncidentKind | None:
    """The kind that a cell's temperature is by itself; None when it was not that hot."""
    # The kinds come severest first: the first limit exceeded is the worst that applies.
    return next((k for k in incident_kinds() if k.over_c is not None and temperature_c > k.over_c), None)


def find_incident(word: str) -> IncidentKind | None:
    """The kind of this name, capitals and blanks forgiven; None for words of one's own."""
    # Typed in a fright: "Charger failed" and "charger-failed" are the same event.
    tidy = "-".join(word.casefold().replace("_", "-").split())
    # "short" means a short circuit, and that condemns: a word of one's own would only hold.
    return next((kind for kind in incident_kinds() if tidy in (kind.id, *kind.also)), None)


def severe_in(words: str) -> IncidentKind | None:
    """The severe kind that words of one's own may mean: one of them names it; None where none does."""
    # "Caught fire" in one's own words would hold a cell that a fire condemns.
    found = {
        kind.id: kind for kind in map(find_incident, words.replace("-", " ").split()) if kind and kind.severe
    }
    return next(iter(found.values()), None)
