"""The volumes and densities that catch an impossible figure, against geometry and the newest cells on sheets."""

from __future__ import annotations

import math

import pytest

from straycell.acceptance import shipped_rules

# Largest outer size in mm. 18650 and 18350: cell sheets; others 0.5 mm and 0.7 mm above the trade name.
LARGEST = {
    "18650": (18.6, 65.2),
    "21700": (21.5, 70.7),
    "26650": (26.5, 65.7),
    "14500": (14.5, 50.7),
    "16340": (16.5, 34.7),
    "18350": (18.4, 35.0),
    "13400": (13.5, 40.7),
    "10440": (10.5, 44.7),
}


@pytest.mark.parametrize(("form", "size"), LARGEST.items())
def test_a_size_has_the_volume_of_its_cylinder(form: str, size: tuple[float, float]) -> None:
    """pi d^2 h / 4, within the rounding of the file."""
    diameter_mm, height_mm = size
    volume_cm3 = math.pi * diameter_mm**2 * height_mm / 4000
    assert shipped_rules().figure("size-volume", form) == pytest.approx(volume_cm3, abs=0.006)


@pytest.mark.parametrize(("form", "newest_ah"), [("18650", 4.0), ("21700", 6.0)])
def test_the_newest_cells_are_believed(form: str, newest_ah: float) -> None:
    """The largest capacities on cell sheets of 2025; a quarter more is not."""
    rules = shipped_rules()
    most_ah = rules.figure("capacity-density", form) * rules.figure("size-volume", form)
    assert newest_ah < most_ah < 1.25 * newest_ah
