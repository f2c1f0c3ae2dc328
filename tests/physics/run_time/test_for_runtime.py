"""From wanted hours back to a current or a resistor."""

import math
import re

import pytest
from tests.physics.asking import asked

from straycell.cells import Chemistry
from straycell.errors import BadData, NegativeAnswer
from straycell.physics.loads import Lamps
from straycell.physics.resistors import is_standard, read_bands, rounded_down
from straycell.physics.run_time.for_runtime import current_for_runtime, resistor_for_runtime
from straycell.physics.run_time.runtime import estimate
from straycell.quantities import Measured

LAMPS = Lamps(24, 0.55, 10.0, 3.0)


def run(load):
    """A 1 Ah cell that a device empties to 2.8 V."""
    return estimate(*asked(Chemistry.NMC, Measured(1.0, 0.02), Measured(0.1, 0.01), load, cutoff_v=2.8))


@pytest.mark.parametrize("wanted_h", [1.0, 10.0, 100.0])
def test_the_current_found_keeps_the_promise_and_a_little_more_does_not(wanted_h):
    """Found by halving, to a part in ten thousand."""
    from straycell.physics.loads import ConstantCurrent

    choice = current_for_runtime(wanted_h, run, most_a=5.0)
    assert choice.runtime.low_h >= wanted_h
    assert run(ConstantCurrent(choice.current_a * 1.001)).low_h < wanted_h
    assert choice.current_a < 1.0 / wanted_h


@pytest.mark.parametrize("wanted_h", [5.0, 24.0, 200.0])
def test_the_resistor_found_can_be_bought_and_the_next_smaller_one_fails(wanted_h):
    """E24, judged at the lower end of its tolerance."""
    choice = resistor_for_runtime(wanted_h, LAMPS, run, full_v=4.2, brighter=True)
    assert is_standard(choice.ohm) and read_bands(choice.bands).ohm == pytest.approx(choice.ohm)
    assert choice.runtime.low_h >= wanted_h
    smaller = rounded_down(choice.ohm * 0.99) * 0.95
    assert run(LAMPS.with_resistor(smaller)).low_h < wanted_h


@pytest.mark.parametrize("wanted_h", [0.5, 5.0, 24.0, 60.0])
@pytest.mark.parametrize("lamps", [LAMPS, Lamps(6, 0.42, 5.6, 3.0), Lamps(1, 0.05, 4.0, 2.4)])
def test_no_lamp_gets_more_than_in_its_old_device_unless_asked_for(wanted_h, lamps):
    """From a full cell, at the lower end of the resistor's tolerance; by Kirchhoff and the diode law, halved by hand."""
    choice = resistor_for_runtime(wanted_h, lamps, run, full_v=4.2)
    ohm, then_a, diode_v = choice.ohm * 0.95, lamps.drop_v / lamps.across_ohm, lamps.supply_v - lamps.drop_v
    low, high = 0.0, 10.0
    for _ in range(100):
        amps = (low + high) / 2
        over = amps * ohm + diode_v + 2 * 0.02569 * math.log(max(amps, 1e-12) / then_a)
        low, high = (amps, high) if over < 4.2 else (low, amps)
    assert low <= then_a * (1 + 1e-6)
    bright = resistor_for_runtime(wanted_h, lamps, run, full_v=4.2, brighter=True)
    assert bright.ohm <= choice.ohm


def test_lamps_behind_their_old_resistor_get_too_much_from_a_lithium_cell():
    """24 lamps, 2.3 mA each at 3 V; 4.2 V drive several times that, and the words name both and a remedy."""
    told = LAMPS.brighter(4.2)
    assert "2.2 mA" in told and "burn out" in told
    (ohm,) = (float(each) for each in re.findall(r"resistor of ([\d.]+) ohm \(E24\) or more", told))
    # IEC 60063: the next value up is less than 11 % above.
    assert is_standard(ohm) and 1.0 <= ohm / LAMPS.gentle_ohm(4.2) < 1.11
    assert LAMPS.with_resistor(LAMPS.gentle_ohm(4.2) * 1.001).brighter(4.2) == ""
    assert LAMPS.brighter(2.9) == ""


def test_the_rating_is_twice_the_heat_at_full_voltage():
    """I squared R at 4.2 V, by Joule's law."""
    choice = resistor_for_runtime(24.0, LAMPS, run, full_v=4.2)
    assert choice.dissipated_w == pytest.approx(choice.full_current_a**2 * choice.ohm * 0.95)
    assert choice.rating_w >= 2 * choice.dissipated_w


def test_what_no_resistor_or_current_can_give_is_a_negative_answer():
    """A million hours."""
    with pytest.raises(NegativeAnswer):
        current_for_runtime(1e7, run, most_a=1.0)
    with pytest.raises(NegativeAnswer):
        resistor_for_runtime(1e7, LAMPS, run, full_v=4.2, most_ohm=1000.0)


@pytest.mark.parametrize("wanted_h", [0.0, -1.0, float("nan"), float("inf")])
def test_hours_that_cannot_be_wanted_are_refused(wanted_h):
    """Zero, negative, no number, endless."""
    with pytest.raises(BadData):
        current_for_runtime(wanted_h, run, most_a=1.0)


# --- lamps that one cell does not light ------------------------------------------------------------


def test_lamps_made_for_a_higher_supply_go_dark_on_one_cell():
    """4.5 V over the lamps when they were lit: 4.2 V leave a ten-thousandth of the current, which is no run time."""
    with pytest.raises(NegativeAnswer) as caught:
        resistor_for_runtime(24.0, Lamps(20, 0.5, 10.0, 5.0), run, full_v=4.2)
    assert "the lamps go dark on one cell" in caught.value.what and "in series" in caught.value.remedy


@pytest.mark.parametrize("supply_v", [4.8, 5.0, 9.0])
def test_a_glow_is_no_run_time(supply_v):
    """Once even a full cell gives less than the least share, nothing lasts: no millions of hours."""
    found = run(Lamps(20, 0.4, 10.0, supply_v))
    assert (found.low_h, found.expected_h, found.high_h) == (0.0, 0.0, 0.0)
    assert any("dark" in note for note in found.notes)


def test_lamps_that_fade_are_counted_until_they_are_dark():
    """The same as a device that stops at that voltage."""
    lamps = Lamps(20, 0.5, 10.0, 4.0)
    at_dark = estimate(
        *asked(Chemistry.NMC, Measured(1.0, 0.02), Measured(0.1, 0.01), lamps, cutoff_v=lamps.dark_v)
    )
    found = run(lamps)
    assert found.stop == "lamps too dark" and lamps.dark_v > 2.8
    assert (found.low_h, found.high_h) == (at_dark.low_h, at_dark.high_h)


@pytest.mark.parametrize("wanted_h", [1.0, 20.0, 150.0, 200.0])
def test_a_found_resistor_lights_the_lamps_for_the_whole_time(wanted_h):
    """At the voltage that ends the run they still get a twentieth of what was measured."""
    choice = resistor_for_runtime(wanted_h, LAMPS, run, full_v=4.2)
    behind = LAMPS.with_resistor(choice.ohm * 0.95)
    assert choice.runtime.low_h >= wanted_h
    assert behind.current_at(max(2.8, behind.dark_v)) >= 0.05 * LAMPS.measured_a * (1 - 1e-6)


def test_longer_than_lit_lamps_can_last_is_refused():
    """1 Ah at a twentieth of 55 mA is 364 h at the very most; 400 h would be a glow."""
    with pytest.raises(NegativeAnswer, match="still light"):
        resistor_for_runtime(400.0, LAMPS, run, full_v=4.2)
