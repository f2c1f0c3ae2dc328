"""What a project still lacks before its build may be finished: no protection, no finished build."""

from __future__ import annotations

from dataclasses import dataclass

from straycell.projects.model import Project


@dataclass(frozen=True, slots=True)
class FinishFault:
    """One thing that a device lacks, and what to do about it."""

    what: str
    remedy: str

    def __str__(self) -> str:
        return f"{self.what}: {self.remedy}"


def finish_faults(project: Project, *, series: int | None = None) -> list[str]:
    """`finish_lacks` in words."""
    return [str(lack) for lack in finish_lacks(project, series=series)]


def finish_lacks(project: Project, *, series: int | None = None) -> list[FinishFault]:
    """Every reason why this project cannot be finished, each with what to do; empty when it can.

    `series` is the number of cells in series that was built; the project's own count when not given.
    """
    protection = project.protection
    in_series = series or project.pack.series or 1
    if not protection.fitted:
        return [
            FinishFault(
                "no protection is fitted",
                "over-charge, over-discharge and over-current protection must be in the device; fit it, write "
                "fitted = true under [protection], then add the project again with --replace",
            )
        ]
    faults = []
    if in_series > 1 and not protection.per_cell:
        faults.append(
            FinishFault(
                f"{in_series} cells in series need protection cell by cell",
                "fit it, then write per_cell = true",
            )
        )
    if in_series > 1 and not protection.balancing:
        faults.append(
            FinishFault(f"{in_series} cells in series need balancing", "fit it, then write balancing = true")
        )
    return faults
