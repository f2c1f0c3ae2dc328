"""What a use case works on: one store, the rules in force, and the one moment of the command."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import AbstractContextManager, contextmanager
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from threading import Lock
from typing import TYPE_CHECKING

from straycell.acceptance import RuleSet
from straycell.errors import BadData
from straycell.store.book.records import Event

if TYPE_CHECKING:
    from straycell.store.quick.kept_open import KeptReaders as KeptReaders
    from straycell.store.reader import Reader as Reader
    from straycell.store.writer import Writer as Writer
else:
    # The names for annotations, here for every use case: what opens a store is loaded when one is opened.
    KeptReaders = Reader = Writer = object

LONGEST_TURN_S = 30.0
"""As long as a writer waits for another program."""


class SentTwice(BadData):
    """What a form said is in the store already: it was sent before and its answer was lost."""

    def __init__(self, code: str) -> None:
        super().__init__(f"this was recorded for {code} already", "nothing is recorded twice: go on")


class ChangedSince(BadData):
    """A form was filled in on top of something old. `newer` are the events since, `last_event` the newest number."""

    def __init__(self, code: str, newer: tuple[Event, ...]) -> None:
        listed = ", ".join(dict.fromkeys(event.verb for event in newer))
        super().__init__(
            f"{code} has changed since this page was opened: {listed}", "read what is new, then send it again"
        )
        self.newer = newer
        self.last_event = newer[-1].id


@dataclass(frozen=True, slots=True)
class SentForm:
    """What a page sent about a cell: its own `key`, and the last event of the cell it was based on (None: on none)."""

    code: str
    key: str
    last_event: int | None = None

    def check(self, reader: Reader) -> None:
        """Raise SentTwice where the key is recorded, ChangedSince where the cell has newer events."""
        history = reader.history(self.code, others=False)
        if any(event.detail.get("entry") == self.key for event in history):
            raise SentTwice(self.code)
        newer = tuple(e for e in history if self.last_event is not None and e.id > self.last_event)
        if newer:
            raise ChangedSince(self.code, newer)


def kept_readers(path: Path) -> KeptReaders:
    """Readers of this store that stay open until they are closed."""
    from straycell.store.quick.kept_open import KeptReaders

    return KeptReaders(path)


@contextmanager
def looking(path: Path, kept: KeptReaders | None = None) -> Iterator[Reader]:
    """One snapshot of the store at `path`: all that is read within the block belongs to one moment. Raises StoreFault.

    Leave the block before solving, asking or drawing: an open read makes another's commit fail (rollback
    journal, SQLite "File Locking And Concurrency", 5).
    """
    from straycell.store.reader import open_reader

    with open_reader(path) if kept is None else kept.reading() as reader, reader.snapshot():
        yield reader


@dataclass(frozen=True, slots=True)
class Bench:
    """The store at `path`, seen and written under `rules` at `now` (UTC), for a form where one was `sent`.

    A program that looks all the time gives its `kept` readers; one with many writers the `turn` they wait for.
    """

    path: Path
    rules: RuleSet
    now: datetime
    sent: SentForm | None = None
    kept: KeptReaders | None = None
    turn: Lock | None = None

    def reading(self) -> AbstractContextManager[Reader]:
        """One snapshot of its store, as `looking` gives it."""
        return looking(self.path, self.kept)

    @contextmanager
    def writing(self, *, create: bool = False) -> Iterator[Writer]:
        """One transaction, dated `now`. Only what adds something new passes `create`. Raises StoreFault."""
        from straycell.store.writer import open_writer

        entry = self.sent.key if self.sent else ""
        with (
            self._in_turn(),
            open_writer(self.path, now=self.now, rules=self.rules, create=create, entry=entry) as writer,
        ):
            # Under the write lock: between a check and a write outside it another could slip in.
            if self.sent is not None:
                self.sent.check(writer)
            yield writer

    @contextmanager
    def _in_turn(self) -> Iterator[None]:
        # SQLite's waiting writers ask again at random: of fifty some would starve while others pass them.
        turn = self.turn
        if turn is None or not turn.acquire(timeout=LONGEST_TURN_S):
            yield  # the store itself then says who holds it
            return
        try:
            yield
        finally:
            turn.release()
