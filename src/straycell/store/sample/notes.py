"""The bench notes of the sample workshop: one line of words becomes one or more things done to a cell.

`10-04  charge peak 26C; capacity 1846mAh`: a date, then jobs. What a job leaves out comes from the usual
words of its tear-down. The notation is explained in sample_db/README.md.
"""

import shlex
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, time
from typing import Any

from straycell.cells import Look
from straycell.errors import BadData
from straycell.keys import NEW
from straycell.meters import Meter
from straycell.quantities import Dimension, parse_quantity
from straycell.readings import (
    FACTS,
    FIELDS,
    KINDS,
    Charger,
    Field,
    Item,
    Kind,
    Method,
    Mistake,
    Quantity,
    Reading,
    Where,
    charge_of,
    measured,
    reading_of,
)
from straycell.store.writer import Writer

KIND_OF = {note: kind for kind in KINDS.values() for note in kind.notes}
MISTAKES = tuple(str(m) for m in Mistake)
_FACTS = {field.column: field for field in FACTS.values()}


@dataclass(frozen=True, slots=True)
class TakenBack:
    """The cell's latest reading of a kind (`charge` too) is superseded."""

    at: datetime
    code: str
    quantity: Quantity
    mistake: str
    because: str
    right_cell: str | None = None
    instead: Item | None = None


@dataclass(frozen=True, slots=True)
class Deed:
    """Anything else that is done: a method of the writer, and what it is called with."""

    at: datetime
    does: Callable[..., Any]
    args: tuple[Any, ...]


Job = Item | TakenBack | Deed
"""What a note says was done: a reading or charge to record, or another deed."""


@dataclass(frozen=True, slots=True)
class NoteDefaults:
    """What all notes share: the year, the usual hour of each job, the usual words of this tear-down."""

    year: int
    hours: Mapping[str, time]
    usual: Mapping[str, str] = field(default_factory=dict)


def read_notes(code: str, text: str, bench: NoteDefaults) -> Iterator[Job]:
    """The jobs of one cell's notes, in the order written. Raises BadData that quotes the line."""
    busy: datetime | None = None
    for line in filter(None, (raw.partition("#")[0].strip() for raw in text.splitlines())):
        try:
            for job in _line(code, line, bench):
                rested = _with_rest(job, busy)
                yield rested
                busy = _busy_until(rested) or busy
        except (BadData, ValueError, IndexError, KeyError) as fault:
            raise BadData(f"sample cell {code}, note '{line}': {fault}", "see sample_db/README.md") from fault


def _line(code: str, line: str, bench: NoteDefaults) -> Iterator[Job]:
    words = _split(line)
    day = words.pop(0)
    date_text = day if len(day) > 5 else f"{bench.year}-{day}"
    clock = time.fromisoformat(words.pop(0)) if words and words[0][:1].isdigit() else None
    for job in _jobs(words):
        hour = clock or bench.hours[job[0] if job[0] in bench.hours else "other"]
        at = datetime.combine(datetime.fromisoformat(date_text), hour, UTC)
        yield _job(code, at, job, bench)


def _split(line: str) -> list[str]:
    reader = shlex.shlex(line, posix=True, punctuation_chars=";")
    reader.whitespace_split = True
    reader.commenters = ""
    return list(reader)


def _jobs(words: Sequence[str]) -> Iterator[list[str]]:
    job: list[str] = []
    for word in [*words, ";"]:
        if word == ";":
            if job:
                yield job
            job = []
        else:
            job.append(word)


def _job(code: str, at: datetime, words: list[str], bench: NoteDefaults) -> Job:
    verb, rest = words[0], words[1:]
    if verb in MISTAKES:
        return _taken_back(code, at, verb, rest, bench)
    if verb == "correct":
        mistyped = rest[-1] == Mistake.MISTYPED
        changes = dict(word.split("=", 1) for word in rest if "=" in word)
        because = next(word for word in rest if "=" not in word)
        mistake = Mistake.MISTYPED if mistyped else None
        return Deed(at, Writer.correct_cell, (code, changes_of(changes), because, mistake))
    if verb == "float":
        volts, name, meter = rest
        return Deed(at, _measure_charger, (at, parse_quantity(volts, Dimension.VOLTAGE), name, meter))
    if verb == "box":
        return Deed(at, Writer.move_cell, (code, rest[0]))
    if verb == "discard":
        return Deed(at, Writer.discard, (code, rest[0]))
    return _item(code, at, verb, rest, bench)


