"""Discharges: which steps belong together, did it start full, did it reach the cut-off, what came out."""

from dataclasses import dataclass, replace

import numpy as np

from straycell.cells import Chemistry
from straycell.quantities import COVERAGE_FACTOR, Dimension, show
from straycell.traces.analyse.steps import Analysis, Step, StepKind
from straycell.traces.read.trace import Floats

PULSE_S = 120.0
"""A charge or discharge up to this long is a pulse, not a part that decides where a discharge begins or ends."""
_PULSE_SHARE = 0.05
FULL_REST_DROP_V = 0.07
"""A rest this far below the full voltage still shows a full cell: 4.13 V of 4.20 V (common practice)."""
_FULL_CHARGE_DROP_V = 0.03
_FULL_END_RATE = 0.12
"""A full charge ends at a tenth of the capacity an hour or less (common practice), with a fifth of slack."""
# Extrapolation reaches half a row further than the next row would have been, for a fall that steepens.
_EXTRAPOLATE = 1.5
# A start missed by less than half a per cent of the charge is small beside a tester's own error of capacity.
_DARK_SHARE = 0.005
_SLACK_V = 0.002
"""A tester that stops at its cut-off may write its last row so far above it (common practice)."""


@dataclass(frozen=True, slots=True)
class DischargeRun:
    """One discharge from its first step to its cut-off or last row; steps `first` to `last` (included).

    `capacity_ah` and `energy_wh` are what came out, net of short charges in between, positive.
    `doubts` say why it is only "at least"; empty for a capacity. `shows_full`: the trace alone shows the full
    start; `spoilt`: no charge recorded elsewhere could make a capacity of it.
    """

    first: int
    last: int
    start_s: float
    end_s: float
    end_v: float
    capacity_ah: float
    energy_wh: float
    current_a: float
    hours: float
    shows_full: bool
    spoilt: bool
    reached: bool
    doubts: tuple[str, ...]
    spacing_s: float
    sampling_ah: float
    sampling_wh: float
    open_start_s: float
    open_end_s: float
    open_start_ah: float
    open_end_ah: float
    ah_per_v_at_end: float
    end_row: int

    @property
    def at_least(self) -> bool:
        return bool(self.doubts)


@dataclass(frozen=True, slots=True)
class Conditions:
    """What a trace itself does not tell: where its discharges end and its charges end, and what the cell is.

    `cutoff_v` ends a discharge (rows below it are not counted), `full_voltage_v` is the chemistry's or the marking's.
    `charged_just_before` says that a full charge is recorded before the trace begins. `temperature_c` holds where
    the file has no temperature. `chemistry` lets a rest voltage stand for a state of charge that the trace does not
    tell.
    """

    cutoff_v: float
    full_voltage_v: float
    charged_just_before: bool
    rated_ah: float | None = None
    temperature_c: float | None = None
    chemistry: Chemistry | None = None


@dataclass(frozen=True, slots=True)
class _End:
    """Where a run stops counting: step, time, voltage, last row counted whole."""

    step: int
    time_s: float
    voltage_v: float
    row: int
    reached: bool
    ah_per_v: float
    open_s: float


def find_runs(analysis: Analysis, conditions: Conditions, row_u_v: float) -> list[DischargeRun]:
    """Every discharge of a trace, in order. A charge that is more than a pulse ends one and begins the next.

    `row_u_v` is one row's own standard uncertainty in V: a last row within twice that of the cut-off reached it.
    """
    spans = _spans(analysis.steps)
    # Row noise may leave the last row just above the cut-off, and the tester has seen it below (U = 2u).
    slack_v = max(_SLACK_V, COVERAGE_FACTOR * row_u_v)
    # A recorded charge speaks only for the first discharge of a file; later ones follow what the file shows.
    later = replace(conditions, charged_just_before=False)
    return [
        _run(analysis, first, last, later if number else conditions, slack_v)
        for number, (first, last) in enumerate(spans)
    ]


def _spans(steps: list[Step]) -> list[tuple[int, int]]:
    total = sum(-s.charge_ah for s in steps if s.kind is StepKind.DISCHARGE)
    spans: list[tuple[int, int]] = []
    first = last = -1
    for k, step in enumerate(steps):
        if step.kind is StepKind.DISCHARGE:
            first, last = (k if first < 0 else first), k
        elif step.kind is StepKind.CHARGE and first >= 0 and not _is_pulse(step, total):
            spans.append((first, last))
            first = -1
    return [*spans, (first, last)] if first >= 0 else spans


