"""Capacity, resistance and lag in the cold, from the cited sheet and the published sets."""

import pytest
from hypothesis import given
from hypothesis import strategies as st
from tests.physics.asking import asked

from straycell.cells import Chemistry
from straycell.errors import BadData
from straycell.physics.derating import (
    capacity_ratio,
    check_temperature,
    lag_ratio,
    relative,
    resistance_ratio,
)
from straycell.physics.loads import ConstantCurrent
from straycell.physics.run_time.runtime import estimate
from straycell.physics.shipped import shipped
from straycell.quantities import Measured

# Cell sheet of a prismatic 603450 cell: mAh at 0.2C to 2.8 V.
PRISMATIC = [(-20.0, 776), (-10.0, 810), (0.0, 822), (20.0, 964), (60.0, 934)]


def sheets_cell(temperature_c):
    """The sheet's cell at its 0.2C to 2.8 V, its resistance unknown."""
    return estimate(
        *asked(
            Chemistry.LCO,
            Measured(0.964, 0.0),
            None,
            ConstantCurrent(0.19),
            cutoff_v=2.8,
            temperature_c=temperature_c,
            capacity_cutoff_v=2.8,
            capacity_current_a=0.19,
        )
    )


@pytest.mark.parametrize(("temperature_c", "milliampere_hours"), PRISMATIC)
def test_the_sheets_cell_keeps_the_low_end_and_lies_below_the_expected(temperature_c, milliampere_hours):
    """What the sheet shows is between low and 1.1 times it less, and no more than expected by a hundredth."""
    run, hours = sheets_cell(temperature_c), milliampere_hours / 190
    assert 0.85 * hours <= run.low_h <= hours
    assert run.expected_h >= 0.98 * hours
    found = capacity_ratio(temperature_c)
    assert found.low <= found.expected <= found.high == 1.0


@pytest.mark.parametrize(("temperature_c", "milliampere_hours"), PRISMATIC[:3])
def test_what_resistance_and_lag_take_of_the_sheets_cell_is_counted_once(temperature_c, milliampere_hours):
    """`reckoned` is what the model itself takes, so that both together give what the sheet shows."""
    data = shipped("temperature")["capacity"]
    whole = sheets_cell(temperature_c).expected_h / sheets_cell(20.0).expected_h
    alone = whole / capacity_ratio(temperature_c).expected
    reckoned = data["reckoned"][data["temperature_c"].index(temperature_c)]
    # More than the model takes would be charge that neither the sheet nor the model has.
    assert 1 - alone - 0.004 <= reckoned <= 1 - alone + 0.0005
    assert capacity_ratio(temperature_c).low * alone == pytest.approx(milliampere_hours / 964, abs=0.004)


def test_a_hot_cell_is_promised_what_the_sheet_shows_and_no_more():
    """934 of 964 mAh at 60 degC; half way there, half of what is missing."""
    assert capacity_ratio(60.0).low == pytest.approx(934 / 964, abs=0.001)
    assert capacity_ratio(42.5).low == pytest.approx(1 - 15 / 964, abs=0.001)


def test_the_middle_resistance_at_minus_20_is_that_of_the_teaching_chart():
    """3 to 5 times that at 25 degC (a teaching chart, seen second-hand); the sets lie further apart."""
    cold = resistance_ratio(-20.0)
    assert cold.low < 3.0 < cold.expected < 5.0 < cold.high
    assert resistance_ratio(25.0).high == resistance_ratio(50.0).high == 1.0


@given(st.floats(-40, 60), st.floats(-40, 60))
def test_colder_is_never_better(a, b):
    """Capacity never falls up to 25 degC and resistance and lag never rise as it gets warmer, in each figure."""
    cold, warm = sorted((a, b))
    for part in ("low", "expected", "high"):
        if warm <= 25.0:
            assert getattr(capacity_ratio(cold), part) <= getattr(capacity_ratio(warm), part) + 1e-12
        for ratio in (resistance_ratio, lag_ratio):
            assert getattr(ratio(cold), part) >= getattr(ratio(warm), part) - 1e-12


@given(st.floats(-20, 60), st.floats(-20, 60))
def test_what_was_measured_at_a_temperature_is_in_no_doubt_there(now, then):
    """The ratio to itself is one; low and high keep their order to either side."""
    same, other = relative(resistance_ratio, then, then), relative(resistance_ratio, now, then)
    assert (same.low, same.expected, same.high) == pytest.approx((1.0, 1.0, 1.0))
    assert other.low <= other.expected * (1 + 1e-12) and other.expected <= other.high * (1 + 1e-12)


@pytest.mark.parametrize("temperature_c", [-41.0, 61.0, 250.0, float("nan")])
def test_no_run_time_where_no_cell_may_work(temperature_c):
    """Sheets end at 60 degC."""
    with pytest.raises(BadData) as caught:
        check_temperature(temperature_c)
    assert caught.value.remedy
