"""Capacity and resistance at a working temperature, from the cited sheets."""

from __future__ import annotations

import math
from functools import lru_cache

from straycell.errors import BadData
from straycell.physics.curves import interpolate
from straycell.physics.polarisation import Spread
from straycell.physics.shipped import shipped

COLDEST_C = -40.0
COLDEST_KNOWN_C = -20.0
HOTTEST_C = 60.0
"""Sheets allow discharging from -20 to 60 degC; below -20 there is not even a measured figure."""
# Some capacity is left even in deep cold; zero would divide.
_LEAST_RATIO = 0.05


def check_temperature(temperature_c: float) -> None:
    """Refuse a temperature at which no cell may be discharged."""
    if not (math.isfinite(temperature_c) and COLDEST_C <= temperature_c <= HOTTEST_C):
        raise BadData(
            f"temperature is {temperature_c:g} C: no lithium cell is meant to work there",
            f"give one from {COLDEST_C:g}C to {HOTTEST_C:g}C; cell sheets say -20 to 60",
        )


@lru_cache(maxsize=256)
def capacity_ratio(temperature_c: float) -> Spread:
    """Capacity over that at 25 degC: expected, low and high between sheets; 1 from the last point on."""
    entries = shipped("temperature")["capacity"]
    found = {e["use"]: _extended(temperature_c, e["temperature_c"], e["ratio"]) for e in entries}
    # From 20 degC on a sheet's figure above 1 counts as none: a warm cell is not promised more than it was measured
    # at.
    return Spread(
        found["expected"], min(found.values()), 1.0 if temperature_c >= 20.0 else max(found.values())
    )


def _extended(x: float, xs: list[float], ys: list[float]) -> float:
    """Between points, and below the first along the first slope, but never nothing."""
    if x >= xs[0]:
        return interpolate(x, xs, ys)
    # The steeper of the two published slopes per kelvin: below the last point no figure is known.
    slope = max((ys[1] - ys[0]) / (xs[1] - xs[0]), 0.015)
    return max(_LEAST_RATIO, ys[0] + slope * (x - xs[0]))


@lru_cache(maxsize=256)
def resistance_ratio(temperature_c: float) -> Spread:
    """Resistance over that at 25 degC, exponential through the published point at -20; 1 above 25."""
    data = shipped("temperature")["resistance"]
    # Resistance is taken to follow an exponential in temperature, Arrhenius-like; the one published point fixes its
    # slope.
    colder = max(0.0, data["reference_c"] - temperature_c) / (data["reference_c"] - data["cold_c"])
    low, expected, high = (ratio**colder for ratio in data["cold_ratio"])
    return Spread(expected, low, high)
