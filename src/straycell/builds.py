"""A build: cells committed to a project, position by position, until it is dismantled."""

from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum

from straycell.keys import RecordKey


class BuildState(StrEnum):
    RESERVED = "reserved"
    FINISHED = "finished"
    DISMANTLED = "dismantled"


@dataclass(frozen=True, slots=True)
class GroupVoltage:
    """The rest voltage of one group in V with its standard uncertainty `u_v`.

    `alone_u_v` is the part of it that another reading by the same `meter` does not share; None where that is not known.
    `charged_alone`: since the inspection before, this group was charged by itself.
    """

    value_v: float
    u_v: float
    alone_u_v: float | None = None
    meter: str = ""
    charged_alone: bool = False


@dataclass(frozen=True, slots=True)
class Inspection:
    """The rest voltages of all groups of a build at one time, in series order."""

    at: datetime
    groups: tuple[GroupVoltage, ...]


@dataclass(frozen=True, slots=True)
class Build:
    """Cells of one project; `groups` lists the codes of each parallel group in series order.

    `inspections` of the groups' voltages, the oldest first.
    """

    id: RecordKey
    project: str
    state: BuildState
    groups: tuple[tuple[str, ...], ...]
    plan: str
    reserved_at: datetime
    finished_at: datetime | None = None
    dismantled_at: datetime | None = None
    inspections: tuple[Inspection, ...] = ()

    @property
    def codes(self) -> tuple[str, ...]:
        return tuple(code for group in self.groups for code in group)
