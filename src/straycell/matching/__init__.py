"""Which cells serve a project, and why the others do not."""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from straycell.matching.allocate import allocate_cells
    from straycell.matching.balance import balance_groups
    from straycell.matching.candidates import Candidate, Why
    from straycell.matching.device import device_answers
    from straycell.matching.everyone import StockPlan, match_all
    from straycell.matching.limits import UseLimits
    from straycell.matching.packs import as_built, plan_pack, serve
    from straycell.matching.single import Match, match_project, match_single, plan_hash

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
# A run time or a cell's page wants one of these rooms, few want numpy: each is loaded when it is asked for.
_HOMES = {
    "allocate": ("allocate_cells",),
    "balance": ("balance_groups",),
    "candidates": ("Candidate", "Why"),
    "device": ("device_answers",),
    "everyone": ("StockPlan", "match_all"),
    "limits": ("UseLimits",),
    "packs": ("as_built", "plan_pack", "serve"),
    "single": ("Match", "match_project", "match_single", "plan_hash"),
}
_HOME_OF = {name: home for home, names in _HOMES.items() for name in names}


def __getattr__(name: str) -> object:
    if name in _HOME_OF:
        return getattr(import_module(f"{__name__}.{_HOME_OF[name]}"), name)
    raise AttributeError(f"module {__name__} has no attribute {name}")
