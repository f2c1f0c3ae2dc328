"""From a short pulse to a discharge over hours: how the resistance grows, and the charge that lags behind."""

import math
from functools import lru_cache
from typing import NamedTuple

from straycell.cells import Chemistry
from straycell.errors import BadData
from straycell.physics.curves import interpolate
from straycell.physics.shipped import median, shipped

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
