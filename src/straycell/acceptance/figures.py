"""The figures a cell has today: what labels print and matching counts on."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from straycell.acceptance.case import Case
from straycell.acceptance.checks.capacity import current_run
from straycell.acceptance.checks.resistance import current_pulses, current_resistances
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
        pulses=tuple((reading, case.measured(reading)) for reading in current_pulses(case)),
        most_charge_a=proven_charge_a(case),
    )
