"""Pairs of rest voltages after a full charge: which count, how long they must span, what loss they tell."""

import math
from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from straycell.acceptance.case import Case, once_a_case
from straycell.acceptance.checks.retention import retained
from straycell.acceptance.checks.voltage import doubtful
from straycell.acceptance.reasons import DUST, Outcome
from straycell.cells import Chemistry
from straycell.physics.self_discharge import VoltagePair, loss_per_month
from straycell.quantities import Measured
from straycell.readings import Charge, Reading, accuracy_of

# A month of 30 days, as the limits of loss are stated.
HOURS_A_MONTH = 720.0


@dataclass(frozen=True, slots=True)
class Pair:
    """Two rest voltages after one full charge. `fault` says why they cannot be compared, if so."""

    charge: Charge
    first: Reading
    second: Reading
    low_start: bool
    fault: str = ""

    @property
    def days(self) -> float:
        return (self.second.at - self.first.at).total_seconds() / 86400.0


@once_a_case
def windows(case: Case) -> list[tuple[Charge, list[Reading]]]:
    """Rest voltages that follow each full charge with no charge moved in between, oldest first."""
    found = []
    # About 5 % apparent loss in the first 24 h after a charge (handbook): a pair must not begin in it.
    wait = timedelta(hours=case.figure("pair-rest"))
    for charge in case.charges:
        if not case.is_full(charge):
            continue
        inside = [
            r for r in case.rest_voltages if r.at >= charge.at + wait and not case.disturbed(charge.at, r.at)
        ]
        found.append((charge, inside))
    return found


def make_pair(case: Case, charge: Charge, first: Reading, second: Reading) -> Pair:
    """A pair with its fault, if any: temperatures must be known and near each other, the place the same."""
    # Above 4.13 V all four 4.2 V curves are steep, 12 to 15 mV a per cent; below, a millivolt says less.
    low = first.value is not None and first.value < case.figure("pair-start")
    fault = ""
    if first.temperature_c is None or second.temperature_c is None:
        fault = "the temperature of both rest voltages must be recorded"
    elif abs(first.temperature_c - second.temperature_c) > case.figure("pair-temperature"):
        fault = (
            f"the two rest voltages were taken at {first.temperature_c:g} C and {second.temperature_c:g} C, "
            f"more than {case.figure('pair-temperature'):g} K apart"
        )
    # A board's switches and traces drop millivolts: the difference of the places would pass for a loss.
    elif case.at_board(first) != case.at_board(second):
        fault = "one rest voltage was taken at the tabs, the other at the board"
    return Pair(charge, first, second, low, fault)


def least_days(case: Case, pair: Pair, outcome: Outcome) -> float:
    """Days a pair must span to speak for an outcome."""
    days = case.figure("pair-days", outcome.word)
    # On a flatter part the same loss moves the voltage less, so only time lifts it above the meter's error.
    if pair.low_start:
        days = max(days, case.figure("pair-days", "low-start"))
    if step_of(case, pair.first) >= case.figure("pair-step") - DUST:
        days = max(days, case.figure("pair-days", "coarse"))
    return max(days, case.figure("pair-days", "doubtful")) if doubtful(case) else days


def step_of(case: Case, reading: Reading) -> float:
    """The meter's step in V here; where it is not known, the largest its accuracy leaves room for (twice it)."""
    assert reading.value is not None
    known = reading.meter.voltage_resolution.step(reading.value) if reading.meter else 0.0
    # An unstated resolution may be as coarse as twice the accuracy limit: rounding cannot be coarser.
    return known or 2 * accuracy_of(reading, case.rules.defaults)[0].limit(reading.value)


def estimate(case: Case, pair: Pair) -> Measured | None:
    """Loss in per cent in 30 days from a pair without fault; None when no curve speaks for the chemistry."""
    key = ("estimate", id(pair.first), id(pair.second))
    if key not in case.memo:
        case.memo[key] = _estimate(case, pair)
    found: Measured | None = case.memo[key]
    return found


def _estimate(case: Case, pair: Pair) -> Measured | None:
    # An lfp curve may lie 30 mV off the only set (`curve-error`), so most lfp pairs cannot tell a loss.
    assert pair.first.value is not None and pair.second.value is not None
    # A protection board draws some 3 uA (sheets) for ever: that is not a leak of the cell.
    drain = case.figure("board-drain") * HOURS_A_MONTH if case.facts.protection_board else 0.0
    common, difference = errors_of(case, pair)
    # How far this cell's curve may lie off the published ones shifts both readings alike.
    common = math.hypot(common, case.figure("curve-error") / math.sqrt(3.0))
    # Which published set is the cell's own is a fact and no chance: value ± U holds what every set says.
    return loss_per_month(
        case.facts.chemistry,
        VoltagePair(pair.first.value, pair.second.value, pair.days, common, difference),
        drain_ah_per_month=drain,
        drain_limit_ah=drain,
        # As stated: a share of what is measured would move with each run, and a finding with it.
        capacity_ah=case.stated_ah,
    )


