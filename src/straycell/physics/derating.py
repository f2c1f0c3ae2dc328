"""From a short pulse in a room to hours of a device's work in its cold: resistance, lag and capacity, each with its spread.

The figures are those of a cited sheet and of published sets.
"""

import math
from collections.abc import Callable
from functools import lru_cache
from typing import NamedTuple

from straycell.cells import Chemistry
from straycell.errors import BadData
from straycell.physics.curves import interpolate
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
_STEADY_KEYS = ((1.0, "steady_1s"), (10.0, "steady_10s"), (30.0, "steady_30s"))


class Spread(NamedTuple):
    """A figure with the lowest and highest that published sets give for it."""

    expected: float
    low: float
    high: float


@lru_cache(maxsize=64)
def steady_over_pulse(chemistry: Chemistry, pulse_s: float, quick: bool = False) -> Spread:
    """Resistance over hours, over that of a pulse of `pulse_s` (0 for a 1 kHz reading); raises BadData below 0.

    `quick`: of the sets alone in which as little builds up over a pulse as was seen in this cell.
    """
    if not (math.isfinite(pulse_s) and pulse_s >= 0):
        raise BadData(f"pulse length is {pulse_s:g} s", "write the pulse's length as a time, like 1s or 10s")
    sets = _sets(chemistry, quick)
    # A 1 kHz reading misses most of the charge transfer; the factor to 1 s is common practice
    # (data/polarisation.toml).
    if pulse_s < 0.1:
        ac, one = shipped("polarisation")["ac"], steady_over_pulse(chemistry, 1.0, quick)
        factor, spread = ac["steady_pulse_1s_over_ac"], ac["spread"]
        return Spread(
            one.expected * factor, one.low * factor * (1 - spread), one.high * factor * (1 + spread)
        )
    # Diffusion spreads over decades of time, so the ratio is close to straight over the logarithm of the pulse
    # length.
    times = [math.log(seconds) for seconds, _ in _STEADY_KEYS]
    ratios = [interpolate(math.log(pulse_s), times, [s[key] for _, key in _STEADY_KEYS]) for s in sets]
    # Few sets differ widely: the median is not pulled by one odd cell, and the ends keep the spread honest.
    return Spread(median(ratios), min(ratios), max(ratios))


@lru_cache(maxsize=16)
def lag_h(chemistry: Chemistry, quick: bool = False) -> Spread:
    """Charge left behind by diffusion, in Ah per A of current; a sheet's guarantee only widens what the sets say."""
    data = shipped("polarisation")
    lags = [s["lag_h"] for s in _sets(chemistry, quick)]
    # What a maker guarantees at two rates is no measurement of either: it says how little the lag may be, no more.
    told = [s["lag_h"] for s in data["guarantee"] if _same_kind(s, chemistry)]
    return Spread(median(lags), min(lags + told), max(lags + told))


def _sets(chemistry: Chemistry, quick: bool) -> list[dict[str, float]]:
    data = shipped("polarisation")
    most = data["own_pulses"]["quick_ohm_ah"] if quick else math.inf
    return [s for s in data["set"] if _same_kind(s, chemistry) and s["grown_ohm_ah"] <= most]


def _same_kind(entry: dict[str, object], chemistry: Chemistry) -> bool:
    """LFP stands alone; the 4.2 V chemistries share their figures, for want of enough sets of each."""
    if chemistry is Chemistry.UNKNOWN:
        return True
    # The chemistry of a set decides only lfp or not: a plateau at 3.3 V polarises unlike the sloping 4.2 V curves.
    return (entry["chemistry"] == Chemistry.LFP) == (chemistry is Chemistry.LFP)


@lru_cache(maxsize=256)
def shape(soc: float) -> float:
    """Resistance at a state of charge 0 to 1, over that at half charge."""
    table = shipped("polarisation")["shape"]
    return interpolate(soc, table["soc"], table["ratio"])


def shape_range(chemistry: Chemistry, pulse_s: float, soc: tuple[float, float]) -> tuple[float, float] | None:
    """Least and most that published sets give for a pulse's resistance over that at half charge, anywhere within `soc`.

    None near empty, where no set says how far it rises.
    """
    table = shipped("polarisation")
    points = [*table["shape"]["soc"], 1.0]
    if soc[0] < points[0]:
        return None
    rows = [r for r in table["state"] if r["lfp"] == (chemistry is Chemistry.LFP)]
    # The next longer pulse of the table: the longer it is, the more its resistance depends on the charge.
    row = next((r for r in rows if r["pulse_s"] >= pulse_s), rows[-1])
    within = [*soc, *(point for point in points if soc[0] < point < soc[1])]
    full = row["high"][-1] * table["shape"]["full_over_ninety"]
    low, high = row["low"] + row["low"][-1:], [*row["high"], full]
    return min(interpolate(x, points, low) for x in within), max(interpolate(x, points, high) for x in within)


def assumed_resistance(capacity_ah: float) -> tuple[float, float]:
    """(ohm, standard uncertainty in ohm) of a 1 s pulse where nothing was measured."""
    assumed = shipped("polarisation")["assumed"]
    # Resistance falls with electrode area and so with capacity: ohm x Ah is what cells of one kind share.
    return assumed["ohm_ah"] / capacity_ah, assumed["u_ohm_ah"] / capacity_ah


def relaxation_s() -> float:
    """Time constant in s with which the slow part of the resistance builds up; common practice."""
    seconds: float = shipped("polarisation")["assumed"]["relaxation_s"]
    return seconds


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
