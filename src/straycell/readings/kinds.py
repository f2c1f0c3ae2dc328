"""What can be measured or seen of a cell: each quantity with its value and the conditions that belong to it."""

from collections.abc import Iterator
from dataclasses import dataclass

from straycell.quantities import Dimension
from straycell.readings.fields import FIELDS, LET_DOWN_V, OF_CHARGE, OF_READING, Field
from straycell.readings.words import Quantity


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
