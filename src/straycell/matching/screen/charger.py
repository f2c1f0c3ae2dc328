"""Whether the charger in the device is gentle enough for a cell: its voltage, current and temperature.

In a pack the charger's voltage is that of the string, and its current is shared by the cells in parallel.
"""

from __future__ import annotations

from straycell.cells import Chemistry
from straycell.errors import BadData
from straycell.matching.screen.candidates import Candidate, Why
from straycell.matching.screen.demand import Demand
from straycell.matching.screen.limits import UseLimits
from straycell.matching.words import amps, ohms, volts
from straycell.physics.charging import check_float, programmed_current, safe_resistor, temperature_limit
from straycell.projects import ChargeSpec, Project
from straycell.quantities import Dimension, Measured, show

ROUNDING_V = 1e-9
ROOM_C = 25.0
OUTSIDE = "charged outside the device"


def set_voltage_v(
    charge: ChargeSpec, chemistry: Chemistry, limits: UseLimits, series: int = 1
) -> float | None:
    """What the charger regulates to in V a cell. 4.20 V where nothing is said, never so for lfp or a string (None)."""
    if charge.voltage_v is not None:
        return charge.voltage_v / series
    return None if chemistry is Chemistry.LFP or series > 1 else limits.full_v[chemistry]


def measured_float(charge: ChargeSpec, limits: UseLimits, series: int = 1) -> Measured | None:
    """The float voltage measured on the board, a cell, with the cautious error of a voltage without a meter."""
    if charge.measured_float_v is None:
        return None
    return Measured(charge.measured_float_v / series, limits.float_error.u(charge.measured_float_v) / series)


def filled_to_v(
    charge: ChargeSpec | None, chemistry: Chemistry, limits: UseLimits, *, at_least: bool, series: int = 1
) -> float | None:
    """Where the charger ends in V a cell, or ends `at_least`; None when that is full (or it is charged outside)."""
    set_v = set_voltage_v(charge, chemistry, limits, series) if charge is not None else None
    if charge is None or set_v is None:
        return None
    measured = measured_float(charge, limits, series)
    if measured is not None:
        end_v = measured.low if at_least else measured.value
    else:
        # The tolerance lies on both sides: as far below as the worst case is above.
        worst_v = check_float(chemistry, set_v, tolerance=charge.tolerance).worst_v
        end_v = min(set_v, 2.0 * set_v - worst_v) if at_least else set_v
    return end_v if end_v < limits.full_v[chemistry] else None


def highest_float_v(candidate: Candidate, limits: UseLimits) -> float:
    """The highest float voltage in V this cell bears; a marking above the chemistry's never raises it."""
    full_v = limits.full_v[candidate.facts.chemistry]
    return min(full_v, candidate.facts.full_voltage_v or full_v) + limits.over_full_v


def charge_current_a(charge: ChargeSpec) -> float:
    """The most current in A that the charger may give."""
    if charge.current_a is not None:
        return charge.current_a
    assert charge.programming_resistor_ohm is not None
    return programmed_current(charge.programming_resistor_ohm).high_a


def judge_voltage(demand: Demand, c: Candidate, limits: UseLimits) -> Why:
    """The worst float voltage must stay within what the cell bears; a 4.2 V charger never meets lfp."""
    charge, chemistry, in_line = demand.project.charge, c.facts.chemistry, demand.series
    if charge is None:
        return Why(c.code, "charger-voltage", True, OUTSIDE)
    set_v, limit_v = set_voltage_v(charge, chemistry, limits, in_line), highest_float_v(c, limits)
    if set_v is None:
        text = f"the charger's voltage is not given, and {chemistry} never goes on a 4.2 V charger"
        remedy = f"fit a charger for {chemistry} and give its voltage under [charge]"
        return Why(c.code, "charger-voltage", False, text, None, limit_v, "V", remedy=remedy)
    answer = check_float(
        chemistry, set_v, tolerance=charge.tolerance, measured=measured_float(charge, limits, in_line)
    )
    limit_v = min(limit_v, answer.limit_v)
    worst_v = max(answer.worst_v, set_v) if set_v > limit_v else answer.worst_v
    fits = worst_v <= limit_v + ROUNDING_V
    each = " a cell" if in_line > 1 else ""
    how = _how(charge, set_v * in_line)
    text = f"the charger may reach {volts(worst_v)}{each} ({how}), this cell bears {volts(limit_v)}"
    # No measurement makes a charger for another chemistry fit.
    remedy = "measure its float voltage on this very board (measured_float), or fit one of 1 % or better"
    if set_v > limit_v or charge.measured_float_v is not None:
        remedy = "fit a charger whose worst case stays within that"
    short = None if fits else worst_v - limit_v
    return Why(c.code, "charger-voltage", fits, text, worst_v, limit_v, "V", short, "" if fits else remedy)


def for_one_cell(demand: Demand, c: Candidate, limits: UseLimits) -> Why | None:
    """A single-cell charger on a string, told by its programming resistor or its voltage; None when it is none."""
    charge, chemistry, in_line = demand.project.charge, c.facts.chemistry, demand.series
    if charge is None:
        return None
    wanted_v = limits.full_v[chemistry] * in_line
    remedy = (
        f"fit a charger for {in_line} {_kind(chemistry)}cells in series and write its voltage, like "
        f'voltage = "{wanted_v:.2f}V", with its current instead of a programming resistor'
    )
    stop_v = demand.stop_v(chemistry, limits)
    set_v = set_voltage_v(charge, chemistry, limits, in_line)
    if charge.programming_resistor_ohm is not None:
        why = "a charger with a programming resistor is made for one cell"
    elif set_v is None:
        why = "the charger's voltage is not said"
    elif set_v <= stop_v:
        why = f"a charger of {volts(set_v * in_line)} gives {volts(set_v)} a cell, at which the device has stopped"
    else:
        return None
    text = f"{why}: never a single-cell charger on {in_line} cells in series"
    short = None if set_v is None else max(0.0, stop_v - set_v)
    return Why(c.code, "charger-voltage", False, text, set_v, stop_v, "V", short, remedy)


