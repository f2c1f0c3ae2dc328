"""The forms of what can be recorded, made from the one table of fields: which fields, in which unit, and back again."""

from collections.abc import Callable
from dataclasses import dataclass, replace
from enum import StrEnum
from typing import Any

from straycell.bench.intake import words
from straycell.cells import Look
from straycell.errors import BadData, StraycellError
from straycell.quantities import Dimension
from straycell.readings import OF_CHARGE, OF_READING, ROOM, Field
from straycell.safety import Step
from straycell.typed import parse_line, parse_word
from straycell.web.words import refusal

# The unit that a bench writes a figure in; it is fixed on the page, so that a glove types digits alone.
UNITS = {
    Dimension.VOLTAGE: "V",
    Dimension.CURRENT: "A",
    Dimension.CAPACITY: "mAh",
    Dimension.RESISTANCE: "mohm",
    Dimension.TEMPERATURE: "C",
    Dimension.ENERGY: "Wh",
    Dimension.MASS: "g",
}
RESTS = ("30min", "1h", "4h", "12h", "24h", "3d", "7d")
"""Offered as buttons; any other rest is typed with its unit."""
FIRST_LOOKS = (Look.CLEAN, Look.DENTED, Look.TORN_SLEEVE, Look.RUST, Look.SWOLLEN, Look.LEAKING)
"""The six that a bench meets most (common practice, no published source); the others lie behind one more tap."""
BAD_LOOKS = FIRST_LOOKS[-2:]
"""Those of them that are drawn as a danger."""


@dataclass(frozen=True, slots=True)
class Form:
    """One form: its name in the address, its fields, those it cannot do without, and the step whose cautions it shows."""

    name: str
    step: Step
    fields: tuple[Field, ...]
    needed: tuple[str, ...]
    charge: bool = False
    metered: bool = True


def _form(name: str, step: Step, names: str, needed: str, **more: Any) -> Form:
    table = {**OF_READING, **OF_CHARGE} | ({"temperature_c": ROOM} if more.get("charge") else {})
    return Form(name, step, tuple(table[each] for each in names.split()), tuple(needed.split()), **more)


FORMS = {
    form.name: form
    for form in (
        _form("look", Step.MEASURING, "look", "look", metered=False),
        _form("found", Step.MEASURING, "as_found_voltage_v", "as_found_voltage_v"),
        _form("rest", Step.MEASURING, "voltage_v rested_s temperature_c", "voltage_v"),
        _form(
            "capacity",
            Step.CAPACITY,
            "capacity_ah discharge_current_a cutoff_v temperature_c energy_wh",
            "capacity_ah discharge_current_a cutoff_v",
        ),
        _form("resistance", Step.MEASURING, "resistance_ohm method pulse_s temperature_c", "resistance_ohm"),
        _form("warmth", Step.MEASURING, "temperature_c surroundings_c rested_s", "temperature_c"),
        _form("mass", Step.MEASURING, "mass_g", "mass_g"),
        _form(
            "charge",
            Step.CHARGING,
            "current_a until_v end_current_a peak_temperature_c temperature_c put_in_ah charger",
            "current_a",
            charge=True,
            metered=False,
        ),
    )
}


def with_place(form: Form) -> Form:
    """The same for a cell behind a protection board: where the voltage was taken decides what it tells."""
    if not any(field.name in ("voltage_v", "as_found_voltage_v") for field in form.fields):
        return form
    return replace(form, fields=(*form.fields, OF_READING["where"]))


class Faulty(Exception):
    """What could not be read, by field."""

    def __init__(self, faults: dict[str, StraycellError]) -> None:
        super().__init__("; ".join(faults))
        self.faults = faults


def said_in(form: Form, text: Callable[[str], str], texts: Callable[[str], list[str]]) -> dict[str, Any]:
    """What a form says, by the names of `readings.fields`, in base units. Raises Faulty with every fault at once."""
    said: dict[str, Any] = {}
    faults: dict[str, StraycellError] = {}
    for field in form.fields:
        try:
            value = _value(field, text, texts)
        except StraycellError as fault:
            # Every fault at once: a form sent back five times is given up.
            faults[field.name] = fault
            continue
        if value is not None:
            said[field.name] = value
        elif field.name in form.needed:
            faults[field.name] = BadData(*refusal("empty", noun=field.noun))
    if faults:
        raise Faulty(faults)
    return said


def _value(field: Field, text: Callable[[str], str], texts: Callable[[str], list[str]]) -> Any:
    typed = text(field.name)
    if field.kind is Look:
        found = tuple(parse_word(word, Look) for word in texts(field.name))
        return found or None
    if field.dimension is Dimension.DURATION:
        # "other" is the button beside the field in which a rest of one's own is typed.
        typed = text(f"{field.name}_other") if typed in ("", "other") else typed
    if not typed:
        return None
    if field.dimension is not None:
        return number(typed, field)
    if isinstance(field.kind, type) and issubclass(field.kind, StrEnum):
        return parse_word(typed, field.kind)
    return parse_line(typed, field.noun)


def number(typed: str, field: Field) -> float:
    """A figure in the unit of its field, or with a unit of its own. Raises BadData."""
    assert field.dimension is not None
    return words.number(typed, field.dimension, UNITS.get(field.dimension), field.noun, field.typed)
