"""Uncertainty, line by line (JCGM 100): where it comes from, how large it is there, what it does to the figure.

Independent limits of error are rectangular and add in quadrature. What both voltages of a difference share
(the offset of one meter) cancels and is in the budget as zero. The meter's capacity accuracy stands for
its current: the share for the gain, the fixed part for what its zero adds up to over one discharge.
"""

import math
from dataclasses import dataclass

from straycell.meters import Accuracy, Meter
from straycell.quantities import Dimension, Measured, show
from straycell.readings import CautiousDefaults
from straycell.traces.analyse.runs import DischargeRun
from straycell.traces.analyse.steps import Analysis, StepKind
from straycell.traces.read.noise import scatter, shown_step

_SQRT3, _SQRT12 = math.sqrt(3.0), math.sqrt(12.0)


@dataclass(frozen=True, slots=True)
class BudgetLine:
    """One source: what it is, how large (text with unit), and the standard uncertainty it gives the figure."""

    figure: str
    source: str
    value: str
    u: float


@dataclass(frozen=True, slots=True)
class Instrument:
    """What holds for one trace: limits of voltage and current, one row's uncertainty, and whose limits they are."""

    voltage: Accuracy
    current: Accuracy
    row_v: float
    row_a: float
    step_a: float
    zero_a: float
    voltage_is_default: bool
    current_is_default: bool


def instrument_of(analysis: Analysis, meter: Meter | None, defaults: CautiousDefaults) -> Instrument:
    """The meter's limits, or the cautious defaults; resolution and scatter as the larger of stated and seen."""
    trace, firsts = analysis.trace, [step.first for step in analysis.steps]
    voltage = meter.voltage if meter else None
    capacity = meter.capacity if meter else None
    stated_v = meter.voltage_resolution.step(float(trace.voltage_v.max())) if meter else 0.0
    # A file may be exported more coarsely than the meter shows, or the sheet may flatter it: the larger step holds.
    step_v = max(stated_v, shown_step(trace.voltage_v))
    step_a = shown_step(trace.current_a)
    idle = [s for s in analysis.steps if s.kind is StepKind.REST and s.rows > 1]
    idle_s = sum(s.duration_s for s in idle)
    # At rest nothing flows, so what the meter counts there is its own zero, and it goes on under load.
    zero_a = abs(sum(s.charge_ah for s in idle)) / idle_s * 3600 if idle_s > 0 else 0.0
    return Instrument(
        voltage=voltage or defaults.voltage,
        current=capacity or defaults.capacity,
        # A coarse display already shows as scatter: the larger of the two, not both. A step gives step / root 12
        # (JCGM 100, F.2.2.1).
        row_v=max(step_v / _SQRT12, scatter(trace.time_s, trace.voltage_v, firsts)),
        row_a=max(step_a / _SQRT12, scatter(trace.time_s, trace.current_a, firsts)),
        step_a=step_a,
        zero_a=zero_a,
        voltage_is_default=voltage is None,
        current_is_default=capacity is None,
    )


def capacity_lines(run: DischargeRun, instrument: Instrument) -> list[BudgetLine]:
    """The budget of a run's capacity, in Ah."""
    return _current_lines("capacity_ah", run, instrument, (1.0, 1.0), run.sampling_ah)


def energy_lines(run: DischargeRun, instrument: Instrument) -> list[BudgetLine]:
    """The budget of a run's energy, in Wh: each source of the capacity's, times the voltage, and the voltage's own."""
    figure, volts = "energy_wh", instrument.voltage
    mean_v = run.energy_wh / run.capacity_ah if run.capacity_ah else 0.0
    return [
        *_current_lines(figure, run, instrument, (mean_v, run.end_v), run.sampling_wh),
        BudgetLine(figure, _named("gain of the voltage", instrument.voltage_is_default), _share(volts.gain),
                   run.energy_wh * volts.gain / _SQRT3),
        BudgetLine(figure, _named("offset of the voltage", instrument.voltage_is_default),
                   show(volts.offset, Dimension.VOLTAGE), run.capacity_ah * volts.offset / _SQRT3),
    ]  # fmt: skip


