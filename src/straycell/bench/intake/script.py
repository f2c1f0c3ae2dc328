"""What a dialogue may ask, say and have done. It yields these values; whoever drives it sends back the answer."""

from __future__ import annotations

from collections.abc import Generator, Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime
from enum import StrEnum
from typing import TYPE_CHECKING, Any, TypeAlias, TypeVar

from straycell.acceptance.reasons import Outcome
from straycell.bench.intake.words import is_code_like
from straycell.bench.outlook import Outlook
from straycell.bench.recording.record import Lost
from straycell.cells import CellFacts, Look
from straycell.errors import StraycellError
from straycell.readings import Charge, Quantity, Reading
from straycell.safety import Step

if TYPE_CHECKING:
    from straycell.meters import Meter

T = TypeVar("T")


class Key(StrEnum):
    """Answers that are one key, the same at every prompt."""

    BACK = "<"
    HELP = "?"
    DONE = "q"
    NONE = "-"
    SAME = "="
    NEXT = "+"


class Tone(StrEnum):
    """How a line is said: the terminal gives each its weight."""

    PLAIN = "plain"
    HEAD = "head"
    GOOD = "good"
    FAULT = "fault"
    DANGER = "danger"


@dataclass(frozen=True, slots=True)
class Ask:
    """One question; the answer is the line typed. `default` is what Enter takes, `why` what `?` says.

    `legend` is above the prompt each time. Questions of one `history` share what was typed before; "" has none.
    """

    prompt: str
    default: str = ""
    why: str = ""
    legend: str = ""
    history: str = ""


@dataclass(frozen=True, slots=True)
class Say:
    """A line for the person."""

    text: str
    tone: Tone = Tone.PLAIN


@dataclass(frozen=True, slots=True)
class Large:
    """A code in large letters."""

    code: str


@dataclass(frozen=True, slots=True)
class Caution:
    """The short cautions of some steps, with what the kind of cell adds."""

    steps: tuple[Step, ...]
    facts: CellFacts | None = None


@dataclass(frozen=True, slots=True)
class NewCode:
    """Set the bench's next code aside; the answer is the code."""


@dataclass(frozen=True, slots=True)
class NextBlank:
    """The printed blank that comes after the one used last; the answer is its code, "" for none."""


@dataclass(frozen=True, slots=True)
class FindCode:
    """Whose code is this? The answer is a Found; raises BadData for one that is not a code.

    The last digits are enough where only one code of the store ends in them.
    """

    text: str


@dataclass(frozen=True, slots=True)
class Shelve:
    """Lay a cell into a box; raises BadData when it may not lie there."""

    code: str
    box: str


@dataclass(frozen=True, slots=True)
class OpenTeardown:
    """Record a tear-down; the answer is an Opened."""

    title: str
    kind: str
    objects: int = 1


@dataclass(frozen=True, slots=True)
class FindTeardown:
    """The tear-down of this code, as an Opened; raises BadData."""

    code: str


@dataclass(frozen=True, slots=True)
class UseMeter:
    """The meter of this name, declared like a shipped class when there is none yet."""

    name: str
    like: str = ""


@dataclass(frozen=True, slots=True)
class Entry:
    """What is to be recorded of one cell, in one transaction. `facts` None: they stay as they are.

    `readings` and `charges` bear the cell's code and no number. Those with the time `UNSET` get that of the write.
    """

    code: str
    facts: CellFacts | None = None
    items: tuple[Reading | Charge, ...] = ()
    teardown: str | None = None
    pack: str | None = None
    is_new: bool = False


@dataclass(frozen=True, slots=True)
class Keep:
    """Record an entry; the answer is a CellKept."""

    entry: Entry


@dataclass(frozen=True, slots=True)
class Amend:
    """Put an entry in the place of what was kept; what differs is superseded. The answer is a CellKept."""

    former: CellKept
    entry: Entry
    because: str


@dataclass(frozen=True, slots=True)
class WhatWaits:
    """Which cells wait for a reading that can be taken now; the answer is a list of Waiting."""

    code: str | None = None


@dataclass(frozen=True, slots=True)
class Now:
    """The time."""


@dataclass(frozen=True, slots=True)
class PrintLabels:
    """A label sheet of these cells; raises BadData when it cannot be written."""

    path: str
    codes: tuple[str, ...]


Effect: TypeAlias = (
    Ask
    | Say
    | Large
    | Caution
    | NewCode
    | NextBlank
    | FindCode
    | Shelve
    | OpenTeardown
    | FindTeardown
    | UseMeter
    | Keep
    | Amend
    | WhatWaits
    | Now
    | PrintLabels
)
Talk: TypeAlias = Generator[Effect, Any, T]


class Bearer(StrEnum):
    """What a code stands for."""

    CELL = "cell"
    BLANK = "blank"
    NOTHING = "nothing"


@dataclass(frozen=True, slots=True)
class Found:
    """A code that can be right, and what it stands for."""

    code: str
    bearer: Bearer
    facts: CellFacts = field(default_factory=CellFacts)
    has: frozenset[Quantity] = frozenset()
    out_of_use: str = ""


@dataclass(frozen=True, slots=True)
class Opened:
    """A tear-down of so many objects, and what the last cell out of it was."""

    code: str
    title: str
    pack: str = "1"
    facts: CellFacts | None = None
    box: str = ""
    objects: int = 1


@dataclass(frozen=True, slots=True)
class CellKept:
    """A cell as recorded: its numbered items, its verdict now, and the projects that lost it."""

    code: str
    facts: CellFacts
    items: tuple[Reading | Charge, ...]
    outcome: Outcome
    headline: str
    because: tuple[str, ...] = ()
    outlook: Outlook = field(default_factory=Outlook)
    lost: Lost = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Start:
    """What is known before the first question. After a bad look nothing more is asked; an isolating one is danger."""

    bad_looks: frozenset[Look]
    isolating_looks: frozenset[Look]
    floor_v: float
    meters: Mapping[str, Meter] = field(default_factory=dict)
    remembered: Mapping[Quantity, Reading] = field(default_factory=dict)
    last_charge: Charge | None = None
    teardown: str | None = None
    last_teardown: tuple[str, str, str] | None = None
    boxes: tuple[str, ...] = ()
    waiting: int = 0
    due: bool = False


UNSET = datetime.min.replace(tzinfo=UTC)
"""The time of an item that gets the time of its writing."""


class Scanned(Exception):
    """A cell's code came where something else was asked for. A scanner types wherever the cursor is."""

    def __init__(self, code: str) -> None:
        super().__init__(code)
        self.code = code


def ask(question: Ask, *, for_code: bool = False) -> Talk[str]:
    """Ask until the answer is not a plea for help. Raises Scanned for a code, unless the question is `for_code`."""
    while True:
        text: str = yield question
        if is_code_like(text) and not for_code:
            # By its shape alone: a misread code must not become a title, a print or a figure either.
            try:
                found: Found = yield FindCode(text)
            except StraycellError as error:
                yield fault(error)
                continue
            raise Scanned(found.code)
        if text != Key.HELP:
            return text
        yield Say(question.why or "Type what it asks for, or Enter for what is in brackets.")
        if question.legend:
            yield Say(question.legend)


def fault(error: StraycellError) -> Say:
    """A refusal in one line: what is wrong, and what to write instead."""
    what, *remedy = error.lines()
    return Say(" ".join([f"{what}.", *(f"{text[:1].upper()}{text[1:]}." for text in remedy)]), Tone.FAULT)
