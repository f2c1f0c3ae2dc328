"""The hands at the bench: what a meter and an eye would show of a cell of known truth."""

from __future__ import annotations

import random
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta

from tests.walk.truth import FULL_SOC, Kind, TrueCell

from straycell.cells import Look
from straycell.keys import NEW
from straycell.meters import Accuracy, Meter, Resolution
from straycell.readings import Charge, Method, Quantity, Reading

START = datetime(2026, 1, 3, 8, tzinfo=UTC)
METER = Meter(
    "bench",
    voltage=Accuracy(0.0005, 0.001),
    voltage_resolution=Resolution(((float("inf"), 0.001),)),
    capacity=Accuracy(0.01, 0.002),
    resistance=Accuracy(0.02, 0.001),
    temperature=Accuracy(0.0, 1.0),
)
CHARGER = "post"


def moment(day: float) -> datetime:
    return START + timedelta(days=day)


@dataclass
class Hands:
    """Measures with one meter. `known_bad` is when the records first told of a danger, and by what."""

    seed: int
    known_bad: dict[str, tuple[float, str]] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self.dice = random.Random(self.seed + 1)
        self.gain = self.dice.uniform(-0.0004, 0.0004)

    def reads(self, volts: float) -> float:
        """What the meter shows: its gain, a step of 1 mV."""
        return round(volts * (1 + self.gain) + self.dice.uniform(-0.0004, 0.0004), 3)

    def bad(self, cell: TrueCell, day: float, why: str) -> None:
        self.known_bad.setdefault(cell.code, (day, why))

    def look_of(self, cell: TrueCell, day: float) -> Look:
        if cell.kind is Kind.SWOLLEN_LATER and cell.turned(day):
            self.bad(cell, day, "seen swollen")
            return Look.SWOLLEN
        return Look.CLEAN

    def look(self, cell: TrueCell, day: float) -> Reading:
        return Reading(NEW, cell.code, Quantity.LOOK, moment(day), look=(self.look_of(cell, day),))

    def rest(self, cell: TrueCell, day: float) -> Reading:
        shown = self.reads(cell.volts(day))
        warmth = self.dice.uniform(20.0, 23.0)
        return Reading(
            NEW, cell.code, Quantity.VOLTAGE, moment(day), shown, warmth, METER, rested_s=5 * 86400.0
        )

    def ohms(self, cell: TrueCell, day: float) -> Reading:
        shown = round(cell.ohm * self.dice.uniform(0.99, 1.01), 4)
        return Reading(
            NEW,
            cell.code,
            Quantity.RESISTANCE,
            moment(day),
            shown,
            21.0,
            METER,
            method=Method.DC_PULSE,
            pulse_s=1.0,
        )

    def charge(self, cell: TrueCell, day: float, *, full: bool = True) -> Charge:
        """Full, or brought to storage: by voltage, on a flat curve by counting the charge."""
        until = cell.full_v if full else 3.4 if cell.lfp else 3.85
        stored = 0.4 if cell.lfp else cell.curve.state_of_charge(until - 0.005)
        cell.put(FULL_SOC if full else stored, day)
        end = 0.05 if full else None
        peak = 21.0 + self.dice.uniform(1.0, 4.0)
        return Charge(NEW, cell.code, moment(day), 0.5, until, end, 21.0, peak, CHARGER)

    def run(self, cell: TrueCell, day: float) -> Reading:
        held = cell.soc_at(day) / FULL_SOC
        cell.put(0.02, day)
        shown = round(cell.capacity_ah * held * self.dice.uniform(0.997, 1.003), 3)
        return Reading(
            NEW,
            cell.code,
            Quantity.CAPACITY,
            moment(day),
            shown,
            21.0,
            METER,
            discharge_current_a=0.5,
            cutoff_v=2.5 if cell.lfp else 2.75,
        )

    def first_readings(self, cell: TrueCell, day: float) -> list[Reading]:
        shown = self.reads(cell.found_v)
        look = Look.CLEAN
        if cell.kind is Kind.MIS_DEEP:
            shown = 3.612  # the figure of the cell beside it
        if cell.kind is Kind.MIS_GOOD and self.dice.random() < 0.5:
            shown = 1.204  # the clip hung by one tooth
        if cell.kind is Kind.BAD_LOOK:
            look = self.dice.choice([Look.LEAKING, Look.SWOLLEN, Look.DENTED, Look.RUST, Look.VENTED])
            self.bad(cell, day, f"seen {look}")
        if cell.kind is Kind.DEEP and shown + 0.004 < cell.floor_v:
            self.bad(cell, day, "found deeply discharged")
        if cell.kind is Kind.OVER:
            self.bad(cell, day, "found above 4.25 V")
        if cell.kind is Kind.PRIMARY:
            self.bad(cell, day, "not rechargeable")
        cell.put(cell.curve.state_of_charge(min(cell.found_v, 3.33 if cell.lfp else 4.2)), day)
        seen = Reading(NEW, cell.code, Quantity.LOOK, moment(day), look=(look,))
        return [Reading(NEW, cell.code, Quantity.AS_FOUND_VOLTAGE, moment(day), shown, 21.0, METER), seen]
