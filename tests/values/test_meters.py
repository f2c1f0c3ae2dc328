"""Meters: accuracy and resolution as written, and the standard uncertainty that follows (JCGM 100:2008, 4.3.7)."""

from __future__ import annotations

import math
from statistics import pstdev
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from straycell.errors import BadData, UsageFault
from straycell.meters import (
    Accuracy,
    Meter,
    Resolution,
    meter_classes,
    meter_like,
    parse_accuracy,
    parse_resolution,
    show_accuracy,
    untrue,
)
from straycell.quantities import Dimension


@pytest.mark.parametrize(
    ("figures", "said"),
    [
        ({"voltage": Accuracy(0.0, 1e-7)}, "the best there is"),
        ({"voltage": Accuracy(0.00003, 0.00005)}, ""),
        (
            {"voltage": Accuracy(0.0005, 0.001), "voltage_resolution": Resolution(((math.inf, 0.01),))},
            "finer",
        ),
        ({"voltage": Accuracy(0.001, 0.002), "voltage_resolution": Resolution(((math.inf, 0.01),))}, ""),
        ({"capacity": Accuracy(0.0, 1e-6)}, "the best there is"),
        ({"resistance": Accuracy(0.0, 1e-7)}, "the best there is"),
        ({"temperature": Accuracy(0.0, 0.01)}, "the best there is"),
        ({"temperature": Accuracy(0.0, 0.5)}, ""),
    ],
)
def test_a_meter_that_is_untrue_is_told(figures: dict[str, Any], said: str) -> None:
    """An accuracy no instrument has, or finer than half of what it shows, would take every guard band away."""
    why = untrue(Meter("mine", **figures))
    assert said in why and bool(why) is bool(said)


@pytest.mark.parametrize(
    ("figures", "told"),
    [
        ({"voltage": Accuracy(0.1, 0.0)}, False),
        ({"voltage": Accuracy(0.1, 0.01)}, True),
        ({"voltage": Accuracy(0.0, 5.0)}, True),
        ({"voltage": Accuracy(0.0, 1e300)}, True),
        ({"capacity": Accuracy(0.5, 0.0)}, False),
        ({"capacity": Accuracy(0.6, 0.0)}, True),
        ({"resistance": Accuracy(0.5, 0.1)}, False),
        ({"resistance": Accuracy(0.0, 5.0)}, True),
        ({"temperature": Accuracy(0.0, 20.0)}, False),
        ({"temperature": Accuracy(0.0, 21.0)}, True),
    ],
)
def test_a_meter_that_could_tell_nothing_is_told(figures: dict[str, Any], told: bool) -> None:
    """5 V typed for 5 mV: a cell found at 3.6 V may then have been at 0 V, and would be out for good."""
    why = untrue(Meter("mine", **figures))
    assert bool(why) is told and ("nothing could be told" in why) is told and len(why) < 160


def test_no_shipped_kind_of_meter_is_untrue() -> None:
    """The bound of all is above none of them."""
    assert not [name for name, kind in meter_classes().items() if untrue(kind.meter)]


@pytest.mark.parametrize(
    ("text", "dimension", "gain", "offset"),
    [
        ("0.5%+2mV", Dimension.VOLTAGE, 0.005, 0.002),
        ("2mV + 0.5 %", Dimension.VOLTAGE, 0.005, 0.002),
        ("0.05%", Dimension.VOLTAGE, 0.0005, 0.0),
        ("5%", Dimension.CAPACITY, 0.05, 0.0),
        ("10mohm", Dimension.RESISTANCE, 0.0, 0.010),
        ("15%+25mohm", Dimension.RESISTANCE, 0.15, 0.025),
        ("1%+2C", Dimension.TEMPERATURE, 0.01, 2.0),
    ],
)
def test_an_accuracy_is_a_share_a_quantity_or_both(
    text: str, dimension: Dimension, gain: float, offset: float
) -> None:
    """P% of the reading, a fixed part, joined by +, in either order."""
    accuracy = parse_accuracy(text, dimension)
    assert accuracy.gain == pytest.approx(gain)
    assert accuracy.offset == pytest.approx(offset)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("0.5%+0.2%", "two percentages"),
        ("2mV+3mV", "two fixed parts"),
        ("0%", "not above zero"),
        ("0%+0mV", "not above zero"),
        ("0.5%+-2mV", "not above zero"),
        ("-0.5%", "negative"),
        ("0,5%", "decimal comma"),
        ("0.5%+2mohm", "is a resistance"),
        ("2", "no unit"),
        ("good", "not a number"),
        ("", "not a number"),
        ("0.5%+", "not a number"),
    ],
)
def test_each_bad_accuracy_is_told_what_is_wrong(text: str, said: str) -> None:
    """One fault, one message, one way out."""
    with pytest.raises(BadData) as fault:
        parse_accuracy(text, Dimension.VOLTAGE)
    assert said in fault.value.what
    assert fault.value.remedy


