"""Energy and mass of one cell for box limits and hand-over lists; estimated where unknown, and marked so.

The figures are in energy.toml, each with its source.
"""

import math
from collections.abc import Iterable
from dataclasses import dataclass
from functools import lru_cache

from straycell.cells import CellFacts, Chemistry, Form, members
from straycell.markings import read_marking
from straycell.quantities import plain
from straycell.shipped import shipped_table


@dataclass(frozen=True, slots=True)
class Amount:
    """A figure in the unit its user names, whether it is only estimated, and what it rests on."""

    value: float
    estimated: bool
    basis: str


@dataclass(frozen=True, slots=True)
class Held:
    """A cell's facts and its latest measured capacity in Ah, as far as its energy goes."""

    facts: CellFacts
    capacity_ah: float | None = None


@lru_cache(maxsize=1)
def _figures() -> dict[str, dict[str, float]]:
    return {
        name: {key: float(value) for key, value in entry.items() if key != "source"}
        for name, entry in shipped_table("safety/energy.toml").items()
    }


def _figure(name: str, chemistry: Chemistry) -> float:
    table = _figures()[name]
    # Of an unknown kind the highest counts: too much energy in a box is the safe mistake.
    return max(table.get(str(kind), table.get("any", 0.0)) for kind in members(chemistry))


def nominal_v(chemistry: Chemistry) -> float:
    """Nominal voltage in V."""
    return _figure("nominal_v", chemistry)


def volume_cm3(facts: CellFacts) -> float | None:
    """Volume by the trade size, else as noted or marked; None where no size is known."""
    # Trade sizes name diameter in mm and height in tenths of mm: 18650 is 18 x 65.0 mm.
    if facts.form.value.isdigit():
        across_cm, height_cm = int(facts.form.value[:2]) / 10, int(facts.form.value[2:]) / 100
        return math.pi / 4 * across_cm**2 * height_cm
    if facts.volume_cm3 or not facts.marking or facts.form is Form.OTHER:
        return facts.volume_cm3

    return read_marking(facts.marking).volume_cm3


def energy_wh(held: Held) -> Amount:
    """Energy at full charge in Wh: capacity x nominal voltage, the larger of rated and measured; else an estimate."""
    facts = held.facts
    # Too much energy on a list or in a box is the safe mistake, so the larger figure counts.
    rated_ah = None if facts.rewrapped else facts.rated_capacity_ah
    known = [ah for ah in (rated_ah, held.capacity_ah) if ah]
    volts = nominal_v(facts.chemistry)
    if known:
        basis = "rated" if max(known) == rated_ah else "measured"
        return Amount(max(known) * volts, False, f"{basis} {plain(max(known), 3)} Ah x {volts:g} V")
    volume = volume_cm3(facts)
    if volume is not None:
        return Amount(volume * _figure("wh_per_cm3", facts.chemistry), True, "estimated from its size")
    if facts.mass_g is not None:
        return Amount(facts.mass_g * _figure("wh_per_g", facts.chemistry), True, "estimated from its mass")
    # The largest cell that special provision 188 (a) knows: 20 Wh.
    return Amount(_figures()["unknown_wh"]["any"], True, "nothing known of its size: counted as the largest")


def mass_g(held: Held) -> Amount:
    """Mass in g: as weighed, else estimated from size or energy."""
    facts = held.facts
    if facts.mass_g is not None:
        return Amount(facts.mass_g, False, "weighed")
    volume = volume_cm3(facts)
    if volume is not None:
        return Amount(volume * _figure("g_per_cm3", facts.chemistry), True, "estimated from its size")
    wh = energy_wh(held)
    return Amount(wh.value * _figure("g_per_wh", facts.chemistry), True, "estimated from its energy")


def total(amounts: Iterable[Amount]) -> Amount:
    """The sum; estimated as soon as one of them is."""
    listed = list(amounts)
    # A sum is as sure as its worst part, and the paper says so with a mark.
    return Amount(sum(a.value for a in listed), any(a.estimated for a in listed), "sum")
