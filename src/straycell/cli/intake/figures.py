"""The figures that `due` asks for: prompt, unit, what it is for, and what Enter means."""

from __future__ import annotations

from dataclasses import dataclass

from straycell.cli.intake.script import Need
from straycell.quantities import Dimension, Window

_D = Dimension
TEMPERATURE = "temperature"
"""All room temperatures of an evening share one default."""
_ONE_CELL = Window(1e-3, 50.0)
_END = Window(2.0, 5.0)
_CUTOFF = Window(1.0, 4.5)
_REST = Window(0.0, 20 * 365.25 * 86400.0)


@dataclass(frozen=True, slots=True)
class Figure:
    """A question for one number. `skip` is what Enter means where the reading may be left for later."""

    key: str
    prompt: str
    dimension: Dimension
    unit: str
    why: str
    window: Window | None = None
    skip: str = ""
    shared: str = ""
    may_be_unknown: bool = False


FIGURES: dict[Need, tuple[Figure, ...]] = {
    Need.CHARGE: (
        Figure(
            "current",
            "charged at, A",
            _D.CURRENT,
            "A",
            "The charge current. Only a full charge starts the clock for rest voltages and makes "
            "a capacity a capacity. Enter: not charged; = as the cell before.",
            _ONE_CELL,
            skip="not charged",
        ),
        Figure(
            "until",
            "up to, V",
            _D.VOLTAGE,
            "V",
            "Where the charger stopped. Never above 4.20 V (lfp 3.65 V) here.",
            _END,
        ),
        Figure(
            "room",
            "room, C",
            _D.TEMPERATURE,
            "C",
            "The air around it: the warming is counted from here.",
            shared=TEMPERATURE,
        ),
        Figure(
            "peak",
            "warmest, C",
            _D.TEMPERATURE,
            "C",
            "The warmest the cell became. More than 10 K above the room tells of trouble inside. "
            "- not watched: the verdict then waits for another charge.",
            may_be_unknown=True,
        ),
    ),
    Need.CAPACITY: (
        Figure(
            "capacity",
            "capacity, mAh",
            _D.CAPACITY,
            "mAh",
            "From full down to the cut-off. Enter: not measured yet.",
            skip="not yet",
        ),
        Figure(
            "drawn",
            "drawn at, A",
            _D.CURRENT,
            "A",
            "The discharge current; 0.1 to 0.5 of the capacity an hour counts.",
            _ONE_CELL,
        ),
        Figure(
            "cutoff",
            "down to, V",
            _D.VOLTAGE,
            "V",
            "The voltage at which the run ended: 2.5 to 3.0 V, lfp 2.0 to 2.5 V.",
            _CUTOFF,
        ),
        Figure(
            "capacity_at",
            "room, C",
            _D.TEMPERATURE,
            "C",
            "A cold cell gives less: 15 to 30 C counts.",
            shared=TEMPERATURE,
            may_be_unknown=True,
        ),
    ),
    Need.RESISTANCE: (
        Figure(
            "resistance",
            "resistance, mohm",
            _D.RESISTANCE,
            "mohm",
            "It tells how much current the cell can give. Enter: not measured yet.",
            skip="not yet",
        ),
    ),
    Need.REST: (
        Figure(
            "rest",
            "rest voltage, V",
            _D.VOLTAGE,
            "V",
            "Two of them, days apart, tell how fast it loses charge by itself. Enter: not measured yet.",
            skip="not yet",
        ),
        Figure(
            "rested",
            "lay still for, h",
            _D.DURATION,
            "h",
            "Without any current: 90 minutes at least, 24 hours after a full charge. 8d is eight days.",
            _REST,
        ),
        Figure(
            "rest_at",
            "room, C",
            _D.TEMPERATURE,
            "C",
            "Both voltages of a pair need their temperature: the cell moves with it.",
            shared=TEMPERATURE,
            may_be_unknown=True,
        ),
    ),
    Need.TABS: (
        Figure(
            "tabs",
            "voltage at the cell's own tabs, V",
            _D.VOLTAGE,
            "V",
            "The board may only have switched off. Do not wake it with a charger. Enter: not measured yet.",
            skip="not yet",
        ),
    ),
}
