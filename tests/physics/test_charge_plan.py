"""One charge put together."""

import pytest

from straycell.cells import Chemistry
from straycell.errors import BadData
from straycell.physics.charge_plan import plan_charge
from straycell.physics.charging import check_float, programmed_current
from straycell.quantities import Measured

CAPACITY, RESISTANCE = Measured(0.5, 0.01), Measured(0.15, 0.02)


def plan(current, allowed_a=0.25, **more):
    """A 500 mAh cell."""
    return plan_charge(Chemistry.LCO, CAPACITY, RESISTANCE, current, allowed_a=allowed_a, **more)


def test_the_commonest_board_charges_500_mah_at_twice_its_capacity():
    """1.2 kohm is 1 A, 1.1 A at worst: 2.2C; for 0.25 A allowed the resistor becomes 5.6 kohm (1320 / 0.25 = 5280)."""
    answer = plan(programmed_current(1200.0))
    assert not answer.ok and answer.c_rate == pytest.approx(2.2)
    assert "5.6 kohm" in answer.advice[0]


def test_the_advised_resistor_is_then_accepted():
    """5.6 kohm: 0.236 A at worst."""
    answer = plan(programmed_current(5600.0))
    assert answer.ok and answer.current_a == pytest.approx(0.2357, abs=1e-4)
    assert answer.time is not None and answer.time.low_h <= answer.time.expected_h <= answer.time.high_h


def test_a_current_given_as_such_is_taken_as_exact():
    """At the limit is allowed, a hair above is not."""
    assert plan(0.25).ok
    assert not plan(0.2501).ok


def test_a_float_that_may_be_too_high_is_not_ok():
    """4.263 V at worst."""
    answer = plan(0.2, float_answer=check_float(Chemistry.LCO, 4.20))
    assert not answer.ok and "4.263" in answer.advice[0]


def test_a_cell_that_must_not_be_charged_gets_no_time_and_no_resistor():
    """Discarded: nothing."""
    answer = plan(0.05, allowed_a=0.0)
    assert not answer.ok and answer.time is None and "must not be charged" in answer.advice[0]


def test_a_supply_that_collapses_above_160_ma_wants_a_larger_resistor():
    """1320 / 0.16 = 8250: 9.1 kohm; the charge still counts as allowed, and lasts longer."""
    weak = plan(0.25, supply_limit_a=0.160)
    assert weak.ok and any("9.1 kohm" in line for line in weak.advice)
    assert weak.time.expected_h > plan(0.25).time.expected_h


def test_heat_is_said_when_a_linear_charger_throttles():
    """(5 - 2.9) V x 1.1 A = 2.3 W; at 0.2 A 0.4 W is nothing to speak of."""
    hot = plan(programmed_current(1200.0), allowed_a=2.0, supply_v=5.0)
    assert hot.heat_w == pytest.approx(2.31) and any("heat" in line for line in hot.advice)
    cool = plan(0.2, supply_v=5.0)
    assert cool.heat_w == pytest.approx(0.42) and not any("heat" in line for line in cool.advice)


def test_an_empty_capacity_is_refused():
    """No capacity, no charge rate."""
    with pytest.raises(BadData):
        plan_charge(Chemistry.LCO, Measured(0.0, 0.0), None, 0.1, allowed_a=0.1)
