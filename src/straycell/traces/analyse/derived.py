"""What a trace shows of its cell, as readings and charges that can be recorded.

A capacity whose trace did not run whole always stays a lower bound; one that only lacks the proof of a full
start counts once a full charge before it is on record. A charge in the trace is recorded without the room's
temperature: which column is the room's and which the cell's own, a file does not say.
"""

import math
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta
from itertools import groupby, takewhile
from typing import Any

import numpy as np

from straycell.keys import NEW
from straycell.meters import Meter
from straycell.quantities import CELL_WINDOWS, COVERAGE_FACTOR, Dimension, Measured, show
from straycell.readings import CautiousDefaults, Charge, Method, Quantity, Reading, measured
from straycell.traces.analyse.reduce import TraceResult
from straycell.traces.analyse.runs import PULSE_S, DischargeRun
from straycell.traces.analyse.steps import Step, StepKind
from straycell.traces.read.cleaning import CONTACT_LOST_V, LEAST_REST_S
from straycell.traces.read.noise import roughness, shown_step
from straycell.traces.read.trace import Ints, Mask, Trace

_PAUSE_S = 600.0
"""Charge steps with no more than this between them are one charge (common practice)."""

_NOTHING_V = 0.05
"""An empty holder shows no more than this (common practice, no published source)."""

_LONE_K = 10.0
"""A cell of 45 g does not warm and cool by this between two rows of a logger (common practice)."""

_HIGHEST = 0.98
"""The current of a charge is its highest, a spike of a few rows left out (common practice)."""


@dataclass(frozen=True, slots=True)
class Occasion:
    """Whose trace it is, when it ended (UTC) and what it was taken with.

    Nothing in it is placed before `not_before`: the end of the charge that is said to come first.
    `most_v` is the voltage above which a cell was over-charged, `doubt_v` the one from which a coarse meter's may be;
    `floor_v` is the one below which it was deeply discharged, `low_v` that below which it is fit for light use alone;
    None: no low voltage is looked for.
    From `rest_s` on a rest after a charge tells what is missing of it. A charge is counted unless what came out after it
    explains it, less than `explained` times over.
    """

    cell: str
    ended_at: datetime
    meter: Meter | None
    defaults: CautiousDefaults
    most_v: float
    doubt_v: float
    not_before: datetime | None = None
    floor_v: float | None = None
    low_v: float | None = None
    rest_s: float = math.inf
    explained: float = 1.0

    def moment(self, trace: Trace, time_s: float) -> datetime:
        """When the trace's clock showed `time_s`."""
        at = self.ended_at - timedelta(seconds=max(0.0, float(trace.time_s[-1]) - time_s))
        return at if self.not_before is None else max(at, self.not_before)


def derived_items(
    trace: Trace, result: TraceResult, occasion: Occasion
) -> tuple[list[Reading | Charge], list[str]]:
    """(readings and charges in the order they happened, warnings about what was not recorded)."""
    items: list[Reading | Charge] = []
    warnings: list[str] = []
    for found in (
        *(_charge(trace, result, steps, occasion) for steps in _groups(result.steps)),
        _over_full(trace, result, occasion),
        *_telling_rests(trace, result, occasion),
        _driven_low(trace, result, occasion),
        _resistance(trace, result, occasion),
        _capacity(trace, result, occasion),
    ):
        if isinstance(found, str):
            warnings.append(found)
        elif found is not None:
            items.append(found)
    return sorted(items, key=lambda item: item.at), warnings


def _fits(value: float, dimension: Dimension) -> bool:
    window = CELL_WINDOWS[dimension]
    return window.low <= value <= window.high


def _capacity(trace: Trace, result: TraceResult, occasion: Occasion) -> Reading | str | None:
    run, capacity, energy = result.run, result.capacity, result.energy
    if run is None or capacity is None or energy is None or (run.at_least and _only_pulses(result, run)):
        return None
    if not _fits(capacity.value, Dimension.CAPACITY):
        return f"no capacity is recorded: {show(capacity.value, Dimension.CAPACITY)} cannot be a cell's"
    return Reading(
        id=NEW,
        cell=occasion.cell,
        quantity=Quantity.CAPACITY,
        at=occasion.moment(trace, run.end_s),
        value=capacity.value,
        temperature_c=result.temperature_c,
        meter=occasion.meter,
        discharge_current_a=run.current_a,
        # A reading's cut-off has to lie in its window, and a crossed lead may show far more than 5 V.
        cutoff_v=result.cutoff_v if run.reached else max(result.cutoff_v, min(run.end_v, 5.0)),
        energy_wh=energy.value,
        at_least=run.spoilt,
        # The trace alone: a charge recorded elsewhere may be corrected later, and the reading must not keep it.
        from_full=run.shows_full,
        u=capacity.u,
    )


