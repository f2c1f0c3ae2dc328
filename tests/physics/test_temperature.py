"""Capacity, resistance and lag in the cold, from the cited sheet and the published sets."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from straycell.errors import BadData
from straycell.physics.temperature import (
    capacity_ratio,
    check_temperature,
    lag_ratio,
    relative,
    resistance_ratio,
)

# Cell sheet of a prismatic 603450 cell: mAh at 0.2C to 2.8 V.
PRISMATIC = [(-20.0, 776), (-10.0, 810), (0.0, 822), (20.0, 964), (60.0, 934)]


@pytest.mark.parametrize(("temperature_c", "milliampere_hours"), PRISMATIC)
def test_the_sheets_cell_holds_no_less_than_the_low_capacity(temperature_c, milliampere_hours):
    """It lies between low and expected at every temperature, and low gives away next to nothing of it."""
    found, sheet = capacity_ratio(temperature_c), milliampere_hours / 964
    assert found.low <= sheet + 5e-4 and found.low >= sheet - 0.005
    assert found.low <= found.expected <= found.high == 1.0


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
