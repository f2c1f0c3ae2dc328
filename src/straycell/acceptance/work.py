"""What a reason asks a person to do, as a value. The words are for the person alone: nothing is read out of them."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum
from typing import Any


class WorkKind(StrEnum):
    """Everything that a reason can ask for."""

    LOOK = "look"
    REST = "rest-voltage"
    CHARGE = "charge"
    CHARGER = "charger"
    CAPACITY = "capacity"
    RESISTANCE = "resistance"
    MASS = "mass"
    WEIGH = "weigh"
    TEMPERATURE = "temperature"
    CORRECT = "correct"
    SUPERSEDE = "supersede"
    DISCARD = "discard"
    WAIT = "wait"


@dataclass(frozen=True, slots=True)
class Work:
    """One piece of work. It can begin at `not_before`, at once where that is None.

    `also` is what the same words ask for after or beside it. `options` are what the command says beyond the kind's
    own, `reading` the number of the one to supersede; `at_tabs` means past the protection board.
    """

    kind: WorkKind
    words: str
    not_before: datetime | None = None
    also: tuple[WorkKind, ...] = ()
    options: str = ""
    reading: str = ""
    at_tabs: bool = False

    @property
    def kinds(self) -> tuple[WorkKind, ...]:
        """All that is asked for, the first thing first."""
        return (self.kind, *self.also)

    def command(self, code: str) -> str:
        """The command line that records it, with ... where figures go; of several, all that one line can record."""
        # What one command can record stays one line: a person types it once, with gloves on.
        if self.kind in _READINGS:
            said = [_READINGS[kind] for kind in self.kinds if kind in _READINGS]
            verb = f"reading add {code}"
        else:
            said = [_OTHERS[self.kind].format(code=code, reading=self.reading)]
            verb = ""
        because = "--because ..." if self.kind in _WITH_REASON else ""
        where = "--where tabs" if self.at_tabs else ""
        return " ".join(part for part in ("straycell", verb, *said, where, self.options, because) if part)


_READINGS: dict[WorkKind, str] = {
    # Never a word: a command that is copied must not say "clean" of a cell that nobody has looked at.
    WorkKind.LOOK: "--look ...",
    WorkKind.REST: "--voltage ... --rested ... --temperature ...",
    WorkKind.CAPACITY: "--capacity ... --discharge-current ... --cutoff ... --temperature ...",
    WorkKind.RESISTANCE: "--resistance ... --resistance-method ...",
    WorkKind.WEIGH: "--mass ...",
    WorkKind.TEMPERATURE: "--temperature ... --surroundings ... --rested ...",
}
_OTHERS: dict[WorkKind, str] = {
    WorkKind.CHARGE: "charge add {code} --current ... --until ... --temperature ... --peak-temperature ...",
    WorkKind.CHARGER: "charger add",
    WorkKind.MASS: "cell correct {code} --mass ...",
    WorkKind.CORRECT: "cell correct {code}",
    WorkKind.SUPERSEDE: "reading supersede {reading} --mistake ...",
    WorkKind.DISCARD: "discard {code}",
    WorkKind.WAIT: "due",
}
_WITH_REASON = frozenset({WorkKind.MASS, WorkKind.CORRECT, WorkKind.SUPERSEDE, WorkKind.DISCARD})


def work_to_json(work: Work | None, code: str) -> dict[str, Any] | None:
    """The object of the interface (kind, words, command, not_before), and what else it holds."""
    if work is None:
        return None
    more = {
        "also": [str(kind) for kind in work.also],
        "options": work.options,
        "reading": work.reading,
        "at_tabs": work.at_tabs,
    }
    return {
        "kind": str(work.kind),
        "words": work.words,
        "command": work.command(code),
        "not_before": work.not_before.isoformat() if work.not_before else None,
        **{name: value for name, value in more.items() if value},
    }


def work_from_json(data: Mapping[str, Any] | str | None) -> Work | None:
    """The inverse. A sentence of an older version's verdict stays one, as something to wait for."""
    if not data:
        return None
    # Verdicts of earlier versions hold a sentence here, and recorded rows are never rewritten.
    if isinstance(data, str):
        return Work(WorkKind.WAIT, data)
    return Work(
        WorkKind(data["kind"]),
        data["words"],
        datetime.fromisoformat(data["not_before"]) if data["not_before"] else None,
        tuple(WorkKind(kind) for kind in data.get("also", ())),
        data.get("options", ""),
        data.get("reading", ""),
        data.get("at_tabs", False),
    )


def together(words: str, kinds: Iterator[WorkKind] | list[WorkKind], **more: Any) -> Work | None:
    """One piece of work out of several kinds, in this order; None of none."""
    listed = list(dict.fromkeys(kinds))
    return Work(listed[0], words, also=tuple(listed[1:]), **more) if listed else None