def _current_lines(
    figure: str, run: DischargeRun, instrument: Instrument, at: tuple[float, float], sampling: float
) -> list[BudgetLine]:
    """What the current and its times bring into a figure, `at` times the charge: on the mean, and at the run's end."""
    # What is lost at the end is lost at the cut-off's voltage, not at the mean.
    accuracy, (mean, end) = instrument.current, at
    # The sheet's fixed part and the zero seen in this file are the same error: the larger one, once.
    zero_ah = max(accuracy.offset, instrument.zero_a * run.hours)
    return [
        BudgetLine(figure, _named("gain of the current", instrument.current_is_default), _share(accuracy.gain),
                   run.capacity_ah * accuracy.gain / _SQRT3 * mean),
        BudgetLine(figure, "zero of the current", show(zero_ah, Dimension.CAPACITY), zero_ah / _SQRT3 * mean),
        # The rounding of one level repeats in every row of a steady current, so it grows with the hours and does not
        # average out.
        BudgetLine(figure, "steps the current is shown in", show(instrument.step_a, Dimension.CURRENT),
                   instrument.step_a / _SQRT12 * run.hours * mean),
        BudgetLine(figure, "distance of the rows", show(run.spacing_s, Dimension.DURATION), sampling),
        # Where in the gap the step began is unknown within its full width: rectangular, width over root 12.
        BudgetLine(figure, "missing at starts of steps", show(run.open_start_s, Dimension.DURATION),
                   run.open_start_ah / _SQRT12 * mean),
        BudgetLine(figure, "missing at ends of steps", show(run.open_end_s, Dimension.DURATION),
                   run.open_end_ah / _SQRT12 * end),
        # A cut-off voltage read wrong moves the end along the curve: dAh/dV there turns volts into charge.
        BudgetLine(figure, "cut-off as this meter sees it", show(_cutoff_u(run, instrument), Dimension.VOLTAGE),
                   run.ah_per_v_at_end * _cutoff_u(run, instrument) * end),
    ]  # fmt: skip


def resistance_lines(
    resistance_ohm: float, change_a: float, instrument: Instrument, onset_open_s: float, ohm_per_s: float
) -> list[BudgetLine]:
    """The budget of a resistance from two voltages and two currents of one instrument, in ohm.

    `change_a` is the difference of the currents; `onset_open_s` how much earlier or later than taken the pulse may
    have begun (rectangular), `ohm_per_s` how fast the resistance grows with the pulse there.
    """
    figure, size = "dc_resistance_ohm", abs(resistance_ohm)
    volts, amps = instrument.voltage, instrument.current
    root2 = math.sqrt(2.0)
    return [
        BudgetLine(figure, _named("gain of the voltage", instrument.voltage_is_default), _share(volts.gain),
                   size * volts.gain / _SQRT3),
        # Kept at zero in the list, so that a reader sees that the offset was thought of and cancels.
        BudgetLine(figure, "offset of the voltage, shared by both", show(volts.offset, Dimension.VOLTAGE), 0.0),
        BudgetLine(figure, "two rows of voltage", show(instrument.row_v, Dimension.VOLTAGE),
                   # Two independent rows, hence the root of 2; more change of current divides their error.
                   root2 * instrument.row_v / change_a),
        BudgetLine(figure, _named("gain of the current", instrument.current_is_default), _share(amps.gain),
                   size * amps.gain / _SQRT3),
        BudgetLine(figure, "two rows of current", show(instrument.row_a, Dimension.CURRENT),
                   size * root2 * instrument.row_a / change_a),
        BudgetLine(figure, "when the pulse began", show(onset_open_s, Dimension.DURATION),
                   abs(ohm_per_s) * onset_open_s / _SQRT3),
    ]  # fmt: skip


def combined(value: float, lines: list[BudgetLine]) -> Measured:
    """The figure with the root of the sum of the squares of its lines."""
    # Independent sources add in quadrature (JCGM 100:2008, 5.1.2).
    return Measured(value, math.sqrt(sum(line.u**2 for line in lines)))


def _cutoff_u(run: DischargeRun, instrument: Instrument) -> float:
    volts = instrument.voltage
    return math.hypot(volts.gain * run.end_v / _SQRT3, volts.offset / _SQRT3, instrument.row_v)


def _named(source: str, is_default: bool) -> str:
    return f"{source} (cautious default, no meter)" if is_default else source


def _share(gain: float) -> str:
    return show(gain, Dimension.FRACTION)
