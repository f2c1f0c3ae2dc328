"""What a use case works on: one store, the rules in force, and the one moment of the command."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from straycell.acceptance import RuleSet
    from straycell.store.reader import Reader
    from straycell.store.writer import Writer


@dataclass(frozen=True, slots=True)
class Bench:
    """The store at `path`, seen and written under `rules` at `now` (UTC)."""

    path: Path
    rules: RuleSet
    now: datetime

    @contextmanager
    def reading(self) -> Iterator[Reader]:
        """One snapshot: all that is read within the block belongs to one moment. Raises StoreFault.

        Leave the block before solving, asking or drawing: an open read makes another's commit fail (rollback
        journal, SQLite "File Locking And Concurrency", 5).
        """
        from straycell.store.reader import open_reader

        with open_reader(self.path) as reader, reader.snapshot():
            yield reader

    @contextmanager
    def writing(self, *, create: bool = False) -> Iterator[Writer]:
        """One transaction, dated `now`. Only what adds something new passes `create`. Raises StoreFault."""
        from straycell.store.writer import open_writer

        with open_writer(self.path, now=self.now, rules=self.rules, create=create) as writer:
            yield writer
