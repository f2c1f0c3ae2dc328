"""What `reading add` was told, turned into readings: several quantities on one line, one reading each."""

from __future__ import annotations

from dataclasses import dataclass, fields, replace
from datetime import datetime

from straycell.cells import Look
from straycell.errors import UsageFault
from straycell.keys import NEW
from straycell.meters import Meter
from straycell.readings import Method, Quantity, Reading, Where

DEFAULT_PULSE_S = 1.0
"""`--resistance-method dc-pulse` means a pulse of about one second unless --pulse says otherwise."""


@dataclass(frozen=True, slots=True)
class ReadingForm:
    """The options of `reading add`; None where nothing was said. Values in base units."""

    voltage: float | None = None
    rested: float | None = None
    as_found_voltage: float | None = None
    where: Where | None = None
    capacity: float | None = None
    discharge_current: float | None = None
    cutoff: float | None = None
    energy: float | None = None
    resistance: float | None = None
    resistance_method: Method | None = None
    pulse: float | None = None
    temperature: float | None = None
    look: tuple[Look, ...] = ()
    as_group: bool = False

    @property
    def empty(self) -> bool:
        """True when nothing at all was said."""
        return self == ReadingForm()

    @property
    def quantities(self) -> tuple[Quantity, ...]:
        """What was measured; a temperature counts as a reading of its own only when it stands alone."""
        found = [
            quantity
            for quantity, given in (
                (Quantity.LOOK, bool(self.look)),
                (Quantity.AS_FOUND_VOLTAGE, self.as_found_voltage is not None),
                (Quantity.VOLTAGE, self.voltage is not None),
                (Quantity.CAPACITY, self.capacity is not None),
                (Quantity.RESISTANCE, self.resistance is not None),
            )
            if given
        ]
        if self.temperature is not None and not any(quantity.electrical for quantity in found):
            found.append(Quantity.TEMPERATURE)
        return tuple(found)


def check_form(form: ReadingForm) -> None:
    """Raise UsageFault when the options do not fit together."""
    if not form.quantities and form.empty:
        raise UsageFault(
            "no reading was given", "add one of --voltage --as-found-voltage --capacity --resistance --look"
        )
    for option, given, owner, present in _belongs(form):
        if given and not present:
            raise UsageFault(f"{option} stands alone", f"it belongs to {owner}")
    if form.capacity is not None and (form.discharge_current is None or form.cutoff is None):
        raise UsageFault(
            "a capacity without its current and cut-off cannot be compared with anything",
            "add --discharge-current 0.5A --cutoff 3.0V",
        )
    if form.pulse is not None and form.resistance_method is not Method.DC_PULSE:
        raise UsageFault("--pulse is the length of a d.c. pulse", "add --resistance-method dc-pulse")
    if Look.CLEAN in form.look and len(form.look) > 1:
        others = ", ".join(word for word in form.look if word is not Look.CLEAN)
        raise UsageFault(f"look: a cell cannot be clean and {others}", "leave clean out")


def _belongs(form: ReadingForm) -> list[tuple[str, bool, str, bool]]:
    voltage, resistance = form.voltage is not None, form.resistance is not None
    any_voltage = voltage or form.as_found_voltage is not None
    return [
        ("--rested", form.rested is not None, "--voltage", voltage),
        ("--discharge-current", form.discharge_current is not None, "--capacity", form.capacity is not None),
        ("--cutoff", form.cutoff is not None, "--capacity", form.capacity is not None),
        ("--energy", form.energy is not None, "--capacity", form.capacity is not None),
        ("--resistance-method", form.resistance_method is not None, "--resistance", resistance),
        ("--pulse", form.pulse is not None, "--resistance", resistance),
        ("--where", form.where is not None, "a voltage or --resistance", any_voltage or resistance),
        ("--as-group", form.as_group, "--as-found-voltage", form.as_found_voltage is not None),
    ]


def readings_of(form: ReadingForm, cell: str, at: datetime, meter: Meter | None) -> list[Reading]:
    """One reading for each quantity of a checked form."""
    return [_reading(form, quantity, cell, at, meter) for quantity in form.quantities]


def _reading(form: ReadingForm, quantity: Quantity, cell: str, at: datetime, meter: Meter | None) -> Reading:
    base = Reading(
        id=NEW,
        cell=cell,
        quantity=quantity,
        at=at,
        temperature_c=form.temperature,
        meter=meter,
        where=form.where,
    )
    if quantity is Quantity.LOOK:
        return replace(base, look=tuple(dict.fromkeys(form.look)), meter=None, where=None)
    if quantity is Quantity.AS_FOUND_VOLTAGE:
        return replace(base, value=form.as_found_voltage, as_group=form.as_group)
    if quantity is Quantity.VOLTAGE:
        return replace(base, value=form.voltage, rested_s=form.rested)
    if quantity is Quantity.CAPACITY:
        return replace(
            base,
            value=form.capacity,
            discharge_current_a=form.discharge_current,
            cutoff_v=form.cutoff,
            energy_wh=form.energy,
            where=None,
        )
    if quantity is Quantity.TEMPERATURE:
        return replace(base, value=form.temperature, where=None)
    method = form.resistance_method or Method.UNKNOWN
    pulse = form.pulse or DEFAULT_PULSE_S
    return replace(
        base, value=form.resistance, method=method, pulse_s=pulse if method is Method.DC_PULSE else None
    )


def notes_of(form: ReadingForm) -> list[str]:
    """What a person should know about what was just taken."""
    notes = []
    if form.voltage is not None and form.rested is None:
        notes.append("the voltage is taken, but without --rested it does not count as a rest voltage")
    if form.resistance is not None and form.resistance_method is None:
        notes.append(
            "resistance method: unknown, so it gives at best solo; say --resistance-method dc-pulse or ac-1khz"
        )
    if form.capacity is not None and form.temperature is None:
        notes.append("no --temperature: at what temperature was the capacity measured?")
    return notes


def filled_from(form: ReadingForm, old: Reading) -> ReadingForm:
    """A correction of `old`: what was not said anew stays as it was.

    When the form names the same quantity, or none, the old conditions (and value) fill the gaps; when it
    names another quantity, only the temperature is carried over.
    """
    filled = replace(form, temperature=old.temperature_c if form.temperature is None else form.temperature)
    if form.quantities and old.quantity not in form.quantities and form.quantities != (Quantity.TEMPERATURE,):
        return filled
    former = form_of(old)
    gaps = {
        field.name: getattr(former, field.name)
        for field in fields(ReadingForm)
        if getattr(filled, field.name) in (None, (), False)
    }
    filled = replace(filled, **gaps)
    changed_method = form.resistance_method not in (None, former.resistance_method)
    return replace(filled, pulse=form.pulse) if changed_method else filled


def form_of(reading: Reading) -> ReadingForm:
    """The options that would have recorded this reading."""
    value = reading.value
    return ReadingForm(
        voltage=value if reading.quantity is Quantity.VOLTAGE else None,
        rested=reading.rested_s,
        as_found_voltage=value if reading.quantity is Quantity.AS_FOUND_VOLTAGE else None,
        where=reading.where,
        capacity=value if reading.quantity is Quantity.CAPACITY else None,
        discharge_current=reading.discharge_current_a,
        cutoff=reading.cutoff_v,
        energy=reading.energy_wh,
        resistance=value if reading.quantity is Quantity.RESISTANCE else None,
        resistance_method=reading.method,
        pulse=reading.pulse_s,
        temperature=value if reading.quantity is Quantity.TEMPERATURE else reading.temperature_c,
        look=reading.look,
        as_group=reading.as_group,
    )
