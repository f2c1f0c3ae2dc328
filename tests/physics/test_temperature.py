"""Capacity and resistance in the cold, from the cited sheets."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from straycell.errors import BadData
from straycell.physics.temperature import capacity_ratio, check_temperature, resistance_ratio

# Cell sheet of a prismatic 603450 cell: mAh at 0.2C to 2.8 V; percentages recomputed from 964 mAh at 20 degC.
PRISMATIC = [(-20.0, 776), (-10.0, 810), (0.0, 822), (20.0, 964)]
# Cell sheet of an 18650 power cell, section 7.5: percent of the capacity at 25 degC.
POWER_CELL = [(-20.0, 60), (-10.0, 75), (0.0, 80), (25.0, 100)]


@pytest.mark.parametrize(("temperature_c", "milliampere_hours"), PRISMATIC)
def test_the_expected_capacity_is_the_low_rate_sheet(temperature_c, milliampere_hours):
    """Within half a percent of the printed figures."""
    assert capacity_ratio(temperature_c).expected == pytest.approx(milliampere_hours / 964, abs=0.005)


@pytest.mark.parametrize(("temperature_c", "percent"), POWER_CELL)
def test_the_low_capacity_is_the_harsher_sheet(temperature_c, percent):
    """The spread between two published cells is carried."""
    assert capacity_ratio(temperature_c).low == pytest.approx(percent / 100, abs=0.005)


def test_resistance_at_minus_20_is_three_to_five_times_that_at_25():
    """Teaching chart, a secondary page."""
    cold = resistance_ratio(-20.0)
    assert (cold.low, cold.expected, cold.high) == pytest.approx((3.0, 4.0, 5.0))
    assert resistance_ratio(25.0).high == resistance_ratio(50.0).high == 1.0


@given(st.floats(-40, 60), st.floats(-40, 60))
def test_colder_is_never_better(a, b):
    """Capacity never falls and resistance never rises as it gets warmer, in each of the three figures."""
    cold, warm = sorted((a, b))
    for part in ("low", "expected", "high"):
        assert getattr(capacity_ratio(cold), part) <= getattr(capacity_ratio(warm), part) + 1e-12
        assert getattr(resistance_ratio(cold), part) >= getattr(resistance_ratio(warm), part) - 1e-12


@pytest.mark.parametrize("temperature_c", [-41.0, 61.0, 250.0, float("nan")])
def test_no_run_time_where_no_cell_may_work(temperature_c):
    """Sheets end at 60 degC."""
    with pytest.raises(BadData) as caught:
        check_temperature(temperature_c)
    assert caught.value.remedy
