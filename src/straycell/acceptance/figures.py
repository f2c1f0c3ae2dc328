"""The figures a cell has today: what labels print and matching counts on."""

from dataclasses import dataclass
from datetime import datetime

from straycell.acceptance.case import Case
from straycell.acceptance.checks.capacity import current_run
from straycell.acceptance.checks.resistance import current_resistances, usable
from straycell.acceptance.checks.retention import Worth
from straycell.acceptance.checks.warming import proven_charge_a
from straycell.acceptance.evidence import Evidence
from straycell.acceptance.rules import RuleSet
from straycell.quantities import Measured
from straycell.readings import Method, Reading


@dataclass(frozen=True, slots=True)
class Figures:
    """Fresh values with standard uncertainty, or None. Capacity in Ah, resistance in ohm, voltage in V.

    `capacity_reading` and `resistance_reading` hold the conditions they were taken under. `pulses` are all
    d.c. pulses at a known temperature that count, in ohm. `most_charge_a` caps the
    charge current in A of a cell that once warmed; None where none did.
    """

    capacity: Measured | None = None
    capacity_at: datetime | None = None
    at_least: bool = False
    resistance: Measured | None = None
    resistance_method: Method | None = None
    resistance_at: datetime | None = None
    rest_voltage: Measured | None = None
    rest_voltage_at: datetime | None = None
    capacity_reading: Reading | None = None
    resistance_reading: Reading | None = None
    pulses: tuple[tuple[Reading, Measured], ...] = ()
    most_charge_a: float | None = None


def figures(evidence: Evidence, rules: RuleSet, now: datetime) -> Figures:
    """The readings that count now: the grading capacity, the d.c. (else a.c., else other) resistance, the latest rest."""
    case = Case(evidence, evidence.facts, rules, now)
    # The same readings as the rules count: a label must not print a better figure than the verdict used.
    run = current_run(case)
    ohms = next(iter(current_resistances(case)), None)
    rest = case.rest_voltages[-1] if case.rest_voltages else None
    return Figures(
        capacity=run.value if run else None,
        capacity_at=run.reading.at if run else None,
        at_least=run is not None and run.worth is Worth.AT_LEAST,
        resistance=case.measured(ohms) if ohms else None,
        resistance_method=ohms.method if ohms else None,
        resistance_at=ohms.at if ohms else None,
        rest_voltage=case.measured(rest) if rest else None,
        rest_voltage_at=rest.at if rest else None,
        capacity_reading=run.reading if run else None,
        resistance_reading=ohms,
        pulses=tuple((reading, case.measured(reading)) for reading in _pulses(case)),
        most_charge_a=proven_charge_a(case),
    )


def _pulses(case: Case) -> tuple[Reading, ...]:
    """The fresh d.c. pulses at a known temperature: of each length and temperature, and of the latest's place, the last."""
    # A board's transistors stand in one pulse and not in the other: only pulses of one place compare.
    found = [
        r
        for r in usable(case)
        if r.method is Method.DC_PULSE and case.now < case.age_limit("age-resistance", r.at)
    ]
    last = {(r.pulse_s, r.temperature_c): r for r in found if r.where is found[-1].where}
    return tuple(r for (_, at_c), r in last.items() if at_c is not None)
