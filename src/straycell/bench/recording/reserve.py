"""Cells promised to a project by the plan that was read: for the command line and the bench page."""

from __future__ import annotations

from typing import TYPE_CHECKING

from straycell.bench.context import Bench
from straycell.bench.project_match import all_projects_match, project_match
from straycell.builds import Build
from straycell.errors import NegativeAnswer
from straycell.matching import Match

if TYPE_CHECKING:
    from straycell.store.reader import Reader


def true_plan(bench: Bench, reader: Reader, name: str, plan: str | None) -> Match:
    """The match of a project as it is now, if `plan` (None: any) is still what comes out, alone or with all projects.

    Raises NegativeAnswer where it is not served, or the plan is no longer true.
    """
    found = project_match(bench, reader, name, planning=True)
    # `match --all` shares the stock otherwise, so its plan has another hash and is as true.
    if found.served and plan not in (None, found.plan):
        together = all_projects_match(bench, reader).plans
        found = next((m for m in together if m.project == name and m.plan == plan), found)
    return require_plan(name, found, plan)


def require_plan(name: str, found: Match, plan: str | None) -> Match:
    """The match itself. Raises NegativeAnswer where it serves nobody, or is another than `plan` (None: any)."""
    if not found.served:
        raise NegativeAnswer(f"project '{name}' is not served", found.missing[0] if found.missing else "")
    # Between match and reserve readings may have changed: what was read must be what is reserved.
    if plan is not None and plan != found.plan:
        raise NegativeAnswer(
            f"plan {plan} of project '{name}' is no longer true: cells or readings have changed",
            f"match it again: straycell match '{name}'",
        )
    return found


def reserve_plan(bench: Bench, name: str, plan: str) -> Build:
    """Reserve the cells of the plan that a person read. Raises NegativeAnswer as `true_plan`, BadData, StoreFault."""
    with bench.writing() as writer:
        found = true_plan(bench, writer, name, plan)
        return writer.reserve(name, found.groups, found.plan or "")