def _is_pulse(step: Step, total_ah: float) -> bool:
    # Both short and small: a short heavy charge changes what the cell holds, a long weak one too.
    return step.duration_s <= PULSE_S and abs(step.charge_ah) <= _PULSE_SHARE * total_ah


def _run(analysis: Analysis, first: int, last: int, conditions: Conditions, slack_v: float) -> DischargeRun:
    steps, cutoff_v, full_voltage_v = analysis.steps, conditions.cutoff_v, conditions.full_voltage_v
    end = _find_end(analysis, first, last, cutoff_v, slack_v)
    whole = [s for s in steps[first : end.step] if s.kind is not StepKind.REST]
    final = steps[end.step]
    final_ah, final_wh = _until(analysis, final, end)
    capacity = -sum(s.charge_ah for s in whole) - final_ah
    energy = -sum(s.energy_wh for s in whole) - final_wh
    loads = [s for s in (*whole, final) if s.kind is StepKind.DISCHARGE]
    # Pulses in between carry currents of their own and would bend the mean of the run.
    long = [s for s in loads if s.duration_s > PULSE_S] or loads
    full, why_not = _started_full(analysis, first, full_voltage_v, conditions.charged_just_before, capacity)
    doubts = [why_not] if why_not else []
    if not end.reached:
        doubts.append(
            f"the discharge ends at {show(end.voltage_v, Dimension.VOLTAGE)} (line "
            f"{analysis.trace.line_of(end.row)}), above the cut-off of {show(cutoff_v, Dimension.VOLTAGE)}"
        )
    doubts += _missing_rows(analysis, first, end, capacity)
    sampling = _sampling(analysis, loads, end)
    shown, possible = (
        _started_full(analysis, first, full_voltage_v, said, capacity)[0] for said in (False, True)
    )
    return DischargeRun(
        first=first,
        last=end.step,
        start_s=steps[first].onset_s,
        end_s=end.time_s,
        end_v=end.voltage_v,
        capacity_ah=capacity,
        energy_wh=energy,
        current_a=_mean_current(long, end),
        hours=sum(min(s.end_s, end.time_s) - s.onset_s for s in loads) / 3600,
        shows_full=shown,
        # Spoilt for good: a doubt beside the missing proof of a full start cannot be healed by a recorded charge.
        spoilt=not possible or len(doubts) > (not full),
        reached=end.reached,
        doubts=tuple(doubts),
        spacing_s=sampling[0],
        sampling_ah=sampling[1],
        sampling_wh=sampling[2],
        open_start_s=max(s.open_start_s for s in loads),
        open_end_s=max(end.open_s, *(s.open_end_s for s in whole)) if whole else end.open_s,
        open_start_ah=_root_sum([s.current_a * s.open_start_s for s in (*whole, final)]),
        # Each gap is independent of the others, so their charges add in quadrature.
        open_end_ah=_root_sum([*(s.current_a * s.open_end_s for s in whole), final.current_a * end.open_s]),
        ah_per_v_at_end=end.ah_per_v,
        end_row=end.row,
    )


def _root_sum(ampere_seconds: list[float]) -> float:
    return float(np.sqrt(np.sum(np.square(ampere_seconds)))) / 3600


def _mean_current(loads: list[Step], end: _End) -> float:
    """Mean current in A of the steps that matter, over the time they last."""
    seconds = sum(min(s.end_s, end.time_s) - s.onset_s for s in loads)
    if seconds <= 0:
        return abs(loads[0].current_a)
    return sum(abs(s.current_a) * (min(s.end_s, end.time_s) - s.onset_s) for s in loads) / seconds


def _find_end(analysis: Analysis, first: int, last: int, cutoff_v: float, slack_v: float) -> _End:
    """The first crossing of the cut-off in a step that is not a pulse, else the last row of the run's last discharge."""
    trace = analysis.trace
    for k in range(first, last + 1):
        step = analysis.steps[k]
        # A pulse dips below the cut-off and comes back; only a lasting load ends a discharge.
        if step.kind is not StepKind.DISCHARGE or (step.duration_s <= PULSE_S and k != last):
            continue
        below = np.flatnonzero(trace.voltage_v[step.first : step.stop] <= cutoff_v)
        if len(below):
            return _crossing(analysis, k, step.first + int(below[0]), cutoff_v)
    return _stopped(analysis, last, cutoff_v, slack_v)


