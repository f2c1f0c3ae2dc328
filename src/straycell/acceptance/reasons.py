"""What a rule answers: on which side of its limit a value lies, the reason, and what it asks a person to do; and the verdict.

Headline, label and exit code follow from the reasons. The words of a work are for the person alone: nothing is read out
of them.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime
from enum import IntEnum, StrEnum
from typing import Any

from straycell.errors import BadData
from straycell.keys import RecordKey
from straycell.quantities import Measured

# 4.20 + 0.02 is not 4.22 in binary, nor is 0.5 A over 2.5 Ah 0.2C; a billionth is far below any meter's step.
DUST = 1e-9


Side = StrEnum("Side", "CLEAR CLOSE BEYOND")
"""Where a value with its uncertainty lies against a limit."""


def against_min(value: Measured, limit: float) -> Side:
    """CLEAR when the value is above the limit by U, BEYOND when below it by U, else CLOSE."""
    # ILAC-G8:09/2019: with a guard band w = U the risk of a wrong pass stays below 2.5 %.
    if value.low >= limit:
        return Side.CLEAR
    return Side.BEYOND if value.high < limit else Side.CLOSE


def against_max(value: Measured, limit: float) -> Side:
    """CLEAR when the value is below the limit by U, BEYOND when above it by U, else CLOSE."""
    # The guard band lies inside the limit: a wrongly kept cell burns, a wrongly discarded one costs a walk.
    if value.high <= limit:
        return Side.CLEAR
    return Side.BEYOND if value.low > limit else Side.CLOSE


def conformance_probability(
    value: float, uncertainty: float, lower: float | None = None, upper: float | None = None
) -> float:
    """Probability that the true value lies within the limits (JCGM 106:2012, 7; normal error).

    `value`, its standard `uncertainty` and the limits share one unit. Raises BadData when the uncertainty is
    negative or not a number, or the limits are crossed.
    """
    if not (math.isfinite(value) and math.isfinite(uncertainty)) or uncertainty < 0:
        raise BadData(
            f"uncertainty {uncertainty} of value {value} is not usable", "give a finite u of zero or more"
        )
    low = -math.inf if lower is None else lower
    high = math.inf if upper is None else upper
    if math.isnan(low) or math.isnan(high) or low > high:
        raise BadData(f"limits {lower} and {upper} are crossed", "give the lower one first")
    # The normal distribution has no limit value for u = 0; an exact value is simply inside or outside.
    if uncertainty == 0:
        return 1.0 if low <= value <= high else 0.0
    return _normal_cdf((high - value) / uncertainty) - _normal_cdf((low - value) / uncertainty)


def _normal_cdf(z: float) -> float:
    return 0.5 * math.erfc(-z / math.sqrt(2.0))


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


class Outcome(IntEnum):
    """What a cell may be used for; a larger one allows more."""

    # Ordered numbers, so that the least of several ceilings is the outcome.
    DISCARD = 0
    HOLD = 1
    LIGHT = 2
    SOLO = 3
    PACK = 4

    @property
    def word(self) -> str:
        return _WORDS[self]

    @classmethod
    def from_word(cls, word: str) -> Outcome:
        return cls[word.upper()]


_WORDS = tuple(outcome.name.lower() for outcome in Outcome)


class Status(StrEnum):
    """How one rule turned out."""

    MET = "met"
    FAILED = "failed"
    CLOSE = "close"
    UNMEASURED = "unmeasured"


@dataclass(frozen=True, slots=True)
class Reason:
    """One rule's answer. `ceiling` is the best outcome it leaves; `observed` and `limit` share `unit`.

    `until` is when this answer runs out by age alone; `todo` what to do about it; `earliest` when that can decide
    (the work itself may begin before); `reading` the id of the reading it came from. A `finding` was `recorded` and
    stays, whatever comes later. `figure` is how `text` begins where several reasons answer one measured figure.
    """

    rule: str
    status: Status
    ceiling: Outcome
    text: str
    observed: float | str | None = None
    expanded_uncertainty: float | None = None
    limit: float | str | None = None
    unit: str = ""
    safety: bool = False
    source: str = ""
    reading: RecordKey | None = None
    at: datetime | None = None
    until: datetime | None = None
    todo: Work | None = None
    earliest: datetime | None = None
    finding: bool = False
    recorded: datetime | None = None
    figure: str = ""

    @property
    def answer(self) -> str:
        """What the text says of its figure."""
        return self.text.removeprefix(self.figure).lstrip(":; ")


def is_final(reason: Reason) -> bool:
    """True for what puts a cell out of use for good: a finding, or a person's own discard."""
    return reason.ceiling is Outcome.DISCARD and (reason.finding or reason.rule == "condemned")


@dataclass(frozen=True, slots=True)
class Missing:
    """One thing a person can do to let the verdict move, and the earliest time that could decide."""

    what: str
    todo: Work
    earliest: datetime | None = None


@dataclass(frozen=True, slots=True)
class Verdict:
    """What a cell may be used for under one rule set, at `at`, and until when that holds without a write."""

    code: str
    outcome: Outcome
    rules: str
    rules_hash: str
    reasons: tuple[Reason, ...]
    missing: tuple[Missing, ...]
    at: datetime
    valid_until: datetime | None
    last_reading: str

    @property
    def monthly_loss(self) -> tuple[float, float | None] | None:
        """The self-discharge that it counted: value and U, in % a month."""
        checks = (r for r in self.reasons if r.rule.startswith("self-discharge") and r.unit == "%/month")
        return next(
            ((r.observed, r.expanded_uncertainty) for r in checks if isinstance(r.observed, float | int)),
            None,
        )

    @property
    def deciding(self) -> tuple[Reason, ...]:
        """The reasons that keep the outcome from being better, the failed ones first."""
        # What is known to be bad comes before what is only unknown: the first cannot be mended by measuring.
        order = {Status.FAILED: 0, Status.CLOSE: 1, Status.UNMEASURED: 2, Status.MET: 3}
        held = [r for r in self.reasons if r.ceiling == self.outcome and self.outcome is not Outcome.PACK]
        return tuple(sorted(held, key=lambda r: (order[r.status], not r.safety)))
