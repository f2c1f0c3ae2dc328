"""Loads: what a device draws at a voltage, and what a measured drop says."""

import math

import pytest

from straycell.errors import BadData
from straycell.physics.loads import (
    ConstantCurrent,
    ConstantPower,
    Lamps,
    Profile,
    ResistiveLoad,
    current_from_drop,
)


def test_a_drop_of_0_67_v_over_5_2_ohm_is_about_130_ma_and_sixty_lamps_take_about_2_ma_each():
    """Common practice, no published source: the maker's arithmetic by Ohm's law."""
    draw = current_from_drop(0.67, 5.2, 60)
    assert draw.current_a == pytest.approx(0.130, abs=0.002)
    assert draw.per_lamp_a == pytest.approx(0.002, abs=0.0002)


def test_power_behind_a_converter_draws_more_as_the_voltage_falls():
    """0.4 W at 85 % efficiency from 3.6 V: 0.4 / 0.85 / 3.6 A, by the definition of efficiency."""
    load = ConstantPower(0.4, 0.85)
    assert load.current_at(3.6) == pytest.approx(0.130719, rel=1e-5)
    assert load.current_at(3.0) > load.current_at(4.2)
    assert math.isinf(load.current_at(0.0))


def test_power_beyond_a_quarter_emf_squared_over_r_cannot_be_drawn():
    """Maximum power transfer: 4 V behind 1 ohm gives at most 4 W."""
    assert ConstantPower(3.999).drawn_from(4.0, 1.0) == pytest.approx(2.0, rel=0.02)
    assert math.isinf(ConstantPower(4.001).drawn_from(4.0, 1.0))


def test_lamps_draw_the_measured_current_at_the_measured_supply():
    """The model goes through the measured point."""
    lamps = Lamps(24, 0.55, 10.0, 3.0)
    assert lamps.current_at(3.0) == pytest.approx(0.055, rel=1e-6)


def test_lamps_on_a_fuller_supply_draw_far_more_and_a_doubled_resistor_does_not_halve_it():
    """A diode's voltage hardly moves, so the resistor takes nearly all of a higher supply (Kirchhoff)."""
    lamps = Lamps(24, 0.55, 10.0, 3.0)
    ideal_diode_a = (4.2 - lamps.lamp_v) / 10.0
    assert 0.9 * ideal_diode_a < lamps.current_at(4.2) < ideal_diode_a
    assert 0.5 * 0.055 < lamps.with_resistor(20.0).current_at(3.0) < 0.7 * 0.055


@pytest.mark.parametrize("supply_v", [0.0, 1.0, 2.0, 2.45, 2.6, 3.3, 4.2, 12.0])
def test_lamps_satisfy_their_own_circuit(supply_v):
    """Kirchhoff's voltage law at every supply: diode plus resistor is the supply."""
    lamps = Lamps(24, 0.55, 10.0, 3.0)
    current_a = lamps.current_at(supply_v)
    diode_v = lamps.lamp_v + 2 * 0.02569 * math.log(current_a / 0.055)
    assert diode_v + 10.0 * current_a == pytest.approx(supply_v, abs=1e-9)


def test_a_profile_draws_at_most_what_its_highest_step_does():
    """A duty cycle of 10 s on and 50 s off, as a current and as a power; the value of the closing time is not a step."""
    assert Profile((0.0, 10.0, 60.0), current_a=(0.3, 0.02, 9.0)).current_at(3.7) == 0.3
    load = Profile((0.0, 10.0, 60.0), power_w=(1.2, 0.1))
    assert load.current_at(3.0) == pytest.approx(0.4) and math.isinf(load.current_at(0.0))


@pytest.mark.parametrize(
    "make",
    [
        lambda: ConstantCurrent(0.0),
        lambda: ConstantCurrent(math.nan),
        lambda: ConstantPower(-1.0),
        lambda: ConstantPower(1.0, 85.0),
        lambda: ConstantPower(1.0, 0.0),
        lambda: ResistiveLoad(0.0),
        lambda: Lamps(0, 0.5, 10.0, 3.0),
        lambda: Lamps(2, 3.5, 10.0, 3.0),
        lambda: Lamps(2, 0.5, 0.0, 3.0),
        lambda: Profile((0.0, 10.0)),
        lambda: Profile((0.0, 10.0), (0.1,), (0.1,)),
        lambda: Profile((0.0,), (0.1,)),
        lambda: Profile((0.0, 10.0, 5.0), (0.1, 0.2)),
        lambda: Profile((1.0, 10.0), (0.1,)),
        lambda: Profile((0.0, 10.0), (0.0,)),
        lambda: Profile((0.0, 10.0), (-0.1,)),
        lambda: Profile((0.0, 10.0, 20.0), (0.1,)),
        lambda: current_from_drop(0.0, 5.2),
        lambda: current_from_drop(0.67, 5.2, 0),
    ],
)
def test_a_load_that_cannot_be_is_refused_with_a_remedy(make):
    """Each kind of nonsense gets a message of its own, never a traceback from arithmetic."""
    with pytest.raises(BadData) as caught:
        make()
    assert caught.value.remedy


# --- when lamps count as dark ----------------------------------------------------------------------


@pytest.mark.parametrize("across_ohm", [1.0, 10.0, 220.0])
def test_at_the_dark_voltage_lamps_draw_the_least_share_of_what_lit_them(across_ohm):
    """A twentieth of the 55 mA that were measured (common practice), whatever resistor stands before them now."""
    lamps = Lamps(24, 0.55, 10.0, 3.0).with_resistor(across_ohm)
    assert lamps.least_a == pytest.approx(0.05 * 0.055)
    assert lamps.current_at(lamps.dark_v) == pytest.approx(lamps.least_a, rel=1e-5)


def test_a_larger_resistor_darkens_the_lamps_earlier():
    """The same current drops more over it (Ohm's law): 0.1 kohm more is 2.75 mA x 100 ohm."""
    lamps = Lamps(24, 0.55, 10.0, 3.0)
    more_v = lamps.with_resistor(110.0).dark_v - lamps.dark_v
    assert more_v == pytest.approx(0.05 * 0.055 * 100.0, rel=1e-5)