def _stopped(analysis: Analysis, last: int, cutoff_v: float, slack_v: float) -> _End:
    """A run whose last row is above the cut-off: reached if the voltage's fall gets there before the next row."""
    step = analysis.steps[last]
    row = step.stop - 1
    slope = _slope(analysis, step, row)
    above_v = step.last_v - cutoff_v
    # The tester stops between two rows: what the slope bridges before the next row counts as reached.
    if above_v > max(slack_v, _EXTRAPOLATE * slope * step.open_end_s):
        return _End(last, step.end_s + step.tail_h * 3600, step.last_v, row, False, 0.0, step.open_end_s)
    more_s = min(above_v / slope, step.open_end_s) if slope > 0 else 0.0
    return _End(last, step.end_s + more_s, cutoff_v, row, True, _ah_per_v(step, slope), more_s)


def _crossing(analysis: Analysis, k: int, row: int, cutoff_v: float) -> _End:
    trace, step = analysis.trace, analysis.steps[k]
    per_v = _ah_per_v(step, _slope(analysis, step, row))
    if row == step.first:
        return _End(k, float(trace.time_s[row]), float(trace.voltage_v[row]), row, True, per_v, 0.0)
    above, below = trace.voltage_v[row - 1], trace.voltage_v[row]
    # The curve is steep at the end, so a straight line between two rows is close, and a whole row would be too much.
    share = float((above - cutoff_v) / (above - below))
    time_s = float(trace.time_s[row - 1] + share * (trace.time_s[row] - trace.time_s[row - 1]))
    return _End(k, time_s, cutoff_v, row if share >= 1 else row - 1, True, per_v, 0.0)


def _slope(analysis: Analysis, step: Step, row: int) -> float:
    """How fast the voltage falls at a row, in V/s, over the rows before it; 0 when it does not fall."""
    # Three rows only: near the cut-off the slope steepens, and an older row would flatten it.
    trace, back = analysis.trace, max(step.first, row - 2)
    seconds = float(trace.time_s[row] - trace.time_s[back])
    return max(0.0, float(trace.voltage_v[back] - trace.voltage_v[row]) / seconds) if seconds > 0 else 0.0


def _ah_per_v(step: Step, slope: float) -> float:
    return abs(step.current_a) / slope / 3600 if slope > 0 else 0.0


def _until(analysis: Analysis, step: Step, end: _End) -> tuple[float, float]:
    """Charge and energy of a step up to its end (negative)."""
    trace, row = analysis.trace, end.row
    head_h = step.head_h
    first_a, first_v = float(trace.current_a[step.first]), float(trace.voltage_v[step.first])
    charge = analysis.running_ah[row] - analysis.running_ah[step.first] + first_a * head_h
    energy = analysis.running_wh[row] - analysis.running_wh[step.first] + first_a * first_v * head_h
    tail_h = max(0.0, end.time_s - float(trace.time_s[row])) / 3600
    if tail_h:
        after = min(row + 1, step.stop - 1)
        amps = float(trace.current_a[row] + trace.current_a[after]) / 2
        charge += amps * tail_h
        energy += amps * tail_h * (float(trace.voltage_v[row]) + end.voltage_v) / 2
    return float(charge), float(energy)


def _is_dark(analysis: Analysis, k: int, away_s: float) -> bool:
    """True when a step's start lies so far from the row before that neither step's row distance explains it."""
    step, trace = analysis.steps[k], analysis.trace
    before = analysis.steps[k - 1]
    # The step before sets the usual distance, since instruments change their interval with the step.
    usual = float(trace.time_s[before.stop - 1] - trace.time_s[before.stop - 2]) if before.rows > 1 else 0.0
    return not step.follows and step.onset_s == trace.time_s[step.first] and away_s > 3 * usual