def _kind(chemistry: Chemistry) -> str:
    """The one chemistry that wants another charger than the rest."""
    return "lfp " if chemistry is Chemistry.LFP else ""


def _how(charge: ChargeSpec, set_v: float) -> str:
    if charge.measured_float_v is not None:
        return f"set to {volts(set_v)}, measured {volts(charge.measured_float_v)} and the meter's error"
    if charge.tolerance is None:
        return f"set to {volts(set_v)}, tolerance not given"
    return f"set to {volts(set_v)}, tolerance {show(charge.tolerance, Dimension.FRACTION)}"


def allowed_charge_a(project: Project, c: Candidate, limits: UseLimits) -> float:
    """Largest charge current in A for this cell in this project: less where it is known to be cool."""
    return cell_charge_a(c, limits, charging_place_c(project, limits))


def cell_charge_a(c: Candidate, limits: UseLimits, at_c: float | None) -> float:
    """Largest charge current in A for this cell at a temperature; None counts as a room."""
    allowed_a = c.allowed_in_a(limits)
    if at_c is None or c.capacity is None or temperature_limit(at_c) >= temperature_limit(ROOM_C):
        return allowed_a
    return min(allowed_a, temperature_limit(at_c) * max(0.0, c.capacity.low))


def charging_place_c(project: Project, limits: UseLimits) -> float | None:
    """Where the cell is charged in degC; None when it is not said and the device works where none may be."""
    if project.charge is not None and project.charge.temperature_c is not None:
        return project.charge.temperature_c
    at_c = project.need.temperature_c
    return at_c if limits.charge_low_c <= at_c <= limits.charge_high_c else None


def current_fits(demand: Demand, c: Candidate, limits: UseLimits) -> bool:
    """Whether the charge current stays within what the cell may have."""
    charge = demand.project.charge
    if charge is None:
        return True
    return charge_current_a(charge) / demand.parallel <= allowed_charge_a(demand.project, c, limits)


def judge_current(demand: Demand, c: Candidate, limits: UseLimits) -> Why:
    """The charge current must stay within what the cell's outcome and the place allow."""
    charge = demand.project.charge
    if charge is None:
        return Why(c.code, "charger-current", True, OUTSIDE)
    current_a, allowed_a = charge_current_a(charge), allowed_charge_a(demand.project, c, limits)
    share_a = current_a / demand.parallel
    fits = share_a <= allowed_a
    shared = f", {amps(share_a)} for each of {demand.parallel} in parallel" if demand.parallel > 1 else ""
    text = f"the charger gives up to {amps(current_a)}{shared}, this {c.outcome.word} cell takes {amps(allowed_a)}"
    short = None if fits else share_a - allowed_a
    remedy = "" if fits else gentler(charge, allowed_a * demand.parallel)
    return Why(c.code, "charger-current", fits, text, share_a, allowed_a, "A", short, remedy)


def gentler(charge: ChargeSpec, allowed_a: float) -> str:
    """What to change so that the charger gives no more than this, in A."""
    if charge.programming_resistor_ohm is None:
        return f"set the charger to {amps(allowed_a)} or less"
    try:
        return f"use a programming resistor of {ohms(safe_resistor(allowed_a))} or more"
    except BadData:
        return "charge it outside the device: no programming resistor makes this charger gentle enough"


def judge_temperature(project: Project, c: Candidate, limits: UseLimits) -> Why:
    """Charged where it works, or where the project says: never in the frost, never in the heat."""
    charge = project.charge
    if charge is None:
        return Why(c.code, "charge-temperature", True, OUTSIDE)
    said = charge.temperature_c is not None
    at_c = charge.temperature_c if charge.temperature_c is not None else project.need.temperature_c
    # Where nothing is said the device may be carried to the charger: only frost and heat rule it out.
    fits = temperature_limit(at_c) > 0 and at_c <= limits.charge_high_c
    fits = fits and (at_c >= limits.charge_low_c or not said)
    limit_c = limits.charge_low_c if at_c < limits.charge_low_c else limits.charge_high_c
    text = f"charged at {at_c:g} C" if said else f"works at {at_c:g} C, where it is charged is not said"
    window = f"{limits.charge_low_c:g} to {limits.charge_high_c:g} C"
    remedy = f'charge it at {window} and say so: temperature = "20C" under [charge]'
    text += "" if fits else f": cells are charged at {window}"
    short = None if fits else abs(at_c - limit_c)
    return Why(c.code, "charge-temperature", fits, text, at_c, limit_c, "C", short, "" if fits else remedy)


def charge_notes(project: Project, limits: UseLimits) -> list[str]:
    """What must be said of the charger of a served project."""
    if project.charge is None or charging_place_c(project, limits) is not None:
        return []
    at_c = project.need.temperature_c
    window = f"{limits.charge_low_c:g} to {limits.charge_high_c:g} C"
    return [f"it works at {at_c:g} C, where no cell is charged: carry it to a place of {window} to charge it"]
