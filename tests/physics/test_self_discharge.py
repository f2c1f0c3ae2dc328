"""Loss of charge from two rest voltages: whichever published set is the cell's own, the truth lies inside value +- U.

The sets are published (their sources stand in their files); cells of known leak and meters of known error are made
from them here, with an error model of its own.
"""

from __future__ import annotations

import math
import random
from dataclasses import dataclass

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from straycell.cells import Chemistry
from straycell.physics.curves import OcvCurve, all_curves
from straycell.physics.self_discharge import VoltagePair, loss_per_month

SETS = [curve for curve in all_curves() if curve.chemistry is not Chemistry.LFP]
LFP_SET = next(curve for curve in all_curves() if curve.chemistry is Chemistry.LFP)
CURVE_ERROR_V = 0.002  # how far a cell may lie off its set, here as in the rules


@dataclass(frozen=True)
class Instrument:
    """Limits of error of a voltmeter: share of the reading, fixed part in V, step in V."""

    gain: float
    offset_v: float
    step_v: float

    def limit_v(self, volts: float) -> float:
        return self.gain * volts + self.offset_v


FINE = Instrument(0.0005, 0.002, 0.001)
POCKET = Instrument(0.005, 0.003, 0.010)


@dataclass(frozen=True)
class Region:
    """Where a check starts (V), how long it lasts (days), with which meter."""

    start_v: tuple[float, float]
    days: tuple[float, float]
    meter: Instrument


REGIONS = {
    "from full, two weeks and more": Region((4.13, 4.20), (14, 30), FINE),
    "from full, a season": Region((4.13, 4.20), (30, 90), FINE),
    "from full, pocket meter": Region((4.13, 4.20), (28, 60), POCKET),
    "on the shelf": Region((3.60, 4.13), (28, 90), FINE),
    "on the shelf, pocket meter": Region((3.60, 4.13), (28, 90), POCKET),
}


def measured(curve: OcvCurve, region: Region, per_month: float, rng: random.Random) -> VoltagePair | None:
    """What a person reads twice on a cell of this set that loses so many per cent in 30 days."""
    days, meter = rng.uniform(*region.days), region.meter
    start = curve.state_of_charge(rng.uniform(*region.start_v))
    end = start - per_month / 100 * days / 30
    if end < 0.02:
        return None  # the sets are no guide below: the cell is empty
    gain, offset, own = (rng.uniform(-1, 1) for _ in range(3))

    def read(soc: float) -> float:
        volts = curve.voltage(soc) + own * CURVE_ERROR_V
        shown = volts * (1 + gain * meter.gain) + offset * meter.offset_v
        return round(shown / meter.step_v) * meter.step_v

    first, second = read(start), read(end)
    u_common = math.hypot(meter.limit_v(first), CURVE_ERROR_V) / math.sqrt(3)
    u_gain = meter.gain * abs(first - second) / math.sqrt(3)
    u_steps = meter.step_v * math.sqrt(2) / math.sqrt(12)
    return VoltagePair(first, second, days, u_common, math.hypot(u_gain, u_steps))


@pytest.mark.parametrize("truth", SETS, ids=lambda curve: curve.name)
@pytest.mark.parametrize("region", REGIONS)
def test_the_true_loss_lies_inside_for_each_set_in_turn(truth: OcvCurve, region: str) -> None:
    """0 to 20 % a month, every set as the cell's own, in 95 % of the cases at least: leaks and good cells alike."""
    rng = random.Random(f"{truth.name} {region}")
    for rates in ((0.0, 1.0, 2.0, 3.0, 5.0), (8.0, 12.0, 20.0)):
        inside = cases = 0
        while cases < 200:
            rate = rng.choice(rates)
            pair = measured(truth, REGIONS[region], rate, rng)
            if pair is None:
                continue
            cases += 1
            loss = loss_per_month(Chemistry.NMC, pair)
            assert loss is not None
            inside += loss.low <= rate <= loss.high
        assert inside >= 0.95 * cases, (rates, inside)