def errors_of(case: Case, pair: Pair) -> tuple[float, float]:
    """Standard uncertainties in V: (shared by both, of their difference)."""
    first, second = pair.first, pair.second
    assert first.value is not None and second.value is not None
    # Meter and cell both drift with the room (rules, meter-drift and cell-drift).
    kelvin = kelvin_between(case, first, second)
    accuracy, is_default = accuracy_of(first, case.rules.defaults)
    drift = accuracy.limit(first.value) * case.figure("meter-drift") * kelvin / math.sqrt(3.0)
    cell = case.figure("cell-drift") * kelvin / math.sqrt(3.0)
    # Offset and calibration of one meter cancel in a difference; gain acts on the difference alone.
    same = not is_default and first.meter is not None and first.meter == second.meter
    if not same:
        u1, u2 = case.measured(first).u, case.measured(second).u
        return max(u1, u2), math.hypot(u1, u2, drift, cell)
    gain = accuracy.gain * abs(first.value - second.value) / math.sqrt(3.0)
    # A rounding error is rectangular over one step: step over root 12 (JCGM 100, 4.3.7).
    steps = math.hypot(step_of(case, first), step_of(case, second)) / math.sqrt(12.0)
    difference = math.hypot(gain, steps, drift, cell)
    return accuracy.u(first.value), difference


def kelvin_between(case: Case, first: Reading, second: Reading) -> float:
    """How far apart two readings were taken in K; as far as rooms go where one of them is not on record."""
    if first.temperature_c is None or second.temperature_c is None:
        return case.figure("pair-temperature-unknown")
    return abs(first.temperature_c - second.temperature_c)


@once_a_case
def all_pairs(case: Case) -> list[Pair]:
    """The widest pair that each later reading of a window makes, oldest window first, longest last."""
    return [
        widest(case, charge, inside[:i], inside[i])
        for charge, inside in windows(case)
        for i in range(1, len(inside))
    ]


def widest(case: Case, charge: Charge, before: Sequence[Reading], second: Reading) -> Pair:
    """From the first reading that can be compared with the second; else the faulty pair with the first of all.

    A first reading without its temperature, or taken in a hot room, must not spoil all that follow.
    """
    pairs = (make_pair(case, charge, first, second) for first in before)
    return next((p for p in pairs if not p.fault), make_pair(case, charge, before[0], second))


def falling_pairs(case: Case, charge: Charge, inside: Sequence[Reading]) -> Iterator[Pair]:
    """Any two of these rest voltages that can be compared and fell beyond U: each speaks for itself."""
    for i, second in enumerate(inside):
        for first in inside[:i]:
            assert first.value is not None and second.value is not None
            # Within U of the difference the fall is not shown, and a loss of noise must condemn nobody.
            if first.value > second.value:
                pair = make_pair(case, charge, first, second)
                if not pair.fault and first.value - second.value > 2.0 * errors_of(case, pair)[1]:
                    yield pair


def strange_falls(case: Case, charge: Charge, inside: Sequence[Reading]) -> Iterator[Pair]:
    """Falls that cannot be compared, to a rest voltage after which none was taken that can be."""
    for i, second in enumerate(inside):
        pairs = [make_pair(case, charge, first, second) for first in inside[:i]]
        later = (make_pair(case, charge, first, r) for r in inside[i + 1 :] for first in inside[:i])
        # What can be compared with the same start speaks for itself, and for the fall before it.
        if pairs and all(p.fault for p in pairs) and all(p.fault for p in later):
            yield from pairs


def voltage_tells(case: Case) -> bool:
    """True where two rest voltages can show that a cell keeps its charge."""
    # Off the only published lfp set by the 30 mV of `curve-error`, a cell that leaks fast can look steady there.
    return case.facts.chemistry is not Chemistry.LFP


def long_checked(case: Case, days: float) -> bool:
    """True when a self-discharge check that could decide was begun out of its pack and ran over so many days."""
    # In its pack the others feed or drain it: what was measured before that was opened says nothing of this one.
    start = case.evidence.opened_at or datetime.min.replace(tzinfo=case.now.tzinfo)
    # Welded in parallel all cells share one voltage: such a check says nothing of this one.
    welded = {r.key for r in case.rest_voltages if r.as_group}
    return checked_after(case, start, least=days, but=welded)


def checked_after(case: Case, at: datetime, *, least: float = 0.0, but: Collection[str] = ()) -> bool:
    """True when a self-discharge check that could decide was begun after a time and is over, `least` days long.

    `but` are keys of records that do not count.
    """
    # The widest pair may begin before that time: one that lies wholly after it counts beside it.
    later = [
        (charge, [r for r in inside if r.at > at and r.key not in but]) for charge, inside in windows(case)
    ]
    by_voltage = voltage_tells(case) and any(
        not p.fault
        and p.days >= max(least, least_days(case, p, Outcome.LIGHT))
        and estimate(case, p) is not None
        for charge, inside in later
        for p in (widest(case, charge, inside[:i], inside[i]) for i in range(1, len(inside)))
    )
    return by_voltage or any(
        kept.charge.at > at and not {kept.charge.key, kept.late.reading.key} & {*but}
        for kept in retained(case)
    )
