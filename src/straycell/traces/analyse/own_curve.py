"""A few points of a whole discharge, enough to predict the next one."""

import numpy as np

from straycell.physics.run_time.runtime import OwnTrace
from straycell.traces.analyse.reduce import TraceResult
from straycell.traces.analyse.runs import DischargeRun
from straycell.traces.analyse.steps import Step, StepKind
from straycell.traces.read.trace import Floats, Ints, Trace

MOST_POINTS = 200
_MAIN_SHARE = 0.9
_USUAL_C = 25.0


def own_curve(trace: Trace, result: TraceResult) -> OwnTrace | None:
    """The discharge of the figures as at most 200 points; None unless one step from full carried nearly all of it.

    A discharge with long rests does not qualify: the voltage after a rest is not the one it would have run at.
    """
    run = result.run
    if run is None or run.at_least:
        return None
    loads = [s for s in result.steps[run.first : run.last + 1] if s.kind is StepKind.DISCHARGE]
    main = max(loads, key=lambda step: -step.charge_ah)
    # A voltage under load depends on what came before: pieces joined across rests would show a curve that never ran.
    if -main.charge_ah < _MAIN_SHARE * run.capacity_ah:
        return None
    before_ah = -sum(s.charge_ah for s in result.steps[run.first : run.last + 1] if s.stop <= main.first)
    out_ah, volts, amps = _points(trace, run, main, before_ah)
    # The run ends between two rows at the cut-off; the curve has to reach it, or the rest would count as not there.
    if main is result.steps[run.last] and len(out_ah) and out_ah[-1] < run.capacity_ah:
        out_ah, volts = np.append(out_ah, run.capacity_ah), np.append(volts, run.end_v)
        amps = np.append(amps, amps[-1])
    if len(out_ah) < 10:
        return None
    rows = _spread(out_ah, volts)
    return OwnTrace(
        # Rounded far below any meter's step, so that the recorded curve is short and repeats byte for byte.
        tuple(round(float(x), 7) for x in out_ah[rows]),
        tuple(round(float(x), 5) for x in volts[rows]),
        tuple(round(float(x), 6) for x in amps[rows]),
        _USUAL_C if result.temperature_c is None else result.temperature_c,
    )


def _points(trace: Trace, run: DischargeRun, main: Step, before_ah: float) -> tuple[Floats, Floats, Floats]:
    """Charge out, voltage and current of the step's rows up to the run's end."""
    rows = np.arange(main.first, min(main.stop, run.end_row + 1))
    # Rows without current carry a recovered voltage, which is not on the discharge curve.
    rows = rows[trace.current_a[rows] < -1e-6]
    if len(rows) < 2:
        return np.zeros(0), np.zeros(0), np.zeros(0)
    amps, time = -trace.current_a[rows], trace.time_s[rows]
    spans = 0.5 * (amps[1:] + amps[:-1]) * np.diff(time) / 3600
    out = before_ah + amps[0] * main.head_h + np.concatenate(([0.0], np.cumsum(spans)))
    return out, trace.voltage_v[rows], amps


def _spread(out_ah: Floats, volts: Floats) -> Ints:
    """Rows spread evenly over the curve's length, the first and the last among them."""
    if len(out_ah) <= MOST_POINTS:
        return np.arange(len(out_ah), dtype=np.int64)
    # Both axes count by their own span: a plateau needs few points, the knees many.
    across = np.abs(np.diff(out_ah)) / (float(np.ptp(out_ah)) or 1.0)
    down = np.abs(np.diff(volts)) / (float(np.ptp(volts)) or 1.0)
    length = np.concatenate(([0.0], np.cumsum(across + down)))
    wanted = np.linspace(0.0, float(length[-1]), MOST_POINTS)
    rows: Ints = np.unique(np.minimum(np.searchsorted(length, wanted), len(out_ah) - 1)).astype(np.int64)
    return rows
