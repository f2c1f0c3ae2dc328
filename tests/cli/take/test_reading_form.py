"""One line of `reading add`, several readings; and what does not fit together."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest

from straycell.bench.recording.reading_form import (
    Said,
    check_form,
    filled_from,
    form_of,
    notes_of,
    readings_of,
)
from straycell.cells import Look
from straycell.errors import UsageFault
from straycell.keys import NEW, RecordKey
from straycell.readings import Method, Quantity, Reading, Where

AT = datetime(2026, 4, 2, 18, 30, tzinfo=UTC)


def one(form: Said) -> Reading:
    """The only reading of a form."""
    check_form(form)
    (reading,) = readings_of(form, "A00001X", AT, None)
    return reading


def test_several_quantities_become_several_readings_with_the_same_conditions() -> None:
    """Look, as found, capacity and resistance in one go; the temperature is their condition."""
    form = {
        "look": (Look.CLEAN,),
        "as_found_voltage_v": 3.4,
        "capacity_ah": 2.0,
        "discharge_current_a": 0.5,
        "cutoff_v": 3.0,
        "resistance_ohm": 0.05,
        "temperature_c": 21.0,
    }
    check_form(form)
    made = readings_of(form, "A00001X", AT, None)
    assert [r.quantity for r in made] == [
        Quantity.LOOK,
        Quantity.AS_FOUND_VOLTAGE,
        Quantity.CAPACITY,
        Quantity.RESISTANCE,
    ]
    assert {r.temperature_c for r in made} == {21.0}
    assert {r.at for r in made} == {AT}


def test_a_temperature_alone_is_a_reading_of_its_own() -> None:
    """Nothing else was measured."""
    made = one({"temperature_c": 41.0})
    assert (made.quantity, made.value) == (Quantity.TEMPERATURE, 41.0)


def test_a_dc_pulse_lasts_one_second_unless_said_otherwise() -> None:
    """Interface: dc-pulse means a pulse of about 1 s."""
    assert one({"resistance_ohm": 0.05, "method": Method.DC_PULSE}).pulse_s == 1.0
    assert one({"resistance_ohm": 0.05, "method": Method.DC_PULSE, "pulse_s": 10.0}).pulse_s == 10.0
    assert one({"resistance_ohm": 0.05, "method": Method.AC_1KHZ}).pulse_s is None


def test_a_resistance_without_a_method_is_unknown_and_said_so() -> None:
    """It is taken, and the person hears what that costs."""
    form = {"resistance_ohm": 0.05}
    assert one(form).method is Method.UNKNOWN
    assert any("unknown" in note for note in notes_of(form))


def test_a_voltage_without_rest_is_taken_but_said_not_to_count() -> None:
    """It is no rest voltage."""
    form = {"voltage_v": 3.9}
    assert one(form).rested_s is None
    assert any("--rested" in note for note in notes_of(form))
    assert not any("--rested" in note for note in notes_of({"voltage_v": 3.9, "rested_s": 86400.0}))


def test_words_of_a_look_are_kept_once_each() -> None:
    """Said twice is once."""
    assert one({"look": (Look.RUST, Look.DENTED, Look.RUST)}).look == (Look.RUST, Look.DENTED)


@pytest.mark.parametrize(
    ("form", "words"),
    [
        ({}, "no reading"),
        ({"rested_s": 60.0, "capacity_ah": 2.0, "discharge_current_a": 1.0, "cutoff_v": 3.0}, "--rested"),
        ({"capacity_ah": 2.0}, "current and cut-off"),
        ({"capacity_ah": 2.0, "cutoff_v": 3.0}, "current and cut-off"),
        ({"voltage_v": 3.7, "discharge_current_a": 0.5}, "--discharge-current"),
        ({"voltage_v": 3.7, "cutoff_v": 3.0}, "--cutoff"),
        ({"voltage_v": 3.7, "method": Method.AC_1KHZ}, "--resistance-method"),
        ({"voltage_v": 3.7, "pulse_s": 1.0}, "--pulse"),
        ({"resistance_ohm": 0.05, "pulse_s": 1.0, "method": Method.AC_1KHZ}, "--pulse"),
        ({"look": (Look.CLEAN,), "where": Where.TABS}, "--where"),
        ({"look": (Look.CLEAN, Look.RUST)}, "clean and rust"),
        ({"voltage_v": 3.7, "as_group": True}, "--as-group"),
    ],
)
def test_options_that_do_not_fit_together_are_refused(form: Said, words: str) -> None:
    """Each with the option it is about."""
    with pytest.raises(UsageFault, match=words):
        check_form(form)


def old_capacity() -> Reading:
    """A capacity on record."""
    return Reading(
        RecordKey("A", 7),
        "A00001X",
        Quantity.CAPACITY,
        AT,
        2.01,
        temperature_c=21.0,
        discharge_current_a=0.5,
        cutoff_v=3.0,
    )


def test_a_correction_keeps_the_conditions_that_were_not_said_anew() -> None:
    """Only the figure was mistyped."""
    form = filled_from({"capacity_ah": 1.02}, old_capacity())
    assert form == {"capacity_ah": 1.02, "discharge_current_a": 0.5, "cutoff_v": 3.0, "temperature_c": 21.0}


def test_a_correction_of_a_condition_keeps_the_value() -> None:
    """Only the cut-off, or only the temperature, was mistyped."""
    assert filled_from({"cutoff_v": 2.8}, old_capacity())["capacity_ah"] == 2.01
    form = filled_from({"temperature_c": 24.0}, old_capacity())
    assert one(form).quantity is Quantity.CAPACITY
    assert form["temperature_c"] == 24.0


def test_a_correction_to_another_quantity_takes_nothing_but_the_temperature() -> None:
    """The voltage had been entered as found by mistake."""
    old = Reading(RecordKey("A", 8), "A00001X", Quantity.AS_FOUND_VOLTAGE, AT, 3.61, temperature_c=20.0)
    form = filled_from({"voltage_v": 3.61, "rested_s": 3600.0}, old)
    assert one(form).quantity is Quantity.VOLTAGE
    assert "as_found_voltage_v" not in form and form["temperature_c"] == 20.0


def test_a_changed_method_does_not_inherit_the_pulse() -> None:
    """It was 1 kHz after all."""
    old = Reading(
        RecordKey("A", 9), "A00001X", Quantity.RESISTANCE, AT, 0.05, method=Method.DC_PULSE, pulse_s=10.0
    )
    form = filled_from({"method": Method.AC_1KHZ}, old)
    assert one(form).pulse_s is None


@pytest.mark.parametrize(
    "reading",
    [
        old_capacity(),
        Reading(NEW, "A00001X", Quantity.VOLTAGE, AT, 4.1, rested_s=86400.0, where=Where.TABS),
        Reading(NEW, "A00001X", Quantity.AS_FOUND_VOLTAGE, AT, 3.2, as_group=True),
        Reading(NEW, "A00001X", Quantity.RESISTANCE, AT, 0.05, method=Method.DC_PULSE, pulse_s=2.0),
        Reading(NEW, "A00001X", Quantity.LOOK, AT, look=(Look.RUST,)),
        Reading(NEW, "A00001X", Quantity.TEMPERATURE, AT, 33.0, temperature_c=33.0),
    ],
)
def test_the_form_of_a_reading_records_the_same_reading(reading: Reading) -> None:
    """There and back."""
    from dataclasses import replace

    assert one(form_of(reading)) == replace(reading, id=NEW)
