"""No project is finished without its protection."""

from __future__ import annotations

import pytest

from straycell.physics.loads import ConstantCurrent
from straycell.projects import Need, PackShape, Project, Protection, finish_faults


def project(protection: Protection, series: int | None = 1) -> Project:
    """A project with this protection."""
    return Project(
        "lamp", ConstantCurrent(0.02), Need(10.0, 3.0), pack=PackShape(series), protection=protection
    )


def test_a_project_without_protection_cannot_be_finished_and_says_what_to_do() -> None:
    """One fault, with the line to write."""
    (fault,) = finish_faults(project(Protection()))
    assert "no protection is fitted" in fault
    assert "fitted = true" in fault


def test_one_cell_with_protection_can_be_finished() -> None:
    """Per-cell protection and balancing are for strings."""
    assert finish_faults(project(Protection(fitted=True))) == []


@pytest.mark.parametrize(
    ("protection", "words"),
    [
        (Protection(True), ["per_cell = true", "balancing = true"]),
        (Protection(True, per_cell=True), ["balancing = true"]),
        (Protection(True, balancing=True), ["per_cell = true"]),
        (Protection(True, per_cell=True, balancing=True), []),
    ],
)
def test_a_string_needs_protection_and_balancing_cell_by_cell(
    protection: Protection, words: list[str]
) -> None:
    """Each lacking part is a fault of its own."""
    faults = finish_faults(project(protection, series=3))
    assert len(faults) == len(words)
    assert all(word in fault for word, fault in zip(words, faults, strict=True))


def test_auto_is_judged_by_what_was_built() -> None:
    """`auto` that became three in series is a string; one cell is none."""
    automatic = project(Protection(True), series=None)
    assert finish_faults(automatic) == []
    assert len(finish_faults(automatic, series=3)) == 2
