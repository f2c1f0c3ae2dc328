"""Whether the charger in the device is gentle enough for a cell: its voltage, current and temperature.

In a pack the charger's voltage is that of the string, and its current is shared by the cells in parallel.
"""

from dataclasses import replace

from straycell.acceptance.charger import judge
from straycell.acceptance.charger.judge import Charger, Check, Naming
from straycell.acceptance.reasons import DUST
from straycell.cells import Chemistry
from straycell.matching.screen.candidates import Candidate, Why
from straycell.matching.screen.demand import Demand, UseLimits
from straycell.physics.charging import check_float, temperature_limit
from straycell.projects import ChargeSpec, Project
from straycell.quantities import Measured, volts

ROOM_C = 25.0
OUTSIDE = "charged outside the device"
KEYS = Naming(
    "measured_float", "tolerance", 'voltage = "8.4V" under [charge]', 'supply_rated = "24V" under [charge]'
)


def charger_of(charge: ChargeSpec, limits: UseLimits) -> Charger:
    """The charger of a project as the one check takes it; a float without a meter has the cautious error."""
    measured_v = charge.measured_float_v
    return Charger(
        current_a=charge.current_a,
        programming_resistor_ohm=charge.programming_resistor_ohm,
        voltage_v=charge.voltage_v,
        tolerance=charge.tolerance,
        # No meter is named in a project file, so the cautious default error counts.
        measured_float=None if measured_v is None else Measured(measured_v, limits.float_error.u(measured_v)),
        supply_v=charge.supply_v,
        supply_limit_a=charge.supply_limit_a,
        supply_rated_v=charge.supply_rated_v,
    )


def set_voltage_v(charge: ChargeSpec, chemistry: Chemistry, limits: UseLimits, series: int) -> float | None:
    """What the charger regulates to in V a cell; None where nothing may be assumed."""
    return judge.set_voltage(charger_of(charge, limits), chemistry, limits.full_v[chemistry], series)


def filled_to_v(
    charge: ChargeSpec | None, chemistry: Chemistry, limits: UseLimits, *, at_least: bool, series: int = 1
) -> float | None:
    """Where the charger ends in V a cell, or ends `at_least`; None when that is full (or it is charged outside)."""
    set_v = set_voltage_v(charge, chemistry, limits, series) if charge is not None else None
    if charge is None or set_v is None:
        return None
    measured = charger_of(charge, limits).measured_float
    # At its lowest float a cell starts less full, and a promise of run time counts from there.
    if measured is not None:
        end_v = (measured.low if at_least else measured.value) / series
    else:
        # The tolerance lies on both sides: as far below as the worst case is above.
        worst_v = check_float(chemistry, set_v, tolerance=charge.tolerance).worst_v
        end_v = min(set_v, 2.0 * set_v - worst_v) if at_least else set_v
    return end_v if end_v < limits.full_v[chemistry] else None


def charged_to_v(candidate: Candidate, limits: UseLimits) -> float:
    """What this cell is charged to in V; a marking above the chemistry's never raises it, one below lowers it."""
    # A print may be misread: 4.20 V harms no 4.35 V cell, and the reverse burns.
    full_v = limits.full_v[candidate.facts.chemistry]
    return min(full_v, candidate.facts.full_voltage_v or full_v)


def highest_float_v(candidate: Candidate, limits: UseLimits) -> float:
    """The highest float voltage in V this cell bears."""
    return charged_to_v(candidate, limits) + limits.over_full_v


def charge_current_a(charge: ChargeSpec) -> float:
    """The most current in A that the charger may give."""
    return Charger(charge.current_a, charge.programming_resistor_ohm).worst_a


def judge_voltage(demand: Demand, c: Candidate, limits: UseLimits) -> Why:
    """The worst float voltage must stay within what the cell bears; a 4.2 V charger never meets lfp."""
    charge, chemistry = demand.project.charge, c.facts.chemistry
    if charge is None:
        return Why(c.code, "charger-voltage", True, OUTSIDE)
    check, end = judge.judge_end_voltage(
        charger_of(charge, limits),
        chemistry,
        full_v=limits.full_v[chemistry],
        bears_v=highest_float_v(c, limits),
        series=demand.series,
        naming=KEYS,
    )
    short = end.worst_v - end.limit_v if end.worst_v is not None and not check.ok else None
    return _why(c, "charger-voltage", check, (end.worst_v, end.limit_v, short), "V")


