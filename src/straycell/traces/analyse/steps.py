"""Rest, charge and discharge: where a trace's steps lie and what each one carried.

A step is integrated from its onset to its last row; a gap between two steps is not. The onset is the
instrument's own where the file tells the time in step, else the row before when that is no further away than
the step's rows from each other (instruments write a row when a step ends), else the step's first row. Where
nothing ties the rows to the steps (a free-running logger), the time between is shared by both steps.
"""

from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from straycell.traces.read.sign import blocks, rest_limit_a, states
from straycell.traces.read.trace import Floats, Ints, Mask, Trace

_LEVEL_SHARE = 0.2
"""A discharge current that changes by more from one row to the next begins another step."""
_CONTIGUOUS = 3.0
"""A step follows on the row before when that row is at most this many of its own row distances away."""
_GAP_FACTOR = 6.0
_GAP_LEAST_S = 10.0
_GAP_LEAST_SHARE = 0.005
_NEIGHBOURS = 3
_WIDER = 10
"""Rows either side that a gap must stand out from: irregular loggers leave long distances without losing rows."""
# Rows that count from the step's start keep its own distance exactly, apart from the clock's rounding.
_SAME_DISTANCE = 0.02
_CUT_SHORT = 0.9
# Not every step: a pulse of one row or a pause shows nothing of how the instrument starts.
_MOSTLY = 0.9
_FIRST_ROWS = 5


StepKind = StrEnum("StepKind", "REST CHARGE DISCHARGE")
"""What the current did."""


_KIND = {-1: StepKind.DISCHARGE, 0: StepKind.REST, 1: StepKind.CHARGE}


@dataclass(frozen=True, slots=True)
class Step:
    """Rows `first` to `stop` (not included). Charge and energy are negative on discharge.

    `open_start_s` and `open_end_s` say by how much the start and the end may have been missed; `follows` is
    False when rows are missing between the step before and this one. `head_h` before the first row and
    `tail_h` after the last one are counted at the current of that row; `current_a` is the mean of the rows.
    """

    kind: StepKind
    first: int
    stop: int
    onset_s: float
    end_s: float
    current_a: float
    charge_ah: float
    energy_wh: float
    first_v: float
    last_v: float
    open_start_s: float
    open_end_s: float
    follows: bool
    head_h: float
    tail_h: float

    @property
    def duration_s(self) -> float:
        return self.end_s - self.onset_s

    @property
    def rows(self) -> int:
        return self.stop - self.first


@dataclass(frozen=True, eq=False)
class Analysis:
    """A trace cut into steps, with the running charge (Ah) and energy (Wh) by row, gaps left out.

    `gap_rows` are the rows before which rows are missing inside a step.
    """

    trace: Trace
    steps: list[Step]
    running_ah: Floats
    running_wh: Floats
    gap_rows: Ints


def analyse(trace: Trace) -> Analysis:
    """Cut a trace into steps, every row in exactly one, and integrate each (trapezoids between its rows)."""
    state = states(trace.current_a)
    firsts = _first_rows(trace, state)
    stops = np.append(firsts[1:], trace.rows)
    spacing = np.diff(trace.time_s)
    # A gap between two steps belongs to neither: what flowed there nobody recorded.
    inside = np.ones(trace.rows - 1, dtype=bool)
    inside[firsts[1:] - 1] = False
    # Rows missing inside a step are left out of the charge, which then is a lower bound, instead of bridged by a
    # guess.
    gaps = _gaps(trace, spacing, inside, firsts, stops)
    counted = np.where(inside & ~gaps, spacing, 0.0) / 3600
    power = trace.voltage_v * trace.current_a
    running_ah = _running(trace.current_a, counted)
    running_wh = _running(power, counted)
    onset, open_start, follows, shared = _onsets(trace, spacing, firsts, stops)
    open_end = _open_ends(trace, spacing, firsts, stops)
    head_h = (trace.time_s[firsts] - onset - shared) / 3600
    tail_h = np.append(shared[1:], 0.0) / 3600
    charge = running_ah[stops - 1] - running_ah[firsts] + trace.current_a[firsts] * head_h
    energy = running_wh[stops - 1] - running_wh[firsts] + power[firsts] * head_h
    charge += trace.current_a[stops - 1] * tail_h
    energy += power[stops - 1] * tail_h
    fields = (
        firsts,
        stops,
        onset,
        trace.time_s[stops - 1],
        np.add.reduceat(trace.current_a, firsts) / (stops - firsts),
        charge,
        energy,
        trace.voltage_v[firsts],
        trace.voltage_v[stops - 1],
        open_start,
        open_end,
        follows,
        head_h,
        tail_h,
    )
    kinds = [_KIND[kind] for kind in state[firsts].tolist()]
    rows = zip(*(values.tolist() for values in fields), strict=True)
    steps = [Step(kind, *row) for kind, row in zip(kinds, rows, strict=True)]
    return Analysis(trace, steps, running_ah, running_wh, np.flatnonzero(gaps) + 1)


