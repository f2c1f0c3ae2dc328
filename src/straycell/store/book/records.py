"""What the store hands out beside the trade's own values."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime
from enum import StrEnum
from pathlib import Path
from typing import Any, NamedTuple

from straycell.acceptance import Outcome
from straycell.keys import RecordKey
from straycell.meters import Meter
from straycell.readings import Charge, Reading

PRINTED = "labels-printed"
"""The verb of a write that only says what is on paper now."""


@dataclass(frozen=True, slots=True)
class Event:
    """What was done: when, to which cells, and why. `subject` names what is not a cell; `write` the write it is part of."""

    id: int
    at: datetime
    verb: str
    cells: tuple[str, ...]
    subject: str
    detail: dict[str, Any]
    because: str
    write: int = 0


@dataclass(frozen=True, slots=True)
class Photograph:
    """A photograph of a cell: the SHA-256 of its file, when it was kept, how large the file is and where."""

    cell: str
    sha256: str
    at: datetime
    size_bytes: int
    file: Path


@dataclass(frozen=True, slots=True)
class RecordedReading:
    """A reading or charge as it is in the store; `event_id` is the write that recorded it.

    `mistake` is empty unless it was superseded; `superseded_by` is then the (first) reading in its place,
    or None with `retracted` true: taken back without another in its place.
    """

    item: Reading | Charge
    recorded_at: datetime
    event_id: int
    superseded_by: RecordKey | None = None
    mistake: str = ""
    because: str = ""
    retracted: bool = False

    @property
    def superseded(self) -> bool:
        return self.mistake != ""


class Standing(NamedTuple):
    """The head of a verdict: its outcome, and until when that holds without a write."""

    outcome: Outcome
    valid_until: datetime | None


ProjectState = StrEnum("ProjectState", "PENDING RESERVED BUILT DROPPED")
"""Where a project is: waiting for cells, promised them, running on them, or given up."""


class Listing(StrEnum):
    """A cell on a hand-over: listed, gone with it, or left out because it is not condemned any more."""

    LISTED = "listed"
    GONE = "handed-over"
    LEFT_OUT = "left-out"


@dataclass(frozen=True, slots=True)
class ProjectEntry:
    """A project as filed: its TOML text and where it is."""

    name: str
    text: str
    priority: int
    due: date | None
    state: ProjectState
    added_at: datetime


@dataclass(frozen=True, slots=True)
class LabelPrint:
    """A label that was printed: when, for what, and the fingerprint of what it says."""

    at: datetime
    purpose: str
    fingerprint: str


class Box(NamedTuple):
    """Where cells lie. A limit of None means: none said."""

    name: str
    kind: str
    limit_wh: float | None = None


@dataclass(frozen=True, slots=True)
class TraceHead:
    """What is said of a trace: of which cell, when it ended, how it was read and what came of it.

    `setting` holds what the figures were worked out with.
    """

    cell: str
    name: str
    at: datetime
    meter: Meter | None
    cutoff_v: float
    columns: str
    setting: Mapping[str, Any]
    result: Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class NewTrace(TraceHead):
    """A trace to be filed, with its file byte for byte; `curve`: few points of the discharge its figures are of."""

    raw: bytes
    curve: Mapping[str, Any] | None = None


@dataclass(frozen=True, slots=True)
class TraceEntry(TraceHead):
    """A trace as it is in the store, without its file."""

    id: RecordKey
    sha256: str
    size_bytes: int
    recorded_at: datetime


@dataclass(frozen=True, slots=True)
class HandoverEntry:
    """Cells gathered for a collection point. `body` is the list that went with them, once it is closed."""

    id: RecordKey
    place: str
    opened_at: datetime
    closed_at: datetime | None
    codes: tuple[str, ...]
    body: dict[str, Any] | None = None


@dataclass(frozen=True, slots=True)
class Comparison:
    """When a meter was last compared with a better one, or else declared; `compared` tells which."""

    meter: str
    last: datetime
    compared: bool


class Keep(StrEnum):
    """Marks an argument that leaves what it names as it is (None would clear it)."""

    KEEP = "keep"


KEEP = Keep.KEEP
