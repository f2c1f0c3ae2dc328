"""Capacity, resistance and lag at a working temperature, from a cited sheet and the published sets."""

import math
from collections.abc import Callable
from functools import lru_cache

from straycell.errors import BadData
from straycell.physics.curves import interpolate
from straycell.physics.polarisation import Spread
from straycell.physics.shipped import median, shipped

COLDEST_C = -40.0
COLDEST_KNOWN_C = -20.0
HOTTEST_C = 60.0
"""Sheets allow discharging from -20 to 60 degC; below -20 there is not even a measured figure."""
REFERENCE_C = 25.0
_ZERO_K = 273.15
_GAS = 8.314
"""J/(mol K), the gas constant."""
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
    """Capacity over that at 25 degC beside what resistance and lag take: expected, low and high."""
    data = shipped("temperature")["capacity"]
    beside = [ratio / (1.0 - taken) for ratio, taken in zip(data["ratio"], data["reckoned"], strict=True)]
    sheet = _extended(temperature_c, data["temperature_c"], beside)
    # The published sets keep their whole capacity in the cold, the sheet's cell does not: neither is known to be ours.
    expected = 1.0 - (1.0 - sheet) * (1.0 - data["sets_share"])
    return Spread(expected, sheet, 1.0)


def _extended(x: float, xs: list[float], ys: list[float]) -> float:
    """Between points, and below the first along the first slope, but never nothing."""
    if x >= xs[0]:
        return interpolate(x, xs, ys)
    # 1.5 % a kelvin is steeper than any sheet: below the last point no figure is known.
    slope = max((ys[1] - ys[0]) / (xs[1] - xs[0]), 0.015)
    return max(_LEAST_RATIO, ys[0] + slope * (x - xs[0]))


def relative(ratio: Callable[[float], Spread], temperature_c: float, known_c: float) -> Spread:
    """A ratio over that at the temperature `known_c` at which the cell itself was measured."""
    now, then = ratio(temperature_c), ratio(known_c)
    # One set's energy holds for both temperatures: what was measured in the cold is not in doubt there any more.
    ratios = [here / there for here, there in zip(now, then, strict=True)]
    return Spread(ratios[0], min(ratios), max(ratios))


def own_heat_k(loss_w: float, hours: float, capacity_ah: float, cells: int) -> float:
    """The most that a pack of equal cells may warm above the air, in K, by a mean loss in W a cell over a run.

    Rounded up to a quarter of a kelvin, so that many cells share what is looked up for a temperature.
    """
    data = shipped("temperature")["own_heat"]
    cell_cm3 = capacity_ah / data["most_ah_cm3"]
    # Of all bodies of one volume the sphere has the least surface; what lies in a box or a bundle has hardly less.
    surface_m2 = 1e-4 * (36.0 * math.pi) ** (1 / 3) * (cells * cell_cm3) ** (2 / 3)
    in_air = cells * loss_w / (data["film_w_m2k"] * surface_m2)
    alone = 3600.0 * hours * loss_w / (data["j_cm3_k"] * cell_cm3)
    rise_k: float = min(in_air, alone, HOTTEST_C)
    return math.ceil(4.0 * rise_k) / 4.0


def resistance_ratio(temperature_c: float) -> Spread:
    """Resistance over that at 25 degC, by the activation energies of the published sets; above 25 only `low` falls."""
    return _arrhenius("resistance", temperature_c)


def most_rise(cold_c: float, warm_c: float) -> float:
    """How many times as large a pulse's resistance may be at `cold_c` as at `warm_c`, by the steepest published set."""
    joules = 1000.0 * max(shipped("temperature")["resistance"]["kj_mol"])
    return math.exp(joules * (1.0 / (cold_c + _ZERO_K) - 1.0 / (warm_c + _ZERO_K)) / _GAS)


def lag_ratio(temperature_c: float) -> Spread:
    """Charge left behind by diffusion over that at 25 degC, likewise."""
    return _arrhenius("lag", temperature_c)


@lru_cache(maxsize=256)
def _arrhenius(what: str, temperature_c: float) -> Spread:
    """exp(E / R (1/T - 1/T0)) for the middle, least and largest energy of the sets."""
    joules = [1000.0 * kj for kj in shipped("temperature")[what]["kj_mol"]]
    colder = inverse_kelvin(temperature_c) - inverse_kelvin(REFERENCE_C)
    ends = [math.exp(joule * colder / _GAS) for joule in (min(joules), max(joules))]
    # Warmer counts as 25 degC: what a hot cell gains, 6 to 51 % in the sets, is no promise and only lifts the high end.
    return Spread(math.exp(median(joules) * max(0.0, colder) / _GAS), min(ends), max(1.0, *ends))


def inverse_kelvin(temperature_c: float) -> float:
    """1 over the absolute temperature, over which Arrhenius' law is a straight line."""
    return 1.0 / (temperature_c + _ZERO_K)