def _running(values: Floats, hours: Floats) -> Floats:
    running: Floats = np.zeros(len(values))
    np.cumsum(0.5 * (values[1:] + values[:-1]) * hours, out=running[1:])
    return running


def _first_rows(trace: Trace, state: Ints) -> Ints:
    """Where the state, the instrument's step or the level of a discharge changes."""
    amps = trace.current_a
    change = np.abs(np.diff(amps))
    # Four rest limits: a current near zero that flickers must not open a step a row.
    jumps = np.flatnonzero(change > 4 * rest_limit_a(amps))
    size = np.maximum(np.abs(amps[jumps]), np.abs(amps[jumps + 1]))
    # Only between two levels of discharge: a charge that tapers at constant voltage changes level all the time.
    jumps = jumps[(state[jumps] < 0) & (state[jumps + 1] < 0) & (change[jumps] > _LEVEL_SHARE * size)]
    firsts = blocks(state, trace.step) if trace.step is not None else blocks(state)
    return np.union1d(firsts, jumps + 1)


def _onsets(trace: Trace, spacing: Floats, firsts: Ints, stops: Ints) -> tuple[Floats, Floats, Mask, Floats]:
    """Each step's onset, how far off it may be, whether it follows on the step before, what the two share."""
    time = trace.time_s[firsts]
    before = np.append(0.0, trace.time_s[firsts[1:] - 1])
    away = time - before
    own = _own_spacing(spacing, firsts, stops)
    near = away <= _CONTIGUOUS * own + 1e-9
    if not away[0] >= 0.0 or trace.time_s[0] < 0:
        near[0] = False
    onset = np.where(near, before, time)
    in_time = _in_time(spacing, firsts, stops, away, own)
    open_start = np.where(in_time, 0.0, np.minimum(away, own))
    open_start[0] = own[0]
    # A free-running logger knows no steps: half of the distance to either is unbiased, and the budget carries the
    # rest.
    shared = np.where(near & ~in_time, away / 2, 0.0) if trace.step is None else np.zeros(len(away))
    shared[0] = 0.0
    # The instrument's own time in step dates the onset to its clock, better than any row distance.
    if trace.step_time_s is not None:
        told = time - trace.step_time_s[firsts]
        fits = np.isfinite(told) & (told >= before - 1e-3 - 0.05 * away) & (told <= time + 1e-9)
        fits[0] = bool(np.isfinite(told[0]) and trace.step_time_s[firsts[0]] <= _CONTIGUOUS * own[0] + 1e-9)
        onset = np.where(fits, np.minimum(told, time), onset)
        # Rounded step times may reach back before the last row of the step before; steps must not overlap.
        onset[1:] = np.maximum(onset[1:], before[1:])
        open_start = np.where(fits, 0.0, open_start)
        shared = np.where(fits, 0.0, shared)
        near = near | (fits & (np.abs(onset - before) <= _CONTIGUOUS * own))
    return onset, open_start, near, shared


def _in_time(spacing: Floats, firsts: Ints, stops: Ints, away: Floats, own: Floats) -> Mask:
    """Steps whose rows count from the row before, at a distance that is theirs and not the rows' before.

    An instrument that starts counting its rows again with each step leaves no doubt when the step began. One that
    cuts the last distance of a step short and then starts again writes a row when a step ends: all its steps count.
    """
    before = np.append(0.0, spacing[np.maximum(firsts[1:] - 2, 0)])
    same = np.abs(away - own) <= _SAME_DISTANCE * own
    anew: Mask = same & (np.abs(before - own) > 0.1 * own) & (before > 0)
    usual = np.append(0.0, own[:-1])
    cut = same & (before < _CUT_SHORT * usual) & (before > 0) & (np.append(0, np.diff(firsts)) > 2)
    single = (stops - firsts == 1) & (away <= (1 + _SAME_DISTANCE) * own)
    tied: Mask = same | single
    if cut.any() and tied[1:].mean() >= _MOSTLY:
        return tied
    return anew