@given(st.floats(1e-5, 0.5), st.floats(1e-4, 0.5))
def test_a_printed_accuracy_reads_back(gain: float, offset: float) -> None:
    """show_accuracy and parse_accuracy are inverse to four figures."""
    text = show_accuracy(Accuracy(gain, offset), Dimension.VOLTAGE)
    back = parse_accuracy(text, Dimension.VOLTAGE)
    assert back.gain == pytest.approx(gain, rel=1e-3)
    assert back.offset == pytest.approx(offset, rel=1e-3)


def test_an_unknown_accuracy_prints_nothing() -> None:
    """Unknown is not zero."""
    assert show_accuracy(None, Dimension.VOLTAGE) == ""


@given(st.floats(0, 0.1), st.floats(0, 1), st.floats(-5, 5))
def test_limits_of_error_become_a_rectangular_standard_uncertainty(
    gain: float, offset: float, value: float
) -> None:
    """u = a / sqrt(3) for limits +-a (JCGM 100:2008, 4.3.7), a from gain and offset added."""
    accuracy = Accuracy(gain, offset)
    assert accuracy.limit(value) == pytest.approx(gain * abs(value) + offset)
    assert accuracy.u(value) == pytest.approx(accuracy.limit(value) / math.sqrt(3))
    assert accuracy.u(value) == accuracy.u(-value)


def test_the_rectangular_figures_are_those_of_evenly_spread_errors() -> None:
    """Spread errors evenly and take their standard deviation: the same two figures come out."""
    errors = [-1 + 2 * (i + 0.5) / 4000 for i in range(4000)]
    assert Accuracy(0.0, 1.0).u(3.7) == pytest.approx(pstdev(errors), rel=1e-6)
    steps = [e / 2 for e in errors]  # a step of 1 hides half a step either way
    assert Resolution(((math.inf, 1.0),)).u(3.7) == pytest.approx(pstdev(steps), rel=1e-6)


def test_the_resolution_follows_the_range() -> None:
    """1 mV below 4 V, 10 mV from there on: u = step / sqrt(12) (JCGM 100:2008, F.2.2.1)."""
    resolution = parse_resolution("1mV<4V,10mV")
    assert resolution.step(3.999) == pytest.approx(0.001)
    assert resolution.step(4.0) == pytest.approx(0.010)
    assert resolution.step(-4.1) == pytest.approx(0.010)
    assert resolution.u(3.7) == pytest.approx(2.8868e-4, rel=1e-4)
    assert parse_resolution("1mV").step(400) == pytest.approx(0.001)
    assert parse_resolution("1mV<4V").step(10) == pytest.approx(0.001), "the last step holds beyond its range"
    assert Resolution().u(3.7) == 0.0


@pytest.mark.parametrize(
    "text",
    [
        "",
        "1mV<",
        "<4V",
        "0mV",
        "-1mV",
        "1mV<4V,10mV<3V,100mV",
        "1mV,10mV",
        "1mV<-4V",
        "1mV<0V,2mV",
        "1",
        "1mA",
        "fine",
    ],
)
def test_each_bad_resolution_is_refused_with_an_example(text: str) -> None:
    """Steps above zero, ranges that rise, the right unit."""
    with pytest.raises(BadData) as fault:
        parse_resolution(text)
    assert fault.value.remedy


def test_every_shipped_class_has_a_text_a_source_and_some_accuracy() -> None:
    """No figure without where it comes from."""
    classes = meter_classes()
    assert "hand-held-multimeter" in classes
    for name, kind in classes.items():
        assert kind.text and kind.source and kind.name == name
        meter = kind.meter
        assert any((meter.voltage, meter.capacity, meter.resistance, meter.temperature))


def test_a_meter_like_a_class_has_its_figures_under_a_name_of_its_own() -> None:
    """`--like` copies the class; an unknown one lists what there is."""
    meter = meter_like("the blue one", "hand-held-multimeter")
    assert meter.name == "the blue one" and meter.like == "hand-held-multimeter"
    assert meter.voltage == meter_classes()["hand-held-multimeter"].meter.voltage
    assert meter.capacity is None
    with pytest.raises(UsageFault, match="oscilloscope") as fault:
        meter_like("scope", "oscilloscope")
    assert "good-multimeter" in fault.value.remedy
