"""Readings: a value with the uncertainty of its meter, against the `uncertainties` library."""

from __future__ import annotations

import math
from datetime import UTC, datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st
from uncertainties import ufloat

from straycell.keys import RecordKey
from straycell.meters import Accuracy, Meter, parse_resolution
from straycell.readings import (
    KINDS,
    CautiousDefaults,
    Method,
    Quantity,
    Reading,
    accuracy_of,
    measured,
)

AT = datetime(2026, 3, 1, 18, tzinfo=UTC)
DEFAULTS = CautiousDefaults(
    voltage=Accuracy(0.005, 0.010),
    capacity=Accuracy(0.05),
    resistance=Accuracy(0.10, 0.020),
    resistance_unknown_method=Accuracy(0.10, 0.030),
    temperature=Accuracy(0.0, 2.0),
)
METER = Meter("bench", voltage=Accuracy(0.0005, 0.002), voltage_resolution=parse_resolution("1mV<4V,10mV"))
ALL_ROUND = Meter(
    "tester", voltage=Accuracy(0.001, 0.003), capacity=Accuracy(0.01), resistance=Accuracy(0.02, 0.002),
    temperature=Accuracy(0.0, 1.0),
)  # fmt: skip


def reading(
    quantity: Quantity, value: float, meter: Meter | None = None, method: Method | None = None
) -> Reading:
    """One reading with nothing else said."""
    return Reading(RecordKey("B", 1), "B00001K", quantity, AT, value=value, meter=meter, method=method)


def rectangular(limit: float) -> float:
    return limit / math.sqrt(3)


@given(st.floats(0.5, 4.4))
def test_a_voltage_carries_gain_offset_and_resolution(value: float) -> None:
    """The meter's limits as one rectangular error, half a step as another, added by the outside library."""
    outside = value + ufloat(0, rectangular(0.0005 * value + 0.002))
    outside += ufloat(0, rectangular((0.001 if value < 4 else 0.010) / 2))
    ours = measured(reading(Quantity.VOLTAGE, value, METER), DEFAULTS)
    assert ours.value == value
    assert ours.u == pytest.approx(outside.std_dev, rel=1e-9)
    assert ours.expanded == pytest.approx(2 * outside.std_dev, rel=1e-9)


@given(st.floats(3.0, 4.4), st.floats(0, 0.2))
def test_two_meters_differ_by_the_root_of_both_squared(first: float, drop: float) -> None:
    """Readings of two unrelated meters: their difference is as uncertain as the library says."""
    other = Meter("other", voltage=Accuracy(0.001, 0.003))
    a = measured(reading(Quantity.VOLTAGE, first, METER), DEFAULTS)
    b = measured(reading(Quantity.VOLTAGE, first - drop, other), DEFAULTS)
    outside = ufloat(a.value, a.u) - ufloat(b.value, b.u)
    assert math.hypot(a.u, b.u) == pytest.approx(outside.std_dev, rel=1e-9)


@given(st.floats(0.0, 0.1), st.floats(0.0, 0.05), st.floats(1e-3, 5))
def test_no_meter_means_the_cautious_default_and_says_so(gain: float, offset: float, value: float) -> None:
    """The rules' own limits, flagged as such, whatever the quantity."""
    defaults = CautiousDefaults(*(Accuracy(gain, offset + 1e-6 * i) for i in range(1, 6)))
    kinds = [Quantity.VOLTAGE, Quantity.CAPACITY, Quantity.RESISTANCE, Quantity.TEMPERATURE]
    for kind, expected in zip(
        kinds, (defaults.voltage, defaults.capacity, defaults.resistance, defaults.temperature), strict=True
    ):
        assert accuracy_of(reading(kind, value, method=Method.AC_1KHZ), defaults) == (expected, True)
        assert measured(reading(kind, value), defaults).u == pytest.approx(
            rectangular(gain * value + expected.offset)
        )