def _only_pulses(result: TraceResult, run: DischargeRun) -> bool:
    """True for a trace that was taken for its pulses: what they took out says nothing of what the cell holds."""
    steps = result.steps[run.first : run.last + 1]
    return all(s.duration_s <= PULSE_S for s in steps if s.kind is StepKind.DISCHARGE)


def _resistance(trace: Trace, result: TraceResult, occasion: Occasion) -> Reading | str | None:
    dc = result.dc_resistance
    if dc is None:
        return None
    if not _fits(dc.resistance.value, Dimension.RESISTANCE):
        return (
            f"no resistance is recorded: {show(dc.resistance.value, Dimension.RESISTANCE)} cannot be a cell's"
        )
    return Reading(
        id=NEW,
        cell=occasion.cell,
        quantity=Quantity.RESISTANCE,
        at=occasion.moment(trace, result.steps[dc.step].onset_s + dc.pulse_s),
        value=dc.resistance.value,
        temperature_c=dc.temperature_c,
        meter=occasion.meter,
        method=Method.DC_PULSE,
        pulse_s=dc.pulse_s,
        soc=dc.soc,
        u=dc.resistance.u,
    )


def _telling_rests(trace: Trace, result: TraceResult, occasion: Occasion) -> Iterator[Reading | str]:
    """The end of every rest that is, or may be, below the floor, and of every long one after a charge."""
    if occasion.floor_v is None:
        return
    charged = False
    # Instruments split a rest into several steps; the cell rests through all of them.
    for kind, group in groupby(result.steps, key=lambda step: step.kind):
        steps = list(group)
        rested_s = steps[-1].end_s - steps[0].onset_s
        # A voltage right after a load is polarised and would look like a deep discharge.
        if kind is not StepKind.REST or rested_s < LEAST_REST_S:
            charged = kind is StepKind.CHARGE or (charged and kind is StepKind.REST)
            continue
        rows = slice(steps[0].first, steps[-1].stop)
        value = _row_voltage(trace, steps[-1].stop - 1, rows, occasion)
        if doubt := _taken_out(trace, rows, occasion.floor_v) or _dead(trace, rows, occasion.floor_v):
            doubt = f"{show(value.value, Dimension.VOLTAGE)} at the {doubt}"
            yield _voltage(value, steps[-1].end_s, trace, occasion, doubt=doubt)
            continue
        # The low end of the interval: a value within its uncertainty of a safety limit is not a pass. After a charge it
        # tells what is missing of it.
        if value.low < occasion.floor_v or (charged and rested_s >= occasion.rest_s):
            said_c = result.temperature_c if trace.temperature_c is None else None
            warm_c = trace.mean_temperature(rows, said_c)
            yield _voltage(value, steps[-1].end_s, trace, occasion, rested_s=rested_s, temperature_c=warm_c)


def _dead(trace: Trace, rows: slice, floor_v: float) -> str:
    """Where a trace begins near 0 V and a charge lifts it at once: a dead cell that is revived, or one put in just then."""
    if rows.start > 0 or rows.stop >= trace.rows or trace.current_a[rows.stop] <= 0:
        return ""
    first_v, next_v = float(trace.voltage_v[rows.stop - 1]), float(trace.voltage_v[rows.stop])
    # What it is lifted to below the floor is a deep discharge whatever came before.
    holder = first_v < CONTACT_LOST_V and next_v >= floor_v
    return f"start of a trace, at once before {next_v:.2f} V" if holder else ""


