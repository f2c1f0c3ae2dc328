"""Which cells serve a project, and why the others do not."""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING

from straycell.matching.candidates import Candidate, Why
from straycell.matching.device import device_answers
from straycell.matching.everyone import StockPlan, match_all
from straycell.matching.limits import UseLimits
from straycell.matching.packs import as_built, plan_pack, serve
from straycell.matching.single import Match, match_project, match_single, plan_hash

if TYPE_CHECKING:
    from straycell.matching.allocate import allocate_cells
    from straycell.matching.balance import balance_groups

__all__ = [
    "Candidate",
    "Match",
    "StockPlan",
    "UseLimits",
    "Why",
    "allocate_cells",
    "as_built",
    "balance_groups",
    "device_answers",
    "match_all",
    "match_project",
    "match_single",
    "plan_hash",
    "plan_pack",
    "serve",
]
# These load numpy: only who asks for them pays for it.
_HEAVY = {
    "allocate_cells": "straycell.matching.allocate",
    "balance_groups": "straycell.matching.balance",
}


def __getattr__(name: str) -> object:
    if name in _HEAVY:
        return getattr(import_module(_HEAVY[name]), name)
    raise AttributeError(f"module {__name__} has no attribute {name}")
