"""What this bench wrote lately: read back, and its slips taken back."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from straycell.bench.context import Bench, Reader
from straycell.bench.recording.record import Recorded, followed
from straycell.errors import BadData
from straycell.keys import key_of
from straycell.readings import Mistake
from straycell.store.book.records import PRINTED, Event

UNDO_WITHIN = timedelta(hours=1)
"""Later than this nobody remembers surely what was typed; common practice, no published source."""


@dataclass(frozen=True, slots=True)
class Logged:
    """One thing done, with the numbers of its readings and charges that still count."""

    event: Event
    numbers: tuple[str, ...]


def log_since(bench: Bench, since: datetime) -> list[Logged]:
    """What this bench wrote since a time (UTC), oldest first; another bench's merged writes are not among it."""
    with bench.reading() as reader:
        return _logged(reader, since)


def last_write(logged: Sequence[Logged]) -> list[Logged]:
    """What was done in the newest write. Printed labels are passed over: they record nothing that could be meant."""
    done = [each for each in logged if each.event.verb != PRINTED]
    return [each for each in done if each.event.write == done[-1].event.write]


def _logged(reader: Reader, since: datetime) -> list[Logged]:
    return [Logged(event, tuple(numbers)) for event, numbers in reader.own_events(since)]


@dataclass(frozen=True, slots=True)
class Undone:
    """The readings and charges that were taken back, and what followed for their cells."""

    numbers: tuple[str, ...]
    recorded: Recorded


def undo_last(bench: Bench, because: str) -> Undone:
    """Take the last write of this bench back as mistyped, within an hour. Raises BadData when it cannot be."""
    with bench.writing() as writer:
        # Only this bench's writes: what another one wrote and merged is not this person's slip.
        latest = last_write(_logged(writer, bench.now - UNDO_WITHIN))
        if not latest:
            raise BadData(
                "nothing was written within the last hour",
                "take an older reading back by its number: straycell reading supersede ID",
            )
        verbs = [each.event.verb for each in latest]
        numbers = tuple(number for each in latest for number in each.numbers)
        # Undoing an undo would record the value a second time; it is recorded again by hand.
        if not numbers or "reading-superseded" in verbs:
            raise BadData(
                f"the last write recorded no reading ({verbs[0]})",
                "straycell log --today lists what can be taken back, by number",
            )
        # In the order of the write, each once: several readings of a cell are one line for the person.
        codes: dict[str, None] = {}
        for number in numbers:
            codes[writer.reading(key_of(number)).item.cell] = None
            writer.supersede(key_of(number), Mistake.MISTYPED.value, because, undone=True)
        return Undone(numbers, followed(bench, writer, (), list(codes)))
