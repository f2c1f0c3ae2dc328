"""From a trace to its figures: capacity, energy, resistance, what they are worth, what speaks against them; and their JSON."""

from dataclasses import asdict, dataclass
from typing import Any

import numpy as np

from straycell.meters import Meter
from straycell.quantities import Measured, amp_hours
from straycell.readings import CautiousDefaults
from straycell.traces.analyse.budget import (
    BudgetLine,
    Instrument,
    capacity_lines,
    combined,
    energy_lines,
    instrument_of,
)
from straycell.traces.analyse.resistance import DC_PULSE_S, PulseResistance, Setting, find_pair, find_pulses
from straycell.traces.analyse.runs import Conditions, DischargeRun, find_runs
from straycell.traces.analyse.steps import Analysis, Step, StepKind, analyse
from straycell.traces.read.trace import Trace

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


_COUNTER_SHARE = 0.02
"""The instrument's own count and ours may differ by so much before it is said (common practice)."""
_MOST_GAPS = 10


def reduce_trace(
    trace: Trace, conditions: Conditions, meter: Meter | None, defaults: CautiousDefaults
) -> TraceResult:
    """Every figure of a trace, with its uncertainty budget. Pure: same input, same result.

    `meter` gives the limits of error, `defaults` the cautious ones where it gives none.
    """
    analysis = analyse(trace)
    instrument = instrument_of(analysis, meter, defaults)
    runs = find_runs(analysis, conditions, instrument.row_v)
    run = _headline(runs)
    setting = Setting(analysis, runs, instrument, conditions)
    pulses = find_pulses(setting)
    # The pair of IEC 61960 cancels what both currents share; a pulse from rest also holds relaxation.
    dc = find_pair(setting) or next((pulse for pulse in pulses if pulse.pulse_s == DC_PULSE_S), None)
    budget = _budget(run, dc, instrument)
    lines = {
        figure: [line for line in budget if line.figure == figure] for figure in ("capacity_ah", "energy_wh")
    }
    return TraceResult(
        capacity=combined(run.capacity_ah, lines["capacity_ah"]) if run else None,
        energy=combined(run.energy_wh, lines["energy_wh"]) if run else None,
        dc_resistance=dc,
        pulses=tuple(pulses),
        # Without a run nothing counts as complete: absence of a doubt is not evidence.
        at_least=run is None or run.at_least,
        warnings=(*trace.warnings, *_warnings(analysis, run, instrument, meter)),
        notes=(*trace.notes, *_notes(runs, run, analysis.steps, dc)),
        budget=tuple(budget),
        run=run,
        runs=tuple(runs),
        steps=tuple(analysis.steps),
        cutoff_v=conditions.cutoff_v,
        full_voltage_v=conditions.full_voltage_v,
        temperature_c=_mean_temperature(trace, run, conditions.temperature_c),
    )


def _headline(runs: list[DischargeRun]) -> DischargeRun | None:
    """The last complete discharge; without one, the largest."""
    # The last complete run is of the cell as it is now; an older one would flatter it.
    whole = [run for run in runs if not run.at_least]
    if whole:
        return whole[-1]
    return max(runs, key=lambda run: run.capacity_ah, default=None)


def _budget(run: DischargeRun | None, dc: PulseResistance | None, instrument: Instrument) -> list[BudgetLine]:
    lines = [*capacity_lines(run, instrument), *energy_lines(run, instrument)] if run else []
    return [*lines, *(dc.lines if dc else ())]


def _mean_temperature(trace: Trace, run: DischargeRun | None, given_c: float | None) -> float | None:
    # A file's temperature covers charge and rest too, and the cell warms under load: only the run's rows speak for
    # the run.
    first, last = (0, trace.rows) if run is None else np.searchsorted(trace.time_s, (run.start_s, run.end_s))
    return trace.mean_temperature(slice(int(first), int(last) + 1), given_c)


def _warnings(
    analysis: Analysis,
    run: DischargeRun | None,
    instrument: Instrument,
    meter: Meter | None,
) -> list[str]:
    found: list[str] = []
    if run is None:
        found.append("nothing was discharged in this trace: it gives no capacity")
    else:
        found += [f"at least, no capacity: {doubt}" for doubt in run.doubts]
        found += _counter_warning(analysis, run)
    found += _gap_warnings(analysis, run)
    if instrument.voltage_is_default or instrument.current_is_default:
        lacking = [
            word
            # The person learns which figure has no stated accuracy, because the default may turn a pass into a hold.
            for word, is_default in (
                ("voltage", instrument.voltage_is_default),
                ("capacity", instrument.current_is_default),
            )
            if is_default
        ]
        who = (
            f"meter '{meter.name}' states no accuracy of {' and '.join(lacking)}"
            if meter
            else "no meter is named"
        )
        found.append(f"{who}: the cautious default holds")
    return found


def _gap_warnings(analysis: Analysis, run: DischargeRun | None) -> list[str]:
    """Rows missing inside a rest, a charge or another discharge; the run's own are among its doubts."""
    trace = analysis.trace
    first, last = (analysis.steps[run.first].first, run.end_row) if run else (0, -1)
    return [
        f"rows are missing before line {trace.line_of(int(row))} (from {trace.time_s[row - 1]:.10g} s to "
        f"{trace.time_s[row]:.10g} s)"
        for row in analysis.gap_rows[:_MOST_GAPS]
        if not first < row <= last
    ]


def _counter_warning(analysis: Analysis, run: DischargeRun) -> list[str]:
    """The instrument's own count over the run's discharges against ours, where it has one."""
    counter = analysis.trace.counter_ah
    if counter is None:
        return []
    counted = ours = 0.0
    for step in analysis.steps[run.first : run.last + 1]:
        if step.kind is not StepKind.DISCHARGE:
            continue
        rows = counter[step.first : min(step.stop, run.end_row + 1)]
        if len(rows) < 2 or not np.isfinite(rows[[0, -1]]).all():
            continue
        counted += abs(float(rows[-1] - rows[0]))
        ours += abs(float(analysis.running_ah[step.first + len(rows) - 1] - analysis.running_ah[step.first]))
    # Current and counter of one instrument agree closely; further apart, a column or a unit was read wrong.
    if ours <= 0 or counted <= 0 or abs(counted - ours) <= _COUNTER_SHARE * ours:
        return []
    theirs, own = amp_hours(counted), amp_hours(ours)
    return [
        f"the file's own counter says {theirs}, its current over time {own} "
        f"(up to line {analysis.trace.line_of(run.end_row)}): one of the columns is wrong"
    ]


def _notes(
    runs: list[DischargeRun], run: DischargeRun | None, steps: list[Step], dc: PulseResistance | None
) -> list[str]:
    notes: list[str] = []
    if run is not None and len(runs) > 1:
        which = runs.index(run) + 1
        notes.append(f"{len(runs)} discharges: the figures are of number {which}")
    if dc is None:
        notes.append(
            "no resistance: the rows lie too far apart for a pulse of 1 s"
            if run is not None
            else "no resistance: no pulse"
        )
    elif dc.method == "pair":
        notes.append("resistance from a pair of currents as in IEC 61960 (10 s, then 1 s)")
    else:
        notes.append(
            f"resistance from the first pulse, after {dc.pulse_s:g} s of {dc.current_a:.3g} A from rest"
        )
    if dc is not None and steps[dc.step].open_start_s > 0:
        open_s = steps[dc.step].open_start_s
        notes.append(
            f"the rows do not keep step with the load: when it began is known to {open_s / 2:.2g} s only, and they are "
            f"too coarse for a pulse shorter than {open_s:.2g} s"
        )
    return notes
