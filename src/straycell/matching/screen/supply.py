"""What feeds the charger in the device: enough to fill the cell, less than what destroys the charger, or a weak one."""

from __future__ import annotations

from straycell.matching.screen.candidates import Candidate, Why
from straycell.matching.screen.charger import OUTSIDE, charge_current_a, gentler, set_voltage_v
from straycell.matching.screen.demand import Demand
from straycell.matching.screen.limits import UseLimits
from straycell.matching.words import amps, volts
from straycell.physics.charging import supply_limit, supply_too_high
from straycell.projects import ChargeSpec, Project

TEST = "charger-supply"


def judge_supply(demand: Demand, c: Candidate, limits: UseLimits) -> Why:
    """A supply at or above what the charger bears may hand itself on to the cell; one below the end fills none.

    Where its own sheet is not told, a charger for one cell counts as a linear one; for strings nothing is assumed.
    """
    charge = demand.project.charge
    if charge is None or charge.supply_v is None:
        text = OUTSIDE if charge is None else "what feeds the charger is not said"
        return Why(c.code, TEST, True, text)
    fed_v, in_line = charge.supply_v, demand.series
    if in_line == 1 or charge.supply_rated_v is not None:
        most_v, _ = supply_limit(charge.supply_rated_v)
        if text := supply_too_high(fed_v, charge.supply_rated_v):
            return Why(
                c.code, TEST, False, text, fed_v, most_v, "V", fed_v - most_v, _other_supply(charge, in_line)
            )
    each_v = set_voltage_v(charge, c.facts.chemistry, limits, in_line)
    if each_v is not None and fed_v <= each_v * in_line:
        end_v = each_v * in_line
        text = f"a supply of {volts(fed_v)} cannot fill the cells to {volts(end_v)}"
        remedy = "use a supply of a higher voltage"
        return Why(c.code, TEST, False, text, fed_v, end_v, "V", end_v - fed_v, remedy)
    return Why(c.code, TEST, True, f"fed with {volts(fed_v)}", fed_v, unit="V")


def _other_supply(charge: ChargeSpec, in_line: int) -> str:
    remedy = "feed it with 5V" if in_line == 1 else "feed it with less"
    if charge.supply_rated_v is None and charge.programming_resistor_ohm is None:
        remedy += ', or write what its own sheet lets feed it: supply_rated = "24V" under [charge]'
    return remedy


def supply_notes(project: Project) -> list[str]:
    """What must be said of a supply that gives less than the charger asks for."""
    charge = project.charge
    if charge is None or charge.supply_limit_a is None:
        return []
    asked_a, gives_a = charge_current_a(charge), charge.supply_limit_a
    if gives_a >= asked_a:
        return []
    return [
        f"the supply gives {amps(gives_a)}, the charger asks for up to {amps(asked_a)}: one that collapses under it "
        f"starts again and again; {gentler(charge, gives_a)}"
    ]
