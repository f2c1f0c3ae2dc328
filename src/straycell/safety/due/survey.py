"""What a survey looks at and what it finds: the household, the kinds of due.toml, the items. `gather` makes the survey."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from functools import cached_property, lru_cache

from straycell.acceptance import Case, Evidence, Outcome, Reason, Status, Verdict, hold_of
from straycell.builds import Build
from straycell.cells import Cell
from straycell.readings import Charger
from straycell.safety.incidents import find_incident
from straycell.safety.storage import Standing, standing
from straycell.shipped import shipped_table


@dataclass(frozen=True, slots=True)
class DueKind:
    """One kind of thing to look at. A lower `rank` is worse; `do` has places to fill in; `charge`: it asks for one."""

    id: str
    rank: int
    title: str
    danger: bool
    do: str
    source: str
    days: Mapping[str, float] = field(default_factory=dict)
    charge: bool = False


@dataclass(frozen=True, slots=True)
class DueItem:
    """One thing to look at from `at` (UTC) on: which cell, project or meter, why, and what to do.

    `instead` is what to do where the cell may not have the charge that its kind asks for.
    """

    kind: DueKind
    subject: str
    at: datetime
    why: str
    box: str | None = None
    about: str = "cell"
    fill: Mapping[str, str] = field(default_factory=dict)
    instead: str = ""

    @property
    def todo(self) -> str:
        return self.instead or self.kind.do.format(
            **{"code": self.subject, "project": self.subject, **self.fill}
        )

    @property
    def order(self) -> tuple[int, datetime, str]:
        """Worst first, then longest due, then by code."""
        return self.kind.rank, self.at, self.subject


def common_step(listed: Sequence[DueItem]) -> str:
    """What to do about several of one kind: with CODE where each cell has its own."""
    if len({item.todo for item in listed}) == 1:
        return listed[0].todo
    steps = {item.todo.replace(item.subject, "CODE") for item in listed}
    places = {**listed[0].fill, "code": "CODE", "project": "PROJECT", "target": "its storage level"}
    return steps.pop() if len(steps) == 1 else listed[0].kind.do.format(**places)


@dataclass(frozen=True)
class Kept:
    """One cell as the survey sees it. `condemned_at` is when it was condemned, `build` the project it sits in."""

    cell: Cell
    case: Case
    verdict: Verdict
    condemned_at: datetime | None = None
    build: str | None = None
    handover: str | None = None

    @property
    def code(self) -> str:
        return self.cell.code

    @property
    def evidence(self) -> Evidence:
        return self.case.evidence

    @property
    def now(self) -> datetime:
        return self.case.now

    def since(self, at: datetime | None) -> datetime:
        """Since when a danger that was seen is due: never later than now, lest a clock set back hides it."""
        return self.now if at is None else min(at, self.now)

    @cached_property
    def dangers(self) -> Mapping[str, list[Reason]]:
        """The reasons that hold it for something that was seen, by kind of danger."""
        found: dict[str, list[Reason]] = {}
        for reason in self.verdict.reasons:
            found.setdefault(danger_of(reason), []).append(reason)
        found.pop("", None)
        return found

    @cached_property
    def standing(self) -> Standing:
        """How full it is, and since when."""
        return standing(self.case)


@dataclass(frozen=True, slots=True)
class MeterCheck:
    """A meter and when it was last compared, or else first declared."""

    name: str
    last: datetime
    compared: bool


@dataclass(frozen=True, slots=True)
class Household:
    """Everything the survey looks at. `box_kinds` gives each box's kind as written; `chargers` each measurement."""

    kept: Sequence[Kept]
    box_kinds: Mapping[str, str]
    builds: Sequence[Build]
    meters: Sequence[MeterCheck]
    now: datetime
    chargers: Sequence[Charger] = ()


@lru_cache(maxsize=1)
def due_kinds() -> Mapping[str, DueKind]:
    """The kinds by id, worst first."""
    kinds = [
        DueKind(rank=rank, **entry) for rank, entry in enumerate(shipped_table("safety/due/due.toml")["kind"])
    ]
    return {kind.id: kind for kind in kinds}


def danger_of(reason: Reason) -> str:
    """The kind of danger where a reason holds a cell for something that was seen; empty for any other."""
    if reason.status is Status.MET or reason.ceiling > Outcome.HOLD:
        return ""
    hold = hold_of(reason.rule)
    if hold.measured and reason.status is Status.UNMEASURED:
        return ""
    known = find_incident(str(reason.observed)) if hold.due == "incident" else None
    return known.due if known else hold.due
