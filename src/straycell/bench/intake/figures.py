"""The figures that `due` asks for: how the prompt names them, what they are for, and what Enter means."""

from dataclasses import dataclass

from straycell.bench.outlook import Need
from straycell.quantities import Dimension
from straycell.readings import KINDS, Field, Quantity, Where


@dataclass(frozen=True, slots=True)
class Figure:
    """A question for one figure or word of the table. `skip` is what Enter means where the reading may be left for later."""

    field: Field
    prompt: str
    why: str
    skip: str = ""
    may_be_unknown: bool = False

    @property
    def unit(self) -> str:
        """The unit of a bare number, which the prompt names."""
        return self.prompt.rpartition(", ")[2]

    @property
    def dimension(self) -> Dimension:
        assert self.field.dimension is not None
        return self.field.dimension


@dataclass(frozen=True, slots=True)
class Taken:
    """What answers one need: a quantity, its figures in the order they are asked for, and what goes without saying."""

    quantity: Quantity
    figures: tuple[Figure, ...]
    where: Where | None = None


def _figures(quantity: Quantity, *asked: tuple[str, str, str], skip: str = "not yet") -> tuple[Figure, ...]:
    """(name, prompt, why) each; the first may be left for later."""
    fields = {field.name: field for field in KINDS[quantity].fields()}
    return tuple(
        Figure(fields[name], prompt, why, "" if number else skip, (quantity, name) in _MAY_BE_UNKNOWN)
        for number, (name, prompt, why) in enumerate(asked)
    )


_MAY_BE_UNKNOWN = (
    (Quantity.CHARGE, "peak_temperature_c"),
    (Quantity.CAPACITY, "temperature_c"),
    (Quantity.VOLTAGE, "temperature_c"),
)
TAKEN: dict[Need, Taken] = {
    Need.CHARGE: Taken(
        Quantity.CHARGE,
        _figures(
            Quantity.CHARGE,
            (
                "current_a",
                "charged at, A",
                "The charge current. Only a full charge starts the clock for rest voltages and makes "
                "a capacity a capacity. Enter: not charged; = as the cell before.",
            ),
            ("until_v", "up to, V", "Where the charger stopped. Never above 4.20 V (lfp 3.65 V) here."),
            ("temperature_c", "room, C", "The air around it: the warming is counted from here."),
            (
                "peak_temperature_c",
                "warmest, C",
                "The warmest the cell became. More than 10 K above the room tells of trouble inside. "
                "- not watched: the verdict then waits for another charge.",
            ),
            skip="not charged",
        ),
    ),
    Need.CAPACITY: Taken(
        Quantity.CAPACITY,
        _figures(
            Quantity.CAPACITY,
            ("capacity_ah", "capacity, mAh", "From full down to the cut-off. Enter: not measured yet."),
            (
                "discharge_current_a",
                "drawn at, A",
                "The discharge current; 0.1 to 0.5 of the capacity an hour counts.",
            ),
            ("cutoff_v", "down to, V", "The voltage at which the run ended: 2.5 to 3.0 V, lfp 2.0 to 2.5 V."),
            ("temperature_c", "room, C", "A cold cell gives less: 15 to 30 C counts."),
        ),
    ),
    Need.RESISTANCE: Taken(
        Quantity.RESISTANCE,
        _figures(
            Quantity.RESISTANCE,
            (
                "resistance_ohm",
                "resistance, mohm",
                "It tells how much current the cell can give. Enter: not measured yet.",
            ),
            (
                "method",
                "method: d dc-pulse, a ac-1khz, u unknown",
                "d.c. and a.c. resistances are never compared. d dc-pulse, a ac-1khz, u unknown (gives at best solo).",
            ),
        ),
    ),
    Need.REST: Taken(
        Quantity.VOLTAGE,
        _figures(
            Quantity.VOLTAGE,
            (
                "voltage_v",
                "rest voltage, V",
                "Two of them, days apart, tell how fast it loses charge by itself. Enter: not measured yet.",
            ),
            (
                "rested_s",
                "lay still for, h",
                "Without any current: 90 minutes at least, 24 hours after a full charge. 8d is eight days.",
            ),
            (
                "temperature_c",
                "room, C",
                "Both voltages of a pair need their temperature: the cell moves with it.",
            ),
        ),
    ),
    Need.TABS: Taken(
        Quantity.VOLTAGE,
        _figures(
            Quantity.VOLTAGE,
            (
                "voltage_v",
                "voltage at the cell's own tabs, V",
                "The board may only have switched off. Do not wake it with a charger. Enter: not measured yet.",
            ),
        ),
        Where.TABS,
    ),
}
