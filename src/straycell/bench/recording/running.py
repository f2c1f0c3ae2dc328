"""What runs by itself and must be looked at: a rest that ends, a charge that was begun. From the store's moments alone."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from enum import StrEnum
from math import floor

from straycell.acceptance import Verdict, WorkKind, charge_refusal
from straycell.bench.context import Bench
from straycell.errors import BadData

LOOK_EVERY = timedelta(minutes=30)
"""A charge is attended; how often it is looked at: common practice, no published source."""
LONGEST_CHARGE = timedelta(hours=48)
"""Nobody recorded the end of one begun longer ago: its timer would only hide others (common practice, no published source)."""


Runs = StrEnum("Runs", "REST CHARGE")
"""What a timer counts down to."""


@dataclass(frozen=True, slots=True)
class Timer:
    """A cell that must be looked at at `at` (UTC). `since`: when its charge was begun."""

    code: str
    runs: Runs
    at: datetime
    since: datetime | None = None


def begin_charge(bench: Bench, code: str) -> None:
    """Note that a charge of this cell begins now. Raises BadData where it may have none."""
    with bench.writing() as writer:
        found = writer.find_code(code)
        refusal = charge_refusal(
            writer.verdict(found, bench.rules, bench.now), writer.cell(found).facts.chemistry
        )
        # Whoever asks for a timer is about to connect the cell: the last moment to say no.
        if refusal is not None:
            raise BadData(refusal.why, refusal.first)
        writer.begin_charge(found)


def timers(verdicts: Iterable[Verdict], begun: Mapping[str, datetime], now: datetime) -> list[Timer]:
    """The timers of these cells, the next one first; `begun` says when a charge began that is not recorded yet."""
    found = []
    for verdict in verdicts:
        since = begun.get(verdict.code)
        if since is not None and since <= now < since + LONGEST_CHARGE:
            looks = floor((now - since) / LOOK_EVERY) + 1
            found.append(Timer(verdict.code, Runs.CHARGE, since + looks * LOOK_EVERY, since))
            # On a charger it does not rest.
            continue
        ends = [
            m.todo.not_before for m in verdict.missing if WorkKind.REST in m.todo.kinds and m.todo.not_before
        ]
        later = [at for at in ends if at > now]
        if later:
            found.append(Timer(verdict.code, Runs.REST, min(later)))
    return sorted(found, key=lambda timer: (timer.at, timer.code))