def _missing_rows(analysis: Analysis, first: int, end: _End, capacity_ah: float) -> list[str]:
    """Gaps inside the run's steps, and discharges whose start was not recorded."""
    trace = analysis.trace
    start_row = analysis.steps[first].first
    doubts = [
        f"rows are missing before line {trace.line_of(int(row))} (from {trace.time_s[row - 1]:.10g} s to "
        f"{trace.time_s[row]:.10g} s): not counted"
        for row in analysis.gap_rows
        if start_row < row <= end.row
    ]
    for k in range(max(first, 1), end.step + 1):
        step = analysis.steps[k]
        away = float(trace.time_s[step.first] - trace.time_s[step.first - 1])
        lost_ah = away * abs(step.current_a) / 3600
        if (
            step.kind is StepKind.DISCHARGE
            and _is_dark(analysis, k, away)
            and lost_ah > _DARK_SHARE * capacity_ah
        ):
            doubts.append(
                f"rows are missing before line {trace.line_of(step.first)}, where a discharge begins "
                f"({show(away, Dimension.DURATION)}): not counted"
            )
    return doubts


def _started_full(
    analysis: Analysis, first: int, full_voltage_v: float, charged: bool, capacity_ah: float
) -> tuple[bool, str]:
    """Whether the run began full, and if not, why that is not shown."""
    steps, volts = analysis.steps, Dimension.VOLTAGE
    total = sum(-s.charge_ah for s in steps if s.kind is StepKind.DISCHARGE)
    earlier = [s for s in steps[:first] if s.kind is StepKind.CHARGE and not _is_pulse(s, total)]
    if earlier:
        top = max(
            float(analysis.trace.voltage_v[earlier[-1].first : earlier[-1].stop].max()), earlier[-1].last_v
        )
        end_a = abs(float(analysis.trace.current_a[earlier[-1].stop - 1]))
        # A charge stopped 30 mV low leaves charge out, and the next discharge would look like a worn cell.
        if top < full_voltage_v - _FULL_CHARGE_DROP_V:
            return False, f"the charge before the discharge ended at {show(top, volts)}, not full"
        # At full voltage but with much current the cell was still filling: constant voltage had just begun.
        if end_a > _FULL_END_RATE * capacity_ah:
            amps = show(end_a, Dimension.CURRENT)
            return False, f"the charge before the discharge was ended at {amps}, before it was full"
        return True, ""
    rest = steps[first - 1] if first > 0 and steps[first - 1].kind is StepKind.REST else None
    # A rested full cell falls some hundredths of a volt by relaxation alone.
    if rest is not None and rest.last_v >= full_voltage_v - FULL_REST_DROP_V:
        return True, ""
    opening = rest.last_v if rest is not None else steps[first].first_v
    # Evidence in the file beats a record: a cell that rests this low is not the one that was charged, or lost its
    # charge.
    if charged and opening < full_voltage_v - 5 * FULL_REST_DROP_V and rest is not None:
        return (
            False,
            f"a full charge is recorded, yet the cell rests at {show(opening, volts)}: not taken as full",
        )
    if charged:
        return True, ""
    where = "rests at" if rest is not None else "starts under load at"
    return (
        False,
        f"nothing shows that it started full: it {where} {show(opening, volts)}, and no charge comes before",
    )


def _sampling(analysis: Analysis, loads: list[Step], end: _End) -> tuple[float, float, float]:
    """Largest usual row distance, and the trapezoid's error in Ah and Wh from leaving out every second row."""
    trace = analysis.trace
    error_ah = error_wh = spacing = 0.0
    for step in loads:
        stop = min(step.stop, end.row + 1)
        # Too few rows to leave out every second one: the estimate itself would be noise.
        if stop - step.first < 5:
            continue
        rows = slice(step.first, stop - (stop - step.first + 1) % 2)
        hours = trace.time_s[rows] / 3600
        amps = trace.current_a[rows]
        watts = amps * trace.voltage_v[rows]
        spacing = max(spacing, float(np.median(np.diff(trace.time_s[rows]))))
        # Twice the distance makes a trapezoid's error four times as large: a third of the difference is the fine
        # one's (Richardson).
        error_ah += (_area(amps, hours) - _area(amps[::2], hours[::2])) / 3
        error_wh += (_area(watts, hours) - _area(watts[::2], hours[::2])) / 3
    return spacing, abs(error_ah), abs(error_wh)


def _area(values: Floats, hours: Floats) -> float:
    return float(np.sum(0.5 * (values[1:] + values[:-1]) * np.diff(hours)))