def _taken_out(trace: Trace, rows: slice, floor_v: float) -> str:
    """What tells that the cell seems to have been taken out: 0 V from one row to the next, to the end.

    A cell that dies sinks to zero over minutes; one that is lifted out of its holder is gone at once.
    """
    # Only the end of a file can be an empty holder; a drop that comes back is a bad contact, which cleaning.py drops.
    if rows.stop < trace.rows:
        return ""
    volts = trace.voltage_v[rows]
    gone = np.flatnonzero(np.abs(volts) > _NOTHING_V)
    last = rows.start + (int(gone[-1]) if len(gone) else -1)
    if last < 0 or last + 1 >= trace.rows or abs(float(volts[-1])) > _NOTHING_V:
        return ""
    before_v = float(trace.voltage_v[last])
    return f"end of a trace, at once after {before_v:.2f} V" if before_v >= floor_v else ""


def steady_peak(trace: Trace, rows: slice | None = None) -> tuple[float | None, float | None]:
    """(the highest temperature in C that two neighbouring samples reached, a lone one far above it or None)."""
    if trace.temperature_c is None:
        return None, None
    known = trace.temperature_c[rows if rows is not None else slice(None)]
    known = known[np.isfinite(known)]
    if not len(known):
        return None, None
    highest = float(known.max())
    # A sensor that touches metal or a wire that breaks gives one wild row; heat in 45 g of cell takes longer to come
    # and go.
    steady = float(np.minimum(known[:-1], known[1:]).max()) if len(known) > 1 else highest
    return (steady, highest) if highest - steady > _LONE_K else (highest, None)


def _driven_low(trace: Trace, result: TraceResult, occasion: Occasion) -> Reading | str | None:
    """The lowest voltage under current where it is, or may be, a danger: a lasting one below the floor, any at zero or less."""
    if occasion.floor_v is None:
        return None
    loaded, lasting = np.zeros(trace.rows, dtype=bool), np.zeros(trace.rows, dtype=bool)
    # A drive cycle is many short steps, and one discharge.
    for kind, group in groupby(result.steps, key=lambda step: step.kind):
        steps = list(group)
        rows = slice(steps[0].first, steps[-1].stop)
        loaded[rows] = kind is not StepKind.REST
        # What a pulse pulls down is its resistance and no discharge; what a charge lifts lay lower still.
        pulse = steps[-1].end_s - steps[0].onset_s <= PULSE_S
        lasting[rows] = kind is StepKind.CHARGE or (kind is StepKind.DISCHARGE and not pulse)
    # At 0 V and below lithium plates and copper dissolves (overdischarge study, J. Electrochem. Soc.): within U
    # counts too.
    for mask, limit_v in ((loaded, 0.0), (lasting, occasion.floor_v)):
        row = _lowest_row(trace, np.flatnonzero(mask))
        value = None if row is None else _row_voltage(trace, row, slice(row, row + 1), occasion)
        if row is not None and value is not None and value.low <= limit_v:
            return _voltage(value, float(trace.time_s[row]), trace, occasion)
    row = _long_below(trace, lasting, occasion.low_v or 0.0)
    value = None if row is None else _row_voltage(trace, row, slice(row, row + 1), occasion)
    if row is None or value is None or value.high >= (occasion.low_v or 0.0):
        return None
    return _voltage(value, float(trace.time_s[row]), trace, occasion)


def _long_below(trace: Trace, lasting: Mask, low_v: float) -> int | None:
    """The lowest row where it was below a voltage for longer than a pulse: no run that was set to end there overshoots so."""
    rows = np.flatnonzero(lasting & (trace.voltage_v < low_v))
    stretches = np.split(rows, np.flatnonzero(np.diff(rows) > 1) + 1)
    long = [each for each in stretches if len(each) and np.ptp(trace.time_s[each]) > PULSE_S]
    return _lowest_row(trace, np.concatenate(long)) if long else None


def _lowest_row(trace: Trace, rows: Ints) -> int | None:
    # Readings below the cell window are crossed leads or a broken wire, and must not hide a true reversal.
    known = rows[trace.voltage_v[rows] >= CELL_WINDOWS[Dimension.VOLTAGE].low]
    known = known if len(known) else rows
    return int(known[np.argmin(trace.voltage_v[known])]) if len(known) else None