def _taken_back(code: str, at: datetime, mistake: str, words: list[str], bench: NoteDefaults) -> TakenBack:
    """`mistyped found "because" is 3.71V`, `wrong-cell capacity "because" of H00001K`."""
    kind, because, rest = words[0], words[1], words[2:]
    right = rest[1] if rest[:1] == ["of"] else None
    instead = _item(code, at, kind, rest[1:], bench) if rest[:1] == ["is"] else None
    return TakenBack(at, code, KIND_OF[kind].quantity, mistake, because, right, instead)


def _measure_charger(writer: Writer, at: datetime, float_v: float, name: str, meter: str) -> None:
    shown = Reading(NEW, "", Quantity.VOLTAGE, at, float_v, meter=writer.meter(meter))
    writer.add_charger(Charger(name, at, None, measured(shown, writer.pen.rules.defaults)))


def _item(code: str, at: datetime, verb: str, words: Sequence[str], bench: NoteDefaults) -> Item:
    kind = KIND_OF[verb]
    said = _said(kind, _split(bench.usual.get(verb, ""))) | _said(kind, words)
    meter = said.pop("meter", "none")
    if kind.quantity is Quantity.CHARGE:
        return charge_of(said, code, at)
    return reading_of(kind, said, code, at, Meter(meter) if meter != "none" else None)


def _said(kind: Kind, words: Sequence[str]) -> dict[str, Any]:
    """What a job's words say, by the names of the fields; a later word wins."""
    by_note = {field.note: field for field in kind.fields() if field.note}
    bare = FIELDS["current_a"] if kind.quantity is Quantity.CHARGE else kind.value
    found: dict[str, Any] = {}
    left = list(words)
    while left:
        word = left.pop(0)
        field = by_note.get(word)
        if kind.value is None:
            found["look"] = (*found.get("look", ()), Look(word))
        elif field is not None:
            found[field.name] = True if field.kind is bool else _value(field, left.pop(0))
        elif word == "meter":
            found["meter"] = left.pop(0)
        elif word in set(Where):
            found["where"] = Where(word)
        elif word in set(Method):
            found["method"] = Method(word)
        elif word.endswith("C") and word[0] in "-0123456789":
            found["temperature_c"] = parse_quantity(word, Dimension.TEMPERATURE)
        elif bare is not None and word[0].isdigit():
            found[bare.name] = _value(bare, word)
        else:
            raise BadData(f"'{word}' is not understood")
    return found


def _value(field: Field, word: str) -> Any:
    return word if field.dimension is None else parse_quantity(word, field.dimension)


def _with_rest(job: Job, busy: datetime | None) -> Job:
    """A rest voltage that does not say how long it rested did so since the last charge or discharge."""
    if not isinstance(job, Reading) or job.quantity is not Quantity.VOLTAGE or busy is None:
        return job
    return job if job.rested_s is not None else replace(job, rested_s=(job.at - busy).total_seconds())


def _busy_until(job: Job) -> datetime | None:
    is_run = isinstance(job, Item) and job.quantity in (Quantity.CHARGE, Quantity.CAPACITY)
    return job.at if is_run else None


def changes_of(entry: Mapping[str, Any]) -> dict[str, Any]:
    """The facts that these words state, by the store's names. Raises BadData for a key that is not a fact of a cell."""
    made: dict[str, Any] = {}
    for key, value in entry.items():
        if key not in _FACTS:
            raise BadData(f"'{key}' is not a fact of a cell")
        field = _FACTS[key]
        if field.dimension is not None:
            made[field.name] = None if value == "unknown" else parse_quantity(value, field.dimension)
        else:
            made[field.name] = field.kind(value)
    return made