def _own_spacing(spacing: Floats, firsts: Ints, stops: Ints) -> Floats:
    """The usual distance of a step's first rows; a single row takes the distance of the rows before it."""
    # The first rows only: many instruments record densely at first and then more thinly.
    mine = _middle(spacing, firsts, np.minimum(stops - 1, firsts + _FIRST_ROWS))
    earlier = _middle(spacing, np.maximum(firsts - _FIRST_ROWS - 1, 0), firsts - 1)
    own: Floats = np.where(stops - firsts > 1, mine, earlier)
    return np.where(np.isfinite(own), own, 0.0)


def _middle(values: Floats, begin: Ints, end: Ints) -> Floats:
    """The (lower) median of up to _FIRST_ROWS values from `begin` to `end` (not included); infinite for none."""
    places = begin[:, None] + np.arange(_FIRST_ROWS)
    inside = places < end[:, None]
    picked = np.where(inside, values[np.minimum(places, len(values) - 1)], np.inf)
    count = np.maximum(np.count_nonzero(inside, axis=1), 1)
    middle: Floats = np.sort(picked, axis=1)[np.arange(len(begin)), (count - 1) // 2]
    return middle


def _open_ends(trace: Trace, spacing: Floats, firsts: Ints, stops: Ints) -> Floats:
    """How long each step may have gone on after its last row: until its own next row, or the next step's start."""
    last = np.where(stops - firsts > 1, spacing[np.maximum(stops - 2, 0)], np.inf)
    after = np.append(trace.time_s[firsts[1:]] - trace.time_s[stops[:-1] - 1], np.inf)
    if trace.step_time_s is not None and len(firsts) > 1:
        told = trace.time_s[firsts[1:]] - trace.step_time_s[firsts[1:]] - trace.time_s[stops[:-1] - 1]
        after[:-1] = np.where(np.isfinite(told), np.clip(told, 0.0, after[:-1]), after[:-1])
    open_end: Floats = np.minimum(last, after)
    # No neighbour on either side says nothing; infinity would swallow the budget.
    return np.where(np.isfinite(open_end), open_end, 0.0)


def _gaps(trace: Trace, spacing: Floats, inside: Mask, firsts: Ints, stops: Ints) -> Mask:
    """Intervals inside a step far longer than those around them: rows are missing there."""
    # Dense files are checked fast: no distance long enough to be a gap, nothing to look at.
    if not (inside & (spacing >= _GAP_LEAST_S)).any():
        return np.zeros(len(spacing), dtype=bool)
    padded = np.where(inside, spacing, np.nan)
    around = np.full(len(spacing), 0.0)
    known = np.zeros(len(spacing), dtype=np.int64)
    for shift in [s for s in range(-_NEIGHBOURS, _NEIGHBOURS + 1) if s]:
        other = _shifted(padded, shift)
        around = np.fmax(around, other)
        known += np.isfinite(other)
    lasting = trace.time_s[stops - 1] - trace.time_s[firsts]
    whole = np.repeat(lasting, stops - firsts)[1:]
    found: Mask = inside & (spacing > _GAP_FACTOR * around) & (known >= _NEIGHBOURS)
    # Both seconds and share: an hour missing of a day matters, ten seconds of it do not.
    found &= (spacing >= _GAP_LEAST_S) & (spacing > _GAP_LEAST_SHARE * whole)
    for place in np.flatnonzero(found).tolist():
        near = padded[max(0, place - _WIDER) : place + _WIDER + 1].copy()
        near[min(place, _WIDER)] = np.nan
        found[place] = spacing[place] > _GAP_FACTOR * np.nanmax(near)
    return found


def _shifted(values: Floats, shift: int) -> Floats:
    moved = np.full(len(values), np.nan)
    if shift > 0:
        moved[shift:] = values[:-shift]
    else:
        moved[:shift] = values[-shift:]
    return moved