@given(
    truth=st.sampled_from(SETS),
    start_v=st.floats(3.4, 4.2),
    per_month=st.floats(0, 20),
    days=st.floats(14, 90),
)
def test_an_exact_meter_leaves_the_sets_alone_and_each_lies_inside(
    truth: OcvCurve, start_v: float, per_month: float, days: float
) -> None:
    """Without any error of reading the interval is as wide as the sets lie apart: none outside, nothing added."""
    start = truth.state_of_charge(start_v)
    end = start - per_month / 100 * days / 30
    assume(end > 0.0)
    first, second = truth.voltage(start), truth.voltage(end)
    loss = loss_per_month(Chemistry.NMC, VoltagePair(first, second, days, 0.0, 0.0))
    assert loss is not None
    said = [100 * (c.state_of_charge(first) - c.state_of_charge(second)) * 30 / days for c in SETS]
    assert loss.low - 1e-6 <= per_month <= loss.high + 1e-6
    assert (loss.low, loss.high) == pytest.approx((min(said), max(said)), abs=1e-6)


@given(first=st.floats(3.3, 4.2), drop=st.floats(0, 0.3), u_v=st.floats(0, 0.01), more=st.floats(1.0, 3.0))
def test_a_worse_meter_never_narrows_the_interval(first: float, drop: float, u_v: float, more: float) -> None:
    """At both ends, for the error both readings share and for that of their difference."""
    fine = loss_per_month(Chemistry.NMC, VoltagePair(first, first - drop, 30.0, u_v, u_v))
    coarse = loss_per_month(Chemistry.NMC, VoltagePair(first, first - drop, 30.0, u_v * more, u_v * more))
    assert fine is not None and coarse is not None
    assert coarse.expanded >= fine.expanded * 0.9  # a curve's bends lie unevenly: nine points, not all


def test_the_only_lfp_set_stands_in_the_middle_of_its_own_error() -> None:
    """One set: the value is what it says, and U is the meter's error through its slope."""
    pair = VoltagePair(LFP_SET.voltage(0.30), LFP_SET.voltage(0.20), 30.0, 0.0, 0.0005)
    loss = loss_per_month(Chemistry.LFP, pair)
    assert loss is not None and loss.value == pytest.approx(10.0, abs=0.01)
    slope_v = (LFP_SET.voltage(0.30) - LFP_SET.voltage(0.20)) / 10.0  # V a per cent, about
    assert 0.3 * 2 * 0.0005 / slope_v <= loss.expanded <= 3 * 2 * 0.0005 / slope_v


def test_a_boards_drain_is_taken_off_with_its_limit() -> None:
    """2 mAh of 200 mAh in a month is 1 %; its limit of error widens U as a rectangular one."""
    pair = VoltagePair(4.18, 4.15, 30.0, 0.001, 0.0005)
    bare = loss_per_month(Chemistry.NMC, pair)
    boarded = loss_per_month(
        Chemistry.NMC, pair, drain_ah_per_month=0.002, drain_limit_ah=0.002, capacity_ah=0.2
    )
    assert bare is not None and boarded is not None
    assert bare.value - boarded.value == pytest.approx(1.0)
    assert boarded.u == pytest.approx(math.hypot(bare.u, 1.0 / math.sqrt(3)))


@pytest.mark.parametrize("chemistry", [Chemistry.UNKNOWN, Chemistry.PRIMARY])
def test_where_no_set_speaks_nothing_is_said(chemistry: Chemistry) -> None:
    """Neither unknown nor primary cells have a curve; nor has a pair without time between."""
    pair = VoltagePair(4.18, 4.15, 30.0, 0.001, 0.0005)
    assert loss_per_month(chemistry, pair) is None
    assert loss_per_month(Chemistry.NMC, VoltagePair(4.18, 4.15, 0.0, 0.001, 0.0005)) is None