def _over_full(trace: Trace, result: TraceResult, occasion: Occasion) -> Reading | str | None:
    """The highest voltage where it is, or may be, an over-charge that no charge in the trace tells of."""
    row = int(np.argmax(trace.voltage_v))
    value = _row_voltage(trace, row, slice(row, row + 1), occasion)
    charged = any(s.first <= row < s.stop for steps in _groups(result.steps) for s in steps)
    if value.value <= occasion.doubt_v or value.high <= occasion.most_v:
        return None
    if charged and value.low > occasion.most_v:
        return None
    return _voltage(value, float(trace.time_s[row]), trace, occasion)


def _row_voltage(trace: Trace, row: int, rows: slice, occasion: Occasion) -> Measured:
    """The voltage of a row: the meter's limits, the steps the file shows, the scatter of `rows` around it."""
    volts = trace.voltage_v[rows]
    value = float(trace.voltage_v[row])
    bare = Reading(NEW, occasion.cell, Quantity.VOLTAGE, occasion.ended_at, value, meter=occasion.meter)
    seen = max(
        shown_step(trace.voltage_v) / math.sqrt(12.0), roughness(volts, np.ones(len(volts), dtype=bool))
    )
    return Measured(value, math.hypot(measured(bare, occasion.defaults).u, seen))


def _voltage(
    value: Measured,
    time_s: float,
    trace: Trace,
    occasion: Occasion,
    **more: Any,
) -> Reading | str:
    if not _fits(value.value, Dimension.VOLTAGE):
        volts = show(value.value, Dimension.VOLTAGE)
        return f"no voltage is recorded: {volts} cannot be a cell's, leads crossed? measure it by hand"
    return Reading(
        id=NEW,
        cell=occasion.cell,
        quantity=Quantity.VOLTAGE,
        at=occasion.moment(trace, time_s),
        value=value.value,
        meter=occasion.meter,
        u=value.u,
        **more,
    )


def _groups(steps: tuple[Step, ...]) -> list[list[Step]]:
    """Charge steps that are not pulses, those of one charge together."""
    groups: list[list[Step]] = []
    open_group = False
    for step in steps:
        # A short charge step may be a pulse of a resistance test, unless a charge is already going on.
        if step.kind is StepKind.CHARGE and (open_group or step.duration_s > PULSE_S):
            if open_group:
                groups[-1].append(step)
            else:
                groups.append([step])
            open_group = True
        elif step.kind is StepKind.DISCHARGE or step.duration_s > _PAUSE_S:
            open_group = False
    return groups


def _came_out_ah(steps: tuple[Step, ...], charge: Step) -> float:
    """What was discharged between a charge and the next one."""
    after = steps[steps.index(charge) + 1 :]
    until = takewhile(lambda s: s.kind is not StepKind.CHARGE or s.duration_s <= PULSE_S, after)
    return -sum(s.charge_ah for s in until)


def _charge(trace: Trace, result: TraceResult, steps: list[Step], occasion: Occasion) -> Charge:
    rows = slice(steps[0].first, steps[-1].stop)
    top_v, put_in_ah = float(trace.voltage_v[rows].max()), sum(step.charge_ah for step in steps)
    meter, defaults = occasion.meter, occasion.defaults
    volts = (meter.voltage if meter else None) or defaults.voltage
    counted = (meter.capacity if meter else None) or defaults.capacity
    # What came out again went into no short, whatever is printed on the cell.
    gone = put_in_ah > occasion.explained * _came_out_ah(result.steps, steps[-1])
    # Only surely over-charged is an end that condemns; a top within U of that holds by its own reading.
    close = top_v - COVERAGE_FACTOR * volts.u(top_v) <= occasion.most_v
    peak_c, _ = steady_peak(trace, rows)
    return Charge(
        id=NEW,
        cell=occasion.cell,
        at=occasion.moment(trace, steps[-1].end_s),
        current_a=float(np.quantile(np.abs(trace.current_a[rows]), _HIGHEST)),
        until_v=min(top_v, occasion.most_v) if close else top_v,
        # The last row's current tells whether the charge ran to its end or was taken off early.
        end_current_a=abs(float(trace.current_a[steps[-1].stop - 1])),
        peak_temperature_c=peak_c,
        put_in_ah=put_in_ah if gone else None,
        put_in_u=counted.u(put_in_ah) if gone else None,
    )
