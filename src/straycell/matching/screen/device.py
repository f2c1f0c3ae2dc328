"""What a project's charger and protection ask of any cell, and what to change: the answers beside its page."""

import math
from collections.abc import Mapping

from straycell.acceptance import Outcome
from straycell.cells import Chemistry
from straycell.matching.screen.candidates import Candidate, Why
from straycell.matching.screen.cell_tests import ask_sensing, protection_trip
from straycell.matching.screen.charger import (
    OUTSIDE,
    charge_current_a,
    charge_notes,
    charging_place_c,
    for_one_cell,
    gentler,
    judge_supply,
    judge_temperature,
    judge_voltage,
    supply_notes,
)
from straycell.matching.screen.demand import USABLE, Demand, UseLimits
from straycell.physics.charging import temperature_limit
from straycell.physics.protection import TripRange
from straycell.physics.shipped import shipped
from straycell.projects import Project, finish_faults
from straycell.projects.model import ALL_FORMS
from straycell.quantities import Dimension, amp_hours
from straycell.safe_side import at_least, beside

_D = Dimension


def device_answers(project: Project, limits: UseLimits, series: int | None = None) -> dict[str, object]:
    """`charging` and `protection`, each with `ok` (None: nothing to judge), what was found, and what to change.

    `series` and the cells in parallel are the project's own, 1 where it leaves them open.
    """
    in_line = series or project.pack.series or 1
    demand = Demand(project, in_line, project.pack.parallel or 1)
    return {"charging": _charging(demand, limits), "protection": _protection(demand, limits)}


def _charging(demand: Demand, limits: UseLimits) -> Mapping[str, object]:
    project = demand.project
    if project.charge is None:
        return {"ok": None, "found": [OUTSIDE], "advice": []}
    current_a = charge_current_a(project.charge)
    each_a = current_a / demand.parallel
    least = {outcome.word: _least_ah(project, limits, outcome, each_a) for outcome in reversed(USABLE)}
    by_chemistry = {c: _judged(demand, limits, c) for c in project.pack.chemistries if c in limits.full_v}
    fitting = [c for c, whys in by_chemistry.items() if all(why.passed for why in whys)]
    # With a charger that suits some chemistries, the others are named and nothing is asked to be changed for them.
    failed = [] if fitting else [why for whys in by_chemistry.values() for why in whys if not why.passed]
    sizes = ", ".join(
        f"{word} from {at_least(ah, _D.CAPACITY)}" for word, ah in least.items() if math.isfinite(ah)
    )
    each = f", {at_least(each_a, _D.CURRENT)} for each of {demand.parallel} in parallel"
    shared = each if demand.parallel > 1 else ""
    found = [
        f"it gives up to {at_least(current_a, _D.CURRENT)}{shared}: gentle enough for {sizes or 'no cell'}"
    ]
    found += [w.text for c, whys in by_chemistry.items() if c in fitting or not fitting for w in whys]
    found += [
        f"not for {c}: {w.text}"
        for c, whys in by_chemistry.items()
        if fitting and c not in fitting
        for w in whys
        if not w.passed
    ]
    too_much, softer = _by_form(demand, limits, min(least.values()))
    found += too_much
    notes = [*charge_notes(project, limits), *supply_notes(project)]
    return {
        "ok": bool(fitting) and not too_much,
        "current_a": current_a,
        "least_capacity_ah": {word: ah if math.isfinite(ah) else None for word, ah in least.items()},
        "chemistries": [str(c) for c in fitting],
        "found": list(dict.fromkeys(found)),
        "advice": list(dict.fromkeys([*softer, *(w.remedy for w in failed if w.remedy), *notes])),
    }


def _least_ah(project: Project, limits: UseLimits, outcome: Outcome, each_a: float) -> float:
    """Least measured capacity in Ah that bears this charge current where it is charged."""
    at_c, rate = charging_place_c(project, limits), limits.c_rate_in[outcome]
    if at_c is not None:
        rate = min(rate, temperature_limit(at_c))
    return each_a / rate if rate > 0 else math.inf


def _by_form(demand: Demand, limits: UseLimits, least_ah: float) -> tuple[list[str], list[str]]:
    """(that no cell of the sizes the project takes bears its charger, the setting for what each size usually holds)."""
    charge, pack = demand.project.charge, demand.project.pack
    sizes = {form: limits.usual_ah[form] for form in pack.forms if form in limits.usual_ah}
    if charge is None or pack.forms == ALL_FORMS or not sizes:
        return [], []
    softer = []
    for form, usual_ah in sorted(sizes.items(), key=lambda item: item[1]):
        if usual_ah < least_ah:
            allowed_a = charge_current_a(charge) * usual_ah / least_ah
            softer.append(f"for a {form} of {amp_hours(usual_ah)}: {gentler(charge, allowed_a)}")
    most_ah = max((limits.most_ah.get(form, math.inf) for form in pack.forms), default=math.inf)
    if most_ah >= least_ah:
        return [], softer
    names = ", ".join(pack.forms)
    return [
        f"no cell it takes ({names}) holds as much as {at_least(least_ah, _D.CAPACITY)}: charged too hard"
    ], softer


def _judged(demand: Demand, limits: UseLimits, chemistry: Chemistry) -> list[Why]:
    """The tests of the charger that no capacity turns, for a cell of this chemistry."""
    cell = Candidate.of_kind(chemistry, demand.project.pack.forms[0])
    lone = for_one_cell(demand, cell, limits) if demand.series > 1 else None
    voltage = judge_voltage(demand, cell, limits) if lone is None else lone
    return [voltage, judge_supply(demand, cell, limits), judge_temperature(demand.project, cell, limits)]


def trip_words(trip: TripRange, peak_a: float) -> str:
    """Between which currents a board trips, beside the device's peak."""
    peak, low = beside(peak_a, trip.low_a, _D.CURRENT)
    return (
        f"it trips between {low} (warm) and {at_least(trip.high_a, _D.CURRENT)}; the device's peak is {peak}"
    )


def _protection(demand: Demand, limits: UseLimits) -> Mapping[str, object]:
    project = demand.project
    faults = finish_faults(project, series=demand.series)
    trip = protection_trip(project.protection)
    chemistry = next(c for c in project.pack.chemistries if c in limits.full_v)
    peak_a = demand.peak_a(chemistry, limits) * demand.parallel
    found = ["protection is fitted" if project.protection.fitted else "no protection is fitted"]
    advice = list(faults)
    if trip is None:
        found.append("its trip current is missing")
        if project.protection.fitted:
            advice.append(
                "look up its trip current and write it as trip_current, or the resistance of one of its two "
                "transistors as transistor_resistance: a peak above it stops the device"
            )
    else:
        found.append(trip_words(trip, peak_a))
        fuse_above_c = float(shipped("charging")["protection"]["fuse_above_c"])
        found.append(
            f"with cells of less than {at_least(trip.high_a / fuse_above_c / demand.parallel, _D.CAPACITY)} that is more than "
            f"{fuse_above_c:g}C: those need a fuse, and any whose maker allows less"
        )
        if question := ask_sensing(project.protection):
            advice.append(question)
        if peak_a >= trip.low_a:
            faults.append("the peak may trip it")
            advice.append("fit a protection with a higher trip current, or lower the peak")
    return {
        "ok": not faults,
        "peak_a": peak_a,
        "trip_low_a": trip.low_a if trip else None,
        "trip_high_a": trip.high_a if trip else None,
        "found": found,
        "advice": advice,
    }
