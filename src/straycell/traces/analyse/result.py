"""The result of a trace: the figures, each with its budget, and their JSON."""

from dataclasses import asdict, dataclass
from typing import Any

from straycell.quantities import Measured
from straycell.traces.analyse.budget import BudgetLine
from straycell.traces.analyse.resistance import PulseResistance
from straycell.traces.analyse.runs import DischargeRun
from straycell.traces.analyse.steps import Step

_OF_A_RUN = ("start_s", "end_s", "end_v", "capacity_ah", "energy_wh", "current_a", "at_least")
_OF_A_STEP = {
    "kind": "kind",
    "start_s": "onset_s",
    **{name: name for name in ("end_s", "current_a", "charge_ah", "energy_wh")},
}


@dataclass(frozen=True)
class TraceResult:
    """Figures of one trace. `capacity` and `energy` are None where nothing was discharged.

    `at_least` True: the cell holds at least this much, and it must not count as a capacity (`warnings` say why).
    `run` is the discharge the figures are of: the last that started full and reached the cut-off, else the
    largest; `runs` are all of them. `dc_resistance` is the IEC 61960 pair when there is one, else the first
    pulse at 1 s.
    """

    capacity: Measured | None
    energy: Measured | None
    dc_resistance: PulseResistance | None
    pulses: tuple[PulseResistance, ...]
    at_least: bool
    warnings: tuple[str, ...]
    notes: tuple[str, ...]
    budget: tuple[BudgetLine, ...]
    run: DischargeRun | None
    runs: tuple[DischargeRun, ...]
    steps: tuple[Step, ...]
    cutoff_v: float
    full_voltage_v: float
    temperature_c: float | None

    def to_json(self) -> dict[str, Any]:
        """The keys of `trace add` and `trace show`, without the id."""
        return {
            "capacity_ah": _figure(self.capacity),
            "energy_wh": _figure(self.energy),
            "dc_resistance_ohm": self._dc_json(),
            "pulses": [_pulse_json(pulse) for pulse in self.pulses],
            "at_least": self.at_least,
            "cutoff_v": self.cutoff_v,
            "discharge_current_a": self.run.current_a if self.run else None,
            "temperature_c": self.temperature_c,
            "discharges": [{name: getattr(run, name) for name in _OF_A_RUN} for run in self.runs],
            "steps": [
                {key: getattr(step, name) for key, name in _OF_A_STEP.items()} for step in self.steps[:500]
            ],
            "budget": [asdict(line) for line in self.budget],
            "warnings": list(self.warnings),
            "notes": list(self.notes),
        }

    def _dc_json(self) -> dict[str, Any] | None:
        if self.dc_resistance is None:
            return None
        dc = self.dc_resistance
        return {
            "value": dc.resistance.value,
            "expanded_uncertainty": dc.resistance.expanded,
            "method": dc.method,
            "pulse_s": dc.pulse_s,
            "soc": dc.soc,
            "soc_range": list(dc.soc_range) if dc.soc_range else None,
            "temperature_c": dc.temperature_c,
        }


def _figure(measured: Measured | None) -> dict[str, float] | None:
    if measured is None:
        return None
    return {"value": measured.value, "expanded_uncertainty": measured.expanded}


def _pulse_json(pulse: PulseResistance) -> dict[str, Any]:
    return {
        "pulse": pulse.pulse,
        "pulse_s": pulse.pulse_s,
        "soc": pulse.soc,
        "soc_range": list(pulse.soc_range) if pulse.soc_range else None,
        "rest_v": pulse.rest_v,
        "resistance_ohm": pulse.resistance.value,
        "expanded_uncertainty": pulse.resistance.expanded,
        "temperature_c": pulse.temperature_c,
        "current_a": pulse.current_a,
        "rested_s": pulse.rested_s,
        "out_ah": pulse.out_ah,
    }
