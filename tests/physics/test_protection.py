"""Protection boards: when they trip, and whether they serve."""

import pytest

from straycell.errors import BadData
from straycell.physics.protection import fuse_words, shunt_trip, trip_range

# Sheets of dual transistors (typical or highest ohm) and 0.15 V / (2 R), recomputed by the standard rule.
TRIPS = [(0.020, 3.75), (0.025, 3.00), (0.027, 2.78), (0.037, 2.03), (0.045, 1.67), (0.060, 1.25)]


@pytest.mark.parametrize(("ohm", "trip_a"), TRIPS)
def test_the_typical_trip_is_detection_voltage_over_both_transistors(ohm, trip_a):
    """The part's own example: 3 A with 25 mohm each (protection part rev 1.1, p. 9)."""
    assert trip_range(ohm).typical_a == pytest.approx(trip_a, abs=0.005)


def test_the_detection_spread_alone_gives_2_4_to_3_6_a_at_25_milliohm():
    """120 to 180 mV."""
    cold = shunt_trip(3.0)
    assert (cold.low_a, cold.high_a) == pytest.approx((2.4, 3.6))


def test_hot_transistors_lower_the_low_end_only():
    """Resistance grows with heat, so the board opens earlier than one that feels its current over a resistor."""
    hot = trip_range(0.020)
    cold = shunt_trip(hot.typical_a)
    assert hot.low_a < cold.low_a == pytest.approx(3.0)
    assert hot.high_a == pytest.approx(cold.high_a) == pytest.approx(4.5)


def test_the_hot_low_end_of_a_25_milliohm_pair_lies_between_1_6_and_1_8_a():
    """120 mV over two transistors that heat has raised to 1.4 times their resistance: 1.71 A."""
    assert 1.6 < trip_range(0.025).low_a < 1.8


@pytest.mark.parametrize(("bears_a", "fuse"), [(3.0, True), (3.599, True), (3.6, False), (6.0, False)])
def test_a_high_end_above_what_the_cells_bear_asks_for_a_fuse(bears_a, fuse):
    """180 mV over 2 x 25 mohm are 3.6 A: the board still counts for all but the overload below that."""
    trip = trip_range(0.025)
    assert trip.overloads(bears_a) == fuse
    assert all(word in fuse_words(trip, bears_a) for word in ("short circuit", "over-charge", "fuse"))


@pytest.mark.parametrize("ohm", [0.0, -0.025, float("nan"), float("inf")])
def test_nonsense_is_refused(ohm):
    """A transistor has some resistance."""
    with pytest.raises(BadData) as caught:
        trip_range(ohm)
    assert caught.value.remedy
