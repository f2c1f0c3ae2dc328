"""A build: cells committed to a project, position by position, until it is dismantled."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum

from straycell.keys import RecordKey


class BuildState(StrEnum):
    RESERVED = "reserved"
    FINISHED = "finished"
    DISMANTLED = "dismantled"


@dataclass(frozen=True, slots=True)
class Build:
    """Cells of one project; `groups` lists the codes of each parallel group in series order."""

    id: RecordKey
    project: str
    state: BuildState
    groups: tuple[tuple[str, ...], ...]
    plan: str
    reserved_at: datetime
    finished_at: datetime | None = None
    dismantled_at: datetime | None = None

    @property
    def codes(self) -> tuple[str, ...]:
        return tuple(code for group in self.groups for code in group)
