"""Which cells serve a project, and why the others do not."""

from importlib import import_module
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from straycell.matching.all_projects import StockPlan, match_all
    from straycell.matching.allocate.cells import allocate_cells
    from straycell.matching.balance.deal import balance_groups
    from straycell.matching.one_project import Match, plan_hash
    from straycell.matching.pack.match_pack import as_built, match_project, serve
    from straycell.matching.screen import Candidate, UseLimits, Why, device_answers

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
    "plan_hash",
    "serve",
]
# A run time or a cell's page wants one of these rooms, few want numpy: each is loaded when it is asked for.
_HOMES = {
    "allocate.cells": ("allocate_cells",),
    "balance.deal": ("balance_groups",),
    "screen": ("Candidate", "UseLimits", "Why", "device_answers"),
    "all_projects": ("StockPlan", "match_all"),
    "pack.match_pack": ("as_built", "match_project", "serve"),
    "one_project": ("Match", "plan_hash"),
}
_HOME_OF = {name: home for home, names in _HOMES.items() for name in names}


def __getattr__(name: str) -> object:
    if name in _HOME_OF:
        return getattr(import_module(f"{__name__}.{_HOME_OF[name]}"), name)
    raise AttributeError(f"module {__name__} has no attribute {name}")
