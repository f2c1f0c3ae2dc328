"""What a project gets: the answer of a match, and the hash by which a plan is known again."""

import hashlib
import json
from collections.abc import Sequence
from dataclasses import dataclass

from straycell.cells import position_name
from straycell.matching.pack.joining import Joining
from straycell.matching.screen import Candidate, Why
from straycell.matching.sheet.data import PackData
from straycell.matching.words import finite
from straycell.physics.run_time.runtime import Runtime
from straycell.projects import Project

# 64 bits of a hash: two plans of one store never share them by chance.
PLAN_LENGTH = 16


@dataclass(frozen=True, slots=True)
class Match:
    """What a project gets. `groups` lists the codes of each parallel group in series order.

    `why` holds the tests the chosen cells passed, `not_chosen` the first one each other cell failed (nearest
    first); an unserved match has its `missing`, and the `nearest` cell. `joining` says how a pack's cells come
    together, `data` what the pack is in figures. `proven`
    is False where an unserved pack was only not found. Capacities in Ah.
    """

    project: str
    served: bool
    groups: tuple[tuple[str, ...], ...] = ()
    spread_ah: float | None = None
    bound_spread_ah: float | None = None
    gap: float | None = None
    runtime: Runtime | None = None
    why: tuple[Why, ...] = ()
    not_chosen: tuple[Why, ...] = ()
    warnings: tuple[str, ...] = ()
    missing: tuple[str, ...] = ()
    nearest: Why | None = None
    plan: str | None = None
    joining: Joining | None = None
    data: PackData | None = None
    proven: bool = True

    def to_json(self) -> dict[str, object]:
        """With the keys of the command `match`."""
        return {
            "project": self.project,
            "served": self.served,
            "groups": [list(group) for group in self.groups],
            "positions": positions(self.groups),
            "spread_ah": self.spread_ah,
            "bound_spread_ah": self.bound_spread_ah,
            "gap": self.gap,
            "runtime_h": _runtime_json(self.runtime),
            "runtime_basis": self.runtime.basis if self.runtime else None,
            "runtime_stop": self.runtime.stop if self.runtime else None,
            "why": [why.to_json() for why in self.why],
            "not_chosen": [why.to_json() for why in self.not_chosen],
            "warnings": list(self.warnings),
            "missing": list(self.missing),
            "nearest": self.nearest.to_json() if self.nearest else None,
            "plan": self.plan,
            "joining": self.joining.to_json() if self.joining else None,
            "proven": self.proven,
            "pack": self.data.to_json() if self.data else None,
        }


def positions(groups: Sequence[Sequence[str]]) -> dict[str, str]:
    """Where each cell sits, by code: `1a` in the first place of the first group."""
    return {
        code: position_name(number, place)
        for number, group in enumerate(groups, 1)
        for place, code in enumerate(group, 1)
    }


def _runtime_json(runtime: Runtime | None) -> dict[str, float | None] | None:
    if runtime is None:
        return None
    hours = (("expected", runtime.expected_h), ("low", runtime.low_h), ("high", runtime.high_h))
    # JSON knows no infinity, and a run without end has none of these numbers.
    return {end: finite(value_h) for end, value_h in hours}


def plan_hash(project: Project, groups: Sequence[Sequence[Candidate]]) -> str:
    """A short hash over the project and its cells' figures: another one when the plan is no longer true."""
    content = {"project": project.to_json(), "groups": [[_figures(c) for c in group] for group in groups]}
    # Sorted keys: the same project must give the same hash whichever way its fields were read.
    text = json.dumps(content, sort_keys=True, separators=(",", ":"))
    return hashlib.sha256(text.encode()).hexdigest()[:PLAN_LENGTH]


def _figures(candidate: Candidate) -> list[object]:
    capacity, resistance = candidate.capacity, candidate.resistance
    return [
        candidate.code,
        candidate.outcome.word,
        str(candidate.facts.chemistry),
        str(candidate.facts.form),
        [capacity.value, capacity.u] if capacity else None,
        [resistance.value, resistance.u, str(candidate.resistance_method)] if resistance else None,
        # A trace changes the run time, so a plan made before it was added is no longer the same.
        repr(candidate.own_trace) if candidate.own_trace else None,
    ]
