"""Cells and projects for the tests of matching, as short as a bench note."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

from straycell.acceptance.reasons import Outcome
from straycell.acceptance.rules import shipped_rules
from straycell.cells import CellFacts, Chemistry, Form, Stage, next_codes
from straycell.matching import Candidate, Match, UseLimits, match_project
from straycell.projects import Project, parse_project
from straycell.quantities import Measured
from straycell.readings import Method

NOW = datetime(2026, 5, 4, 18, 0, tzinfo=UTC)
LIMITS = UseLimits.from_rules(shipped_rules())
CODES = next_codes("K", 0, 400)


def cell(
    number: int,
    capacity_ah: float | None = 2.5,
    outcome: Outcome = Outcome.PACK,
    *,
    u_ah: float = 0.0,
    resistance_ohm: float | None = 0.05,
    u_ohm: float = 0.0,
    method: Method = Method.DC_PULSE,
    stage: Stage = Stage.SHELVED,
    valid_days: float | None = 30.0,
    chemistry: Chemistry = Chemistry.NMC,
    form: Form = Form.F18650,
    maker_charge_a: float | None = None,
    maker_discharge_a: float | None = None,
    full_v: float | None = None,
    deciding: str = "",
) -> Candidate:
    """One cell on the shelf; what is not said is in good order."""
    facts = CellFacts(
        chemistry=chemistry,
        form=form,
        maker_charge_current_a=maker_charge_a,
        maker_discharge_current_a=maker_discharge_a,
        full_voltage_v=full_v,
    )
    return Candidate(
        CODES[number],
        facts,
        stage,
        outcome,
        Measured(capacity_ah, u_ah) if capacity_ah is not None else None,
        False,
        Measured(resistance_ohm, u_ohm) if resistance_ohm is not None else None,
        method,
        NOW + timedelta(days=valid_days) if valid_days is not None else None,
        deciding,
    )


def project(
    load: str = 'current = "100mA"',
    *,
    runtime: str = "10h",
    cutoff: str = "3.0V",
    need: str = "",
    pack: str = "",
    charge: str = "",
    protection: str = "fitted = true",
) -> Project:
    """A project file with the lines that matter."""
    text = (
        f'name = "float lamp"\n[load]\n{load}\n[need]\nruntime = "{runtime}"\ncutoff = "{cutoff}"\n{need}\n'
    )
    text += f"[pack]\n{pack}\n" + (f"[charge]\n{charge}\n" if charge else "")
    return parse_project(text + f"[protection]\n{protection}\n", source="lamp.toml", base=None)


def match(wanted: Project, *cells: Candidate, limits: UseLimits = LIMITS) -> Match:
    """The match at NOW."""
    return match_project(wanted, cells, limits, now=NOW)


def reason(wanted: Project, candidate: Candidate, limits: UseLimits = LIMITS) -> str:
    """The test that the only cell failed, or `served`."""
    answer = match(wanted, candidate, limits=limits)
    return "served" if answer.served else answer.not_chosen[0].test
