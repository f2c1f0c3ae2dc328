"""The figures a cell stands with today: what labels print and matching counts on."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime

from straycell.acceptance.capacity import current_run
from straycell.acceptance.case import Case
from straycell.acceptance.evidence import Evidence
from straycell.acceptance.resistance import current_resistances
from straycell.acceptance.retention import Worth
from straycell.acceptance.rules import RuleSet
from straycell.quantities import Measured
from straycell.readings import Method


@dataclass(frozen=True, slots=True)
class Figures:
    """Fresh values with standard uncertainty, or None. Capacity in Ah, resistance in ohm, voltage in V."""

    capacity: Measured | None = None
    capacity_at: datetime | None = None
    at_least: bool = False
    resistance: Measured | None = None
    resistance_method: Method | None = None
    resistance_at: datetime | None = None
    rest_voltage: Measured | None = None
    rest_voltage_at: datetime | None = None


def figures(evidence: Evidence, rules: RuleSet, now: datetime) -> Figures:
    """The readings that count now: the grading capacity, the d.c. (else a.c., else other) resistance, the latest rest."""
    case = Case(evidence, evidence.facts, rules, now)
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
    )


def use_limits(rules: RuleSet) -> Mapping[str, float]:
    """The currents a use may ask for, by name: `rate_out/light` and so on, in multiples of 1C."""
    limits = {f"rate_out/{o}": rules.figure("rate-out", o) for o in ("light", "solo", "pack")}
    limits |= {f"rate_in/{o}": rules.figure("rate-in", o) for o in ("light", "solo", "pack")}
    limits |= {
        "peak_factor": rules.figure("peak-factor"),
        "resistance_spread": rules.figure("resistance-spread"),
        "test_charge": rules.figure("test-charge", "normal"),
        "test_charge_low": rules.figure("test-charge", "low"),
        "charge_temperature_low_c": rules.figure("charge-temperature-low"),
        "charge_temperature_high_c": rules.figure("charge-temperature"),
        "over_full_v": rules.figure("voltage-over-full"),
    }
    return limits
