"""The cautions: short texts with their sources, and the steps at which each is shown.

The texts stand in cautions.toml, and nowhere else.
"""

from __future__ import annotations

import tomllib
from dataclasses import dataclass, replace
from enum import StrEnum
from functools import lru_cache
from importlib import resources
from typing import Any


class Step(StrEnum):
    """A moment at which a person handles, or is about to handle, a cell."""

    TEARDOWN = "teardown"
    INTAKE = "intake"
    LOOK_BAD = "look-bad"
    LOW_VOLTAGE = "low-voltage"
    POUCH = "pouch"
    PRIMARY = "primary"
    MEASURING = "measuring"
    CIRCUIT = "circuit"
    CHARGING = "charging"
    TEST_CHARGE = "test-charge"
    STORING = "storing"
    LABEL = "label"
    MATCH = "match"
    BUILD = "build"
    DISMANTLE = "dismantle"
    INCIDENT = "incident"
    DISCARD = "discard"
    HANDOVER = "handover"


class Kind(StrEnum):
    """A danger is never left out; advice may be."""

    DANGER = "danger"
    ADVICE = "advice"


@dataclass(frozen=True, slots=True)
class Caution:
    """One caution. `short` says the same in fewer words; a `standing` one belongs to every step and has a
    `least` that is left of it where only the dangers are wanted.

    At the steps in `last` it is shown after the others of its kind: there it is true of some cells only.
    """

    id: str
    text: str
    short: str
    steps: tuple[Step, ...]
    kind: Kind
    source: str
    standing: bool = False
    last: tuple[Step, ...] = ()
    least: str = ""


@lru_cache(maxsize=1)
def all_cautions() -> tuple[Caution, ...]:
    """Every caution in the order of the file, the standing one last."""
    text = resources.files("straycell.safety").joinpath("cautions.toml").read_text(encoding="utf-8")
    return tuple(_caution(entry) for entry in tomllib.loads(text)["caution"])


def _caution(entry: dict[str, Any]) -> Caution:
    return Caution(
        entry["id"],
        entry["text"],
        entry["short"],
        tuple(Step(step) for step in entry["steps"]),
        Kind(entry["kind"]),
        entry["source"],
        entry.get("standing", False),
        tuple(Step(step) for step in entry.get("last", ())),
        entry.get("least", ""),
    )


def cautions_for(step: Step | str, *, quiet: bool = False) -> list[Caution]:
    """What to show at a step: dangers first, then advice, the standing deferral last.

    `quiet` puts the short words in `text` and leaves advice out, but never a danger nor the deferral.
    Raises ValueError for a step that is none of `Step`.
    """
    step = Step(step)
    here = [c for c in all_cautions() if step in c.steps or c.standing]
    here.sort(key=lambda c: _rank(c, [step]))
    if not quiet:
        return here
    return [replace(c, text=c.short) for c in here if c.kind is Kind.DANGER or c.standing]


def cautions_for_all(steps: list[Step], *, quiet: bool = False) -> list[Caution]:
    """The cautions of several steps at once, each said once: for a pouch that is charged, say."""
    said: dict[str, Caution] = {}
    for step in steps:
        said.update((c.id, c) for c in cautions_for(step, quiet=quiet) if c.id not in said)
    return sorted(said.values(), key=lambda c: _rank(c, steps))


def fewest_words(steps: list[Step]) -> list[Caution]:
    """What --quiet leaves of several steps: every danger in its short words, of the deferral its least."""
    return [replace(c, text=c.least) if c.standing else c for c in cautions_for_all(list(steps), quiet=True)]


def _rank(caution: Caution, steps: list[Step]) -> tuple[bool, bool, bool]:
    """The deferral last, dangers first; among them one that every step at hand puts last."""
    here = [step for step in steps if step in caution.steps]
    late = bool(here) and all(step in caution.last for step in here)
    return caution.standing, caution.kind is not Kind.DANGER, late
