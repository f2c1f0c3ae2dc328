"""What can be measured or seen of a cell, one such reading at one time, and one recorded charge.

Append-only: a wrong one is superseded by another, with a reason, and stays visible.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from straycell.cells import Look
from straycell.keys import NEW, RecordKey
from straycell.meters import Meter
from straycell.quantities import Dimension
from straycell.readings.fields import FIELDS, LET_DOWN_V, OF_CHARGE, OF_READING, Field
from straycell.readings.words import Method, Quantity, Where


@dataclass(frozen=True, slots=True)
class Kind:
    """One quantity: its value (None for a look), the conditions that go with it, those it cannot do without.

    `accuracy` names the accuracy of a meter that covers it, `by_contact` says that a bad contact can falsify it,
    `notes` are its verbs in a bench note.
    """

    quantity: Quantity
    value: Field | None
    takes: tuple[str, ...]
    needs: tuple[str, ...] = ()
    accuracy: str = ""
    by_contact: bool = False
    notes: tuple[str, ...] = ()

    @property
    def dimension(self) -> Dimension | None:
        return self.value.dimension if self.value else None

    @property
    def unit(self) -> str:
        return self.dimension.base if self.dimension else ""

    @property
    def key(self) -> str:
        """Under which name what was measured is said."""
        return self.value.name if self.value else "look"

    def fields(self) -> Iterator[Field]:
        """Everything that can be said of it, the value first."""
        if self.value is not None:
            yield self.value
        yield from (FIELDS[name] for name in self.takes)


# A capacity means nothing without its current and cut-off: both change what comes out.
_RUN = ("discharge_current_a", "cutoff_v")
KINDS: dict[Quantity, Kind] = {
    kind.quantity: kind
    for kind in (
        Kind(Quantity.LOOK, None, ("look", "temperature_c"), notes=("look",)),
        Kind(
            Quantity.AS_FOUND_VOLTAGE,
            OF_READING["as_found_voltage_v"],
            ("where", "temperature_c", "as_group", "u"),
            accuracy="voltage",
            by_contact=True,
            notes=("found",),
        ),
        Kind(
            Quantity.VOLTAGE,
            OF_READING["voltage_v"],
            ("rested_s", "where", "temperature_c", "u", "doubt"),
            accuracy="voltage",
            by_contact=True,
            notes=("rest", "volts"),
        ),
        Kind(
            Quantity.CAPACITY,
            OF_READING["capacity_ah"],
            (*_RUN, "energy_wh", "temperature_c", "at_least", "from_full", "u"),
            needs=_RUN,
            accuracy="capacity",
            by_contact=True,
            notes=("capacity",),
        ),
        Kind(
            Quantity.RESISTANCE,
            OF_READING["resistance_ohm"],
            ("method", "pulse_s", "soc", "where", "temperature_c", "u"),
            accuracy="resistance",
            by_contact=True,
            notes=("resistance",),
        ),
        Kind(
            Quantity.TEMPERATURE,
            OF_READING["temperature_c"],
            ("temperature_c", "surroundings_c", "rested_s", "doubt"),
            accuracy="temperature",
            notes=("warmth",),
        ),
        Kind(Quantity.MASS, OF_READING["mass_g"], (), accuracy="mass", notes=("mass",)),
        Kind(
            Quantity.CHARGE,
            OF_CHARGE["until_v"],
            (*(name for name in OF_CHARGE if name != "until_v"), "temperature_c", "u", "put_in_u"),
            needs=("current_a",),
            notes=("charge",),
        ),
        Kind(Quantity.LET_DOWN, LET_DOWN_V, ("temperature_c",), accuracy="voltage"),
    )
}
"""In the order in which several quantities of one line are recorded."""


@dataclass(frozen=True, slots=True)
class _Numbered:
    """What readings and charges share: a number of one run, and the cell. `id` is NEW for one not yet recorded."""

    id: RecordKey
    cell: str

    @property
    def key(self) -> str:
        """Its number as a text: H-613."""
        return str(self.id)


@dataclass(frozen=True, slots=True)
class Reading(_Numbered):
    """One reading. `value` is in the unit of its kind; None for a look, whose words are in `look`.

    A let-down is not a measurement: a load brought the cell down to `value`, on purpose. It shows that charge was
    moved, and is evidence of nothing else.

    `where` None means that it was not stated. Times are UTC.
    What a trace adds to a reading: `trace` is its number; `u` its own standard uncertainty, in the place of
    the meter's; `at_least` a capacity that did not run whole, `from_full` one whose trace shows a full start;
    `energy_wh` what came out with a capacity; `soc` the state of charge (0 to 1) of a resistance;
    `doubt` what it shows that nobody has explained yet: it holds the cell, and is evidence of nothing.
    """

    quantity: Quantity
    at: datetime
    value: float | None = None
    temperature_c: float | None = None
    meter: Meter | None = None
    rested_s: float | None = None
    where: Where | None = None
    discharge_current_a: float | None = None
    cutoff_v: float | None = None
    method: Method | None = None
    pulse_s: float | None = None
    look: tuple[Look, ...] = ()
    # Cells welded in parallel share one voltage: a weak one hides behind its neighbours.
    as_group: bool = False
    energy_wh: float | None = None
    soc: float | None = None
    at_least: bool = False
    from_full: bool = False
    u: float | None = None
    trace: RecordKey | None = None
    surroundings_c: float | None = None
    doubt: str = ""


@dataclass(frozen=True, slots=True)
class Charge(_Numbered):
    """One recorded charge; `at` is when it ended. It shares the readings' numbers, and is superseded like one.

    `u` is the standard uncertainty of the end voltage in V where the charger's float was measured; `put_in_ah` what
    the charger counted, `put_in_u` the standard uncertainty of that where it is known; `took_s` how long it took.
    `trace` is the number of the trace it was seen in, if so.
    """

    at: datetime
    current_a: float
    until_v: float
    end_current_a: float | None = None
    temperature_c: float | None = None
    peak_temperature_c: float | None = None
    charger: str = ""
    slot: int | None = None
    trace: RecordKey | None = None
    u: float | None = None
    put_in_ah: float | None = None
    took_s: float | None = None
    put_in_u: float | None = None

    @property
    def quantity(self) -> Quantity:
        return Quantity.CHARGE

    @property
    def value(self) -> float:
        """The voltage it ended at, so that a list of readings can hold it."""
        return self.until_v


Item = Reading | Charge


def said_of(item: Item) -> Iterator[tuple[Field, Any]]:
    """Every field beside the value that is filled, also one that its kind does not take."""
    # False and empty are what was not said: only what was said is shown, exported or superseded.
    for field in FIELDS.values():
        value = getattr(item, field.name, None)
        if value is not None and value is not False and value != () and value != "":
            yield field, value


def reading_of(
    kind: Kind, said: Mapping[str, Any], cell: str, at: datetime, meter: Meter | None = None
) -> Reading:
    """A reading of this kind, from what was said under the names of the fields; not yet numbered."""
    value = None if kind.value is None else said[kind.key]
    # No meter's accuracy covers a look or a charge; a meter named in the same line belongs to the other quantities.
    with_meter = meter if kind.accuracy else None
    return Reading(NEW, cell, kind.quantity, at, value, meter=with_meter, **_taken(kind, said))


def charge_of(said: Mapping[str, Any], cell: str, at: datetime) -> Charge:
    """The same for a charge."""
    kind = KINDS[Quantity.CHARGE]
    return Charge(NEW, cell, at, until_v=said[kind.key], **_taken(kind, said))


def _taken(kind: Kind, said: Mapping[str, Any]) -> dict[str, Any]:
    return {name: said[name] for name in kind.takes if name in said}
