"""The last write of this bench, taken back as a slip."""

from dataclasses import dataclass
from datetime import timedelta

from straycell.bench.context import Bench
from straycell.bench.recording.record import Recorded, followed
from straycell.errors import BadData
from straycell.keys import key_of
from straycell.readings import Mistake

UNDO_WITHIN = timedelta(hours=1)
"""Later than this nobody remembers surely what was typed; common practice, no published source."""


@dataclass(frozen=True, slots=True)
class Undone:
    """The readings and charges that were taken back, and what followed for their cells."""

    numbers: tuple[str, ...]
    recorded: Recorded


def undo_last(bench: Bench, because: str) -> Undone:
    """Take the last write of this bench back as mistyped, within an hour. Raises BadData when it cannot be."""
    with bench.writing() as writer:
        # Only this bench's writes: what another one wrote and merged is not this person's slip.
        latest = writer.own_events(bench.now - UNDO_WITHIN)
        if not latest:
            raise BadData(
                "nothing was written within the last hour",
                "take an older reading back by its number: straycell reading supersede ID",
            )
        event, numbers = latest[-1]
        # Undoing an undo would record the value a second time; it is recorded again by hand.
        if not numbers or event.verb == "reading-superseded":
            raise BadData(
                f"the last write recorded no reading ({event.verb})",
                "straycell log --today lists what can be taken back, by number",
            )
        # In the order of the write, each once: several readings of a cell are one line for the person.
        codes: dict[str, None] = {}
        for number in numbers:
            codes[writer.reading(key_of(number)).item.cell] = None
            writer.supersede(key_of(number), Mistake.MISTYPED.value, because, undone=True)
        return Undone(tuple(numbers), followed(bench, writer, (), list(codes)))