def judge_supply(demand: Demand, c: Candidate, limits: UseLimits) -> Why:
    """A supply that may hand itself on to the cell, or fills none."""
    charge = demand.project.charge
    if charge is None or charge.supply_v is None:
        text = OUTSIDE if charge is None else "what feeds the charger is not given"
        return Why(c.code, "charger-supply", True, text)
    charger, fed_v, series = charger_of(charge, limits), charge.supply_v, demand.series
    # Where no end voltage may be assumed, "too low a supply" cannot be shown either.
    each_v = set_voltage_v(charge, c.facts.chemistry, limits, series)
    end_v = each_v * series if each_v is not None else None
    for check in judge.judge_supply(charger, end_v, series=series, naming=KEYS):
        limit_v = end_v if check.name == "supply" and end_v is not None else judge.most_supply_v(charger)
        return _why(c, "charger-supply", check, (fed_v, limit_v, abs(fed_v - limit_v)), "V")
    return Why(c.code, "charger-supply", True, f"fed with {volts(fed_v)}", fed_v, unit="V")


def _why(
    c: Candidate, test: str, check: Check, figures: tuple[float | None, float, float | None], unit: str
) -> Why:
    """A check of the charger as the reason of a test; what is not shown is not passed. Figures: seen, limit, short."""
    observed, limit, short = figures
    passed = check.ok is True
    return Why(c.code, test, passed, check.text, observed, limit, unit, short, "" if passed else check.remedy)


def for_one_cell(demand: Demand, c: Candidate, limits: UseLimits) -> Why | None:
    """A single-cell charger on a string, given by its programming resistor or its voltage; None when it is none."""
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
    # The common part with a programming resistor regulates to 4.2 V, of one cell (data sheets).
    if charge.programming_resistor_ohm is not None:
        why = "a charger with a programming resistor is made for one cell"
    elif set_v is None:
        why = "the charger's voltage is missing"
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
    # A device that works in the frost may be carried indoors: its own temperature is then no answer.
    at_c = project.need.temperature_c
    return at_c if limits.charge_low_c <= at_c <= limits.charge_high_c else None


def current_fits(demand: Demand, c: Candidate, limits: UseLimits) -> bool:
    """Whether the charge current stays within what the cell may have."""
    charge = demand.project.charge
    if charge is None:
        return True
    most_a = allowed_charge_a(demand.project, c, limits) * (1 + DUST)
    return charge_current_a(charge) / demand.parallel <= most_a


def judge_current(demand: Demand, c: Candidate, limits: UseLimits) -> Why:
    """The charge current must stay within what the cell's outcome and the place allow."""
    charge = demand.project.charge
    if charge is None:
        return Why(c.code, "charger-current", True, OUTSIDE)
    allowed_a = allowed_charge_a(demand.project, c, limits)
    charger, share_a = charger_of(charge, limits), charge_current_a(charge) / demand.parallel
    check = judge.judge_current(charger, c.facts.chemistry, allowed_a, demand.parallel)
    short = None if check.ok else share_a - allowed_a
    why = _why(c, "charger-current", check, (share_a, allowed_a, short), "A")
    # What the cold forbids no maker's figure gives back.
    more = c.more_from_maker("charge") if allowed_a >= c.allowed_in_a(limits) else ""
    return why if why.passed or not more else replace(why, remedy=f"{why.remedy}; {more}")


def gentler(charge: ChargeSpec, allowed_a: float) -> str:
    """What to change so that the charger gives no more than this, in A."""
    return judge.gentler(Charger(charge.current_a, charge.programming_resistor_ohm), allowed_a)


def judge_temperature(project: Project, c: Candidate, limits: UseLimits) -> Why:
    """Charged where it works, or where the project says: never in the frost, never in the heat."""
    charge = project.charge
    if charge is None:
        return Why(c.code, "charge-temperature", True, OUTSIDE)
    said = charge.temperature_c is not None
    at_c = charge.temperature_c if charge.temperature_c is not None else project.need.temperature_c
    # Where nothing is said the device may be carried to the charger: only frost and heat rule it out.
    # Lithium plates below 0 °C (charge window of cell sheets), and above 45 °C they end.
    fits = temperature_limit(at_c) > 0 and at_c <= limits.charge_high_c
    fits = fits and (at_c >= limits.charge_low_c or not said)
    limit_c = limits.charge_low_c if at_c < limits.charge_low_c else limits.charge_high_c
    text = f"charged at {at_c:g} C" if said else f"works at {at_c:g} C, where it is charged is missing"
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


def supply_notes(project: Project) -> list[str]:
    """What must be said of a supply that gives less than the charger asks for."""
    charge = project.charge
    if charge is None or charge.supply_limit_a is None:
        return []
    asked = Charger(charge.current_a, charge.programming_resistor_ohm, supply_limit_a=charge.supply_limit_a)
    text = judge.weak_supply(asked, charge.supply_limit_a)
    return [text] if text else []
