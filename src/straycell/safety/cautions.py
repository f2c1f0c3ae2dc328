"""The cautions: short texts with their sources, and the steps at which each is shown.

The texts are in cautions.toml, and nowhere else.
"""

from collections.abc import Iterable
from dataclasses import dataclass, replace
from enum import StrEnum
from functools import lru_cache
from typing import Any

from straycell.acceptance.grounds import Ground
from straycell.cells import CellFacts, Chemistry, Form, Stage
from straycell.shipped import shipped_table


class Step(StrEnum):
    """A moment at which a person handles, or is about to handle, a cell; of several at once the earlier one decides."""

    TEARDOWN = "teardown"
    INTAKE = "intake"
    LOOK_BAD = "look-bad"
    INCIDENT = "incident"
    LOW_VOLTAGE = "low-voltage"
    DISCARD = "discard"
    POUCH = "pouch"
    PRIMARY = "primary"
    MEASURING = "measuring"
    CAPACITY = "capacity"
    CIRCUIT = "circuit"
    CHARGING = "charging"
    TEST_CHARGE = "test-charge"
    STORING = "storing"
    LABEL = "label"
    MATCH = "match"
    BUILD = "build"
    DISMANTLE = "dismantle"
    HANDOVER = "handover"


def laying_away(stages: Iterable[Stage]) -> list[Step]:
    """What putting cells into a box is: one that is out of use is kept apart, and never measured every three months."""
    return [
        *dict.fromkeys(Step.DISCARD if stage is Stage.CONDEMNED else Step.STORING for stage in stages)
    ] or [Step.STORING]


Kind = StrEnum("Kind", "DANGER ADVICE")
"""A danger is never left out; advice may be."""


@dataclass(frozen=True, slots=True)
class Caution:
    """One caution. `short` says the same in fewer words; the `standing` one, the deferral, belongs to every step.

    `least` is what --quiet leaves of the deferral.
    Beside a step in `last` it comes after the others of its kind and short: true of some cells only, or of later.
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
    grounds: tuple[Ground, ...] = ()


@lru_cache(maxsize=1)
def all_cautions() -> tuple[Caution, ...]:
    """Every caution in the order of the file, the standing one last."""
    # Read once: every command that handles a cell shows some of them.
    return tuple(_caution(entry) for entry in shipped_table("safety/cautions.toml")["caution"])


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
        tuple(Ground(each) for each in entry["grounds"]),
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
    # --quiet is for people who know; a danger is said all the same, for a tired evening is not an exception.
    return [replace(c, text=c.short) for c in here if c.kind is Kind.DANGER or c.standing]


def cautions_for_all(steps: list[Step], *, quiet: bool = False) -> list[Caution]:
    """The cautions of several steps at once, each said once: for a pouch that is charged, say."""
    said: dict[str, Caution] = {}
    for step in steps:
        said.update((c.id, c) for c in cautions_for(step, quiet=quiet) if c.id not in said)
    return sorted(said.values(), key=lambda c: _rank(c, steps))


def spoken_cautions(
    steps: list[Step], told: frozenset[str], *, quiet: bool = False, room: int | None = None
) -> tuple[list[str], list[str]]:
    """What a screen says of several steps to a person who read the cautions in `told` today.

    Returns the texts and the ids that they say in full. A danger is in full the first time, then short. Advice and the
    deferral are said once a day, where there is room: with `room` beside a new danger, in so many words in all.
    `quiet` keeps every danger, short, and once a day of the deferral its least.
    """
    found = cautions_for_all(steps)
    dangers = [c for c in found if c.kind is Kind.DANGER]
    fresh = [c for c in found if c.id not in told]
    if quiet:
        deferral = [c for c in fresh if c.standing and f"{c.id}, least" not in told]
        said = " ".join([*(c.short for c in dangers), *(c.least for c in deferral)])
        return [said] if said else [], [f"{c.id}, least" for c in deferral]
    # Words that repeat unchanged are read past within days: in full once a day keeps them read.
    whole = [c for c in fresh if c in dangers and not _of_some_cells(c, steps)]
    brief = " ".join(c.short for c in dangers if c not in whole)
    # Beside several dangers in full the deferral would be the wall of text that hides them: the next screen says it.
    crowded = sum(c in whole for c in dangers) > _MOST_BESIDE_DEFERRAL
    texts = [c.text for c in whole]
    for caution in fresh:
        text = caution.short if caution.standing else caution.text
        fits = room is None or (whole and sum(len(t.split()) for t in (*texts, brief, text)) <= room)
        if caution not in dangers and fits and not (caution.standing and crowded):
            whole, texts = [*whole, caution], [*texts, text]
    return [*texts, *([brief] if brief else [])], [c.id for c in whole]


_MOST_BESIDE_DEFERRAL = 2


def _rank(caution: Caution, steps: list[Step]) -> tuple[bool, bool, bool]:
    """The deferral last, dangers first; among them one that every step at hand puts last."""
    return caution.standing, caution.kind is not Kind.DANGER, _of_some_cells(caution, steps)


def _of_some_cells(caution: Caution, steps: list[Step]) -> bool:
    """True where the weightiest step that concerns it puts it last: true of some cells only, or of a later step."""
    first = next((step for step in Step if step in steps and step in (*caution.steps, *caution.last)), None)
    return first in caution.last


def added_by(kinds: Iterable[CellFacts]) -> list[Step]:
    """The steps whose cautions a kind of cell adds, whatever is done to it."""
    facts = list(kinds)
    primary = any(known.chemistry is Chemistry.PRIMARY for known in facts)
    pouch = any(known.form is Form.POUCH for known in facts)
    return [*[Step.PRIMARY] * primary, *[Step.POUCH] * pouch]
