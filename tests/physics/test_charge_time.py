"""How long a charge takes."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from tests.drawing import examples

from straycell.cells import Chemistry
from straycell.errors import BadData
from straycell.physics.charge_time import ChargeTime
from straycell.physics.charge_time import charge_time as to_the_end_of
from straycell.quantities import Measured

CAPACITY = Measured(2.0, 0.02)
RESISTANCE = Measured(0.06, 0.005)
FULL_V = {Chemistry.LFP: 3.65}
"""Sheets: 4.20 V for the others (table of the acceptance rules)."""


def charge_time(
    chemistry: Chemistry, capacity: Measured, resistance: Measured, amps: float, **more
) -> ChargeTime:
    """To the chemistry's full voltage."""
    return to_the_end_of(
        chemistry, capacity, resistance, amps, **{"charger_v": FULL_V.get(chemistry, 4.20), **more}
    )


def test_a_cell_without_resistance_takes_its_charge_over_the_current():
    """Q / I; nothing is left for constant voltage."""
    found = charge_time(Chemistry.LCO, Measured(2.0, 0.0), Measured(0.0, 0.0), 1.0)
    assert found.expected_h == pytest.approx(2.0, rel=0.001)


def test_the_constant_voltage_part_adds_time_but_not_without_end():
    """At 0.5C: longer than Q / I, and shorter than twice that (the 2 to 4 h that cell sheets give for 0.5C)."""
    found = charge_time(Chemistry.NMC, CAPACITY, RESISTANCE, 1.0)
    assert 2.0 < found.expected_h < 4.0
    assert found.low_h <= found.expected_h <= found.high_h


def test_a_supply_that_gives_40_ma_sets_the_time():
    """A 2 Ah cell at 40 mA: about 50 h, whatever the charger asks for."""
    found = charge_time(Chemistry.NMC, CAPACITY, RESISTANCE, 1.0, supply_limit_a=0.040)
    assert found.limited_by_supply and found.current_a == pytest.approx(0.040)
    assert found.expected_h == pytest.approx(50.0, rel=0.05)


def test_a_load_left_on_keeps_the_charge_from_ending():
    """0.15 A into a lamp is more than the end current of 0.1 A: the charger never sees its end."""
    found = charge_time(Chemistry.NMC, CAPACITY, RESISTANCE, 1.0, load_a=0.15)
    assert math.isinf(found.expected_h) and "switch it off" in found.notes[0]
    small = charge_time(Chemistry.NMC, CAPACITY, RESISTANCE, 1.0, load_a=0.02)
    assert charge_time(Chemistry.NMC, CAPACITY, RESISTANCE, 1.0).expected_h < small.expected_h < 6.0


def test_a_load_larger_than_the_supply_charges_nothing():
    """All of 40 mA goes into a 50 mA load."""
    found = charge_time(Chemistry.NMC, CAPACITY, RESISTANCE, 1.0, supply_limit_a=0.040, load_a=0.050)
    assert math.isinf(found.low_h) and found.current_a == 0.0


@examples(40)
@given(
    st.sampled_from([Chemistry.NMC, Chemistry.LCO, Chemistry.NCA, Chemistry.LMO, Chemistry.LFP]),
    st.floats(0.05, 2.0),
    st.floats(1.05, 3.0),
    st.floats(0.0, 0.9),
)
def test_more_current_to_the_same_end_never_takes_longer_and_a_fuller_cell_neither(
    chemistry, amps, more, soc
):
    """Laws of charging, at one end current."""
    base = charge_time(chemistry, CAPACITY, RESISTANCE, amps, end_current_a=0.05)
    faster = charge_time(chemistry, CAPACITY, RESISTANCE, amps * more, end_current_a=0.05)
    fuller = charge_time(chemistry, CAPACITY, RESISTANCE, amps, end_current_a=0.05, from_soc=soc)
    assert faster.expected_h <= base.expected_h * 1.002
    assert fuller.expected_h <= base.expected_h * 1.002
    assert base.low_h <= base.expected_h <= base.high_h


def test_a_lower_end_voltage_is_reached_sooner():
    """A cell charged to 4.10 V is not full, and takes less."""
    early = charge_time(Chemistry.NMC, CAPACITY, RESISTANCE, 1.0, charger_v=4.10)
    assert early.expected_h < charge_time(Chemistry.NMC, CAPACITY, RESISTANCE, 1.0).expected_h


@pytest.mark.parametrize(
    "call",
    [
        lambda: charge_time(Chemistry.PRIMARY, CAPACITY, RESISTANCE, 1.0),
        lambda: charge_time(Chemistry.UNKNOWN, CAPACITY, RESISTANCE, 1.0),
        lambda: charge_time(Chemistry.NMC, CAPACITY, RESISTANCE, 0.0),
        lambda: charge_time(Chemistry.NMC, CAPACITY, RESISTANCE, 1.0, from_soc=1.5),
    ],
)
def test_what_may_not_or_cannot_be_charged_is_refused(call):
    """Primary and unknown cells, and figures that make no charge."""
    with pytest.raises(BadData) as caught:
        call()
    assert caught.value.remedy