def test_each_quantity_takes_its_own_accuracy_of_the_meter() -> None:
    """A tester that measures all four is known in all four."""
    assert accuracy_of(reading(Quantity.VOLTAGE, 3.7, ALL_ROUND), DEFAULTS) == (ALL_ROUND.voltage, False)
    assert accuracy_of(reading(Quantity.AS_FOUND_VOLTAGE, 3.7, ALL_ROUND), DEFAULTS) == (
        ALL_ROUND.voltage,
        False,
    )
    assert accuracy_of(reading(Quantity.CAPACITY, 2.0, ALL_ROUND), DEFAULTS) == (ALL_ROUND.capacity, False)
    assert accuracy_of(reading(Quantity.RESISTANCE, 0.05, ALL_ROUND, Method.DC_PULSE), DEFAULTS) == (
        ALL_ROUND.resistance,
        False,
    )
    assert accuracy_of(reading(Quantity.TEMPERATURE, 22, ALL_ROUND), DEFAULTS) == (
        ALL_ROUND.temperature,
        False,
    )


def test_a_quantity_the_meter_does_not_know_gets_the_default() -> None:
    """A multimeter's capacity is nobody's figure."""
    assert accuracy_of(reading(Quantity.CAPACITY, 2.0, METER), DEFAULTS) == (DEFAULTS.capacity, True)
    assert measured(reading(Quantity.VOLTAGE, 3.7), DEFAULTS).u == pytest.approx(rectangular(0.0285))


accuracies = st.builds(Accuracy, st.floats(0, 0.5), st.floats(0, 0.1))


@given(accuracies, st.floats(1e-3, 2))
def test_an_unknown_method_is_never_better_than_either_figure(sheet: Accuracy, value: float) -> None:
    """A cheap tester's figure: at least the cautious class, at least the tester's own sheet, at any value."""
    tester = Meter("cheap", resistance=sheet)
    u = measured(reading(Quantity.RESISTANCE, value, tester, Method.UNKNOWN), DEFAULTS).u
    assert u >= DEFAULTS.resistance_unknown_method.u(value) - 1e-15
    assert u >= sheet.u(value) - 1e-15


def test_an_unknown_method_without_a_meter_is_the_cautious_class() -> None:
    """10 % + 30 mohm as limits (acceptance rules)."""
    accuracy, is_default = accuracy_of(reading(Quantity.RESISTANCE, 0.1, None, Method.UNKNOWN), DEFAULTS)
    assert accuracy == DEFAULTS.resistance_unknown_method and is_default
    worse = Meter("worse", resistance=Accuracy(0.2, 0.05))
    assert accuracy_of(reading(Quantity.RESISTANCE, 0.1, worse, Method.UNKNOWN), DEFAULTS) == (
        worse.resistance,
        False,
    )


def test_a_resistance_from_two_voltages_agrees_with_four_outside_libraries() -> None:
    """R = (4.182 - 4.104) V / 30 A, u = 1 mV, 1 mV, 0.03 A: u(R) = 4.7212e-5 ohm.

    Worked by uncertainties, GTC, metrolopy and suncal alike; here our u of each voltage goes into the first.
    """
    meter = Meter("cycler", voltage=Accuracy(0.0, 0.001 * math.sqrt(3)))
    high, low = (measured(reading(Quantity.VOLTAGE, v, meter), DEFAULTS) for v in (4.182, 4.104))
    resistance = (ufloat(high.value, high.u) - ufloat(low.value, low.u)) / ufloat(30, 0.03)
    assert resistance.std_dev == pytest.approx(4.7212e-5, rel=1e-4)


def test_bad_contact_can_only_be_the_mistake_of_an_electrical_reading() -> None:
    """A look is never a matter of contact."""
    assert {q for q in Quantity if KINDS[q].by_contact} == {
        Quantity.VOLTAGE,
        Quantity.AS_FOUND_VOLTAGE,
        Quantity.CAPACITY,
        Quantity.RESISTANCE,
    }


def test_every_quantity_has_its_unit() -> None:
    """Base units; a look has none."""
    assert set(KINDS) == set(Quantity)
    assert KINDS[Quantity.LOOK].unit == ""
