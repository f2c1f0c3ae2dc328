"""Whether the charger in the device is gentle enough for a cell: its voltage, current and temperature."""

from __future__ import annotations

from straycell.cells import Chemistry
from straycell.matching.candidates import Candidate, Why
from straycell.matching.limits import UseLimits
from straycell.matching.words import amps, volts
from straycell.projects import ChargeSpec, Project
from straycell.quantities import COVERAGE_FACTOR, Dimension, show

ROUNDING_V = 1e-9
OUTSIDE = "charged outside the device"


def set_voltage_v(charge: ChargeSpec, chemistry: Chemistry, limits: UseLimits) -> float | None:
    """What the charger regulates to in V; None when it is not said and cannot be assumed (lfp)."""
    return charge.voltage_v if charge.voltage_v is not None else limits.charger_v.get(chemistry)


def worst_float_v(charge: ChargeSpec, set_v: float, limits: UseLimits) -> tuple[float, str]:
    """The highest float voltage in V to reckon with, and how it came about."""
    measured_v = charge.measured_float_v
    if measured_v is not None:
        expanded_v = COVERAGE_FACTOR * limits.float_error.u(measured_v)
        return measured_v + expanded_v, f"measured {volts(measured_v)} + {volts(expanded_v)} of the meter"
    tolerance = charge.tolerance if charge.tolerance is not None else limits.charger_tolerance
    assumed = "" if charge.tolerance is not None else " assumed"
    return set_v * (1.0 + tolerance), f"{volts(set_v)} + {show(tolerance, Dimension.FRACTION)}{assumed}"


def filled_to_v(
    charge: ChargeSpec | None, chemistry: Chemistry, limits: UseLimits, *, at_least: bool
) -> float | None:
    """Where the charger ends in V, or ends `at_least`; None when that is full (or it is charged outside)."""
    set_v = set_voltage_v(charge, chemistry, limits) if charge is not None else None
    if charge is None or set_v is None:
        return None
    end_v = charge.measured_float_v if charge.measured_float_v is not None else set_v
    if at_least and charge.measured_float_v is not None:
        end_v -= COVERAGE_FACTOR * limits.float_error.u(end_v)
    elif at_least:
        end_v *= 1.0 - (charge.tolerance if charge.tolerance is not None else limits.charger_tolerance)
    return end_v if end_v < limits.full_v[chemistry] else None


def highest_float_v(candidate: Candidate, limits: UseLimits) -> float:
    """The highest float voltage in V this cell bears; a marking above the chemistry's never raises it."""
    full_v = limits.full_v[candidate.facts.chemistry]
    return min(full_v, candidate.facts.full_voltage_v or full_v) + limits.over_full_v


def charge_current_a(charge: ChargeSpec, limits: UseLimits) -> float:
    """The most current in A that the charger may give."""
    if charge.current_a is not None:
        return charge.current_a
    assert charge.programming_resistor_ohm is not None
    return limits.programming_v * (1.0 + limits.programming_excess) / charge.programming_resistor_ohm


def judge_voltage(project: Project, c: Candidate, limits: UseLimits) -> Why:
    """The worst float voltage must stay within what the cell bears; a 4.2 V charger never meets lfp."""
    charge, chemistry = project.charge, c.facts.chemistry
    if charge is None:
        return Why(c.code, "charger-voltage", True, OUTSIDE)
    set_v, limit_v = set_voltage_v(charge, chemistry, limits), highest_float_v(c, limits)
    if set_v is None:
        text = f"the charger's voltage is not given, and {chemistry} never goes on a 4.2 V charger"
        remedy = f"fit a charger for {chemistry} and give its voltage under [charge]"
        return Why(c.code, "charger-voltage", False, text, None, limit_v, "V", remedy=remedy)
    worst_v, how = worst_float_v(charge, set_v, limits)
    if set_v > limit_v:  # no measurement makes a charger for another chemistry fit
        worst_v, how = max(worst_v, set_v), f"it regulates to {volts(set_v)}"
    fits = worst_v <= limit_v + ROUNDING_V
    text = f"the charger may reach {volts(worst_v)} ({how}), {chemistry} bears {volts(limit_v)}"
    remedy = (
        f"fit a charger for {chemistry}"
        if set_v > limit_v
        else "measure the float voltage on this very board (measured_float), or fit a closer charger"
    )
    short = None if fits else worst_v - limit_v
    return Why(c.code, "charger-voltage", fits, text, worst_v, limit_v, "V", short, "" if fits else remedy)


def judge_current(project: Project, c: Candidate, limits: UseLimits) -> Why:
    """The charge current must stay within what the cell's outcome allows."""
    charge = project.charge
    if charge is None:
        return Why(c.code, "charger-current", True, OUTSIDE)
    current_a, allowed_a = charge_current_a(charge, limits), c.allowed_in_a(limits)
    fits = current_a <= allowed_a
    remedy = ""
    if not fits and charge.programming_resistor_ohm is not None and allowed_a > 0:
        least_ohm = limits.programming_v * (1.0 + limits.programming_excess) / allowed_a
        remedy = f"use a programming resistor of at least {show(least_ohm, Dimension.RESISTANCE)}"
    elif not fits:
        remedy = f"set the charger to {amps(allowed_a)} or less"
    text = f"the charger gives up to {amps(current_a)}, this {c.outcome.word} cell takes {amps(allowed_a)}"
    short = None if fits else current_a - allowed_a
    return Why(c.code, "charger-current", fits, text, current_a, allowed_a, "A", short, remedy)


def judge_temperature(project: Project, c: Candidate, limits: UseLimits) -> Why:
    """Charged where it works, or where the project says: never in the frost, never in the heat."""
    charge = project.charge
    if charge is None:
        return Why(c.code, "charge-temperature", True, OUTSIDE)
    said = charge.temperature_c is not None
    at_c = charge.temperature_c if charge.temperature_c is not None else project.need.temperature_c
    # Where nothing is said the device may be carried to the charger: only frost and heat rule it out.
    low_c = limits.charge_low_c if said else limits.freezing_c
    fits = low_c <= at_c <= limits.charge_high_c
    limit_c = low_c if at_c < low_c else limits.charge_high_c
    text = f"charged at {at_c:g} C" if said else f"works at {at_c:g} C, where it is charged is not said"
    window = f"{limits.charge_low_c:g} to {limits.charge_high_c:g} C"
    remedy = f'charge it at {window} and say so: temperature = "20C" under [charge]'
    text += "" if fits else f": cells are charged at {window}"
    short = None if fits else abs(at_c - limit_c)
    return Why(c.code, "charge-temperature", fits, text, at_c, limit_c, "C", short, "" if fits else remedy)


def charge_notes(project: Project, limits: UseLimits) -> list[str]:
    """What must be said of the charger of a served project."""
    charge = project.charge
    if charge is None or charge.temperature_c is not None:
        return []
    at_c = project.need.temperature_c
    if limits.charge_low_c <= at_c <= limits.charge_high_c:
        return []
    window = f"{limits.charge_low_c:g} to {limits.charge_high_c:g} C"
    return [f"it works at {at_c:g} C, where no cell is charged: carry it to a place of {window} to charge it"]
