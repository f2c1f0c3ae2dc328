"""From wanted hours back to a current or a resistor."""

import pytest

from straycell.cells import Chemistry
from straycell.errors import BadData, NegativeAnswer
from straycell.physics.for_runtime import current_for_runtime, resistor_for_runtime
from straycell.physics.loads import Lamps
from straycell.physics.resistors import is_standard, read_bands, rounded_down
from straycell.physics.runtime import estimate
from straycell.quantities import Measured

LAMPS = Lamps(24, 0.55, 10.0, 3.0)


def run(load):
    """A 1 Ah cell that a device empties to 2.8 V."""
    return estimate(Chemistry.NMC, Measured(1.0, 0.02), Measured(0.1, 0.01), load, cutoff_v=2.8)


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
    choice = resistor_for_runtime(wanted_h, LAMPS, run, full_v=4.2)
    assert is_standard(choice.ohm) and read_bands(choice.bands).ohm == pytest.approx(choice.ohm)
    assert choice.runtime.low_h >= wanted_h
    smaller = rounded_down(choice.ohm * 0.99) * 0.95
    assert run(LAMPS.with_resistor(smaller)).low_h < wanted_h


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
