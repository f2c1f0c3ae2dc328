"""A verdict and what it is made of. The headline, the label and the exit code all follow from the reasons."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from enum import IntEnum, StrEnum

from straycell.acceptance.work import Work
from straycell.keys import RecordKey


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
    def deciding(self) -> tuple[Reason, ...]:
        """The reasons that keep the outcome from being better, the failed ones first."""
        # What is known to be bad comes before what is only unknown: the first cannot be mended by measuring.
        order = {Status.FAILED: 0, Status.CLOSE: 1, Status.UNMEASURED: 2, Status.MET: 3}
        held = [r for r in self.reasons if r.ceiling == self.outcome and self.outcome is not Outcome.PACK]
        return tuple(sorted(held, key=lambda r: (order[r.status], not r.safety)))
