"""Rest, charge and discharge found in straight-line curves whose charge is known by arithmetic."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from tests.traces.helpers import trace_of

from straycell.traces import StepKind, Trace
from straycell.traces.analyse.steps import analyse

REST, LOAD, CHARGE = (100.0, 0.0, 4.15, 4.15), (3600.0, -2.0, 4.0, 3.0), (1800.0, 1.5, 3.3, 4.2)


def test_steps_come_in_order_and_hold_every_row_once() -> None:
    """Rest, discharge, rest, charge; rows are shared out without a hole."""
    steps = analyse(trace_of([REST, LOAD, REST, CHARGE], spacing_s=10)).steps
    assert [s.kind for s in steps] == [StepKind.REST, StepKind.DISCHARGE, StepKind.REST, StepKind.CHARGE]
    assert steps[0].first == 0
    assert all(a.stop == b.first for a, b in pairwise(steps))


def test_each_step_carries_its_own_charge() -> None:
    """2 A for an hour out, 1.5 A for half an hour in."""
    steps = analyse(trace_of([REST, LOAD, REST, CHARGE], spacing_s=10)).steps
    assert steps[1].charge_ah == pytest.approx(-2.0, rel=2e-3)
    assert steps[3].charge_ah == pytest.approx(0.75, rel=4e-3)
    assert steps[1].energy_wh == pytest.approx(-2.0 * 3.5, rel=2e-3)
    assert steps[0].charge_ah == pytest.approx(0.0, abs=0.003)


def test_a_gap_between_steps_is_not_integrated() -> None:
    """Ten minutes without a row between a discharge and the rest after it add nothing."""
    whole = trace_of([REST, LOAD, REST], spacing_s=10)
    later = np.where(whole.time_s > 3700.0, whole.time_s + 600.0, whole.time_s)
    with_gap = Trace(later, whole.voltage_v, whole.current_a)
    before, after = (analyse(t).steps[1].charge_ah for t in (whole, with_gap))
    assert after == pytest.approx(before, rel=2e-3)


def test_a_gap_inside_a_step_is_found_and_left_out() -> None:
    """Half of a discharge lost: half of its charge, and the row after the hole is named."""
    whole = trace_of([REST, LOAD], spacing_s=10)
    kept = (whole.time_s < 1000) | (whole.time_s > 2800)
    found = analyse(Trace(whole.time_s[kept], whole.voltage_v[kept], whole.current_a[kept]))
    assert len(found.gap_rows) == 1
    assert found.trace.time_s[found.gap_rows[0]] == pytest.approx(2810.0)
    assert found.steps[1].charge_ah == pytest.approx(-1.0, rel=0.02)


def test_rows_that_thin_out_are_no_gap() -> None:
    """Many instruments write every second at first and every minute later."""
    time = np.concatenate((np.arange(0, 60, 1.0), np.arange(60, 3600, 60.0), [3590.0]))
    trace = Trace(np.sort(time), np.linspace(4.1, 3.0, len(time)), np.full(len(time), -1.0))
    assert not len(analyse(trace).gap_rows)


def test_a_jump_of_the_load_begins_another_step() -> None:
    """0.2 A for 10 s, then 1 A: two steps of discharge."""
    steps = analyse(trace_of([(20.0, 0.0, 4.0, 4.0), (10.0, -0.2, 3.99, 3.98), (5.0, -1.0, 3.9, 3.89)])).steps
    assert [round(s.current_a, 2) for s in steps] == [0.0, -0.2, -1.0]
    assert [s.duration_s for s in steps] == pytest.approx([20.0, 10.0, 5.0])


def test_a_load_that_falls_slowly_is_one_step() -> None:
    """A resistor's current follows the voltage; that is no new step."""
    time = np.arange(0.0, 3600.0, 10.0)
    volts = np.linspace(4.1, 3.0, len(time))
    assert len(analyse(Trace(time, volts, -volts / 4.0)).steps) == 1


def test_small_currents_beside_a_large_one_are_rest() -> None:
    """A hundredth of an ampere beside 30 A is the instrument's zero."""
    steps = analyse(trace_of([(60.0, 0.01, 4.1, 4.1), (60.0, -30.0, 4.0, 3.9), (60.0, 0.01, 4.0, 4.0)])).steps
    assert [s.kind for s in steps] == [StepKind.REST, StepKind.DISCHARGE, StepKind.REST]


def test_the_instruments_own_steps_are_kept_apart() -> None:
    """Two discharges at the same current stay two when the file says so."""
    trace = trace_of([(60.0, -1.0, 4.0, 3.9), (60.0, -1.0, 3.9, 3.8)])
    step = np.where(trace.time_s <= 60.0, 1, 2)
    named = Trace(trace.time_s, trace.voltage_v, trace.current_a, step=step)
    assert [s.rows for s in analyse(named).steps] == [61, 60]
    assert len(analyse(trace).steps) == 1


def test_the_time_in_step_settles_the_onset() -> None:
    """The first row comes 7 s late, yet the file says when the step began: nothing is left open."""
    time = np.array([0.0, 10.0, 27.0, 30.0, 40.0, 50.0])
    amps = np.array([0.0, 0.0, -1.0, -1.0, -1.0, -1.0])
    in_step = np.array([0.0, 10.0, 7.0, 10.0, 20.0, 30.0])
    trace = Trace(time, np.array([4.1, 4.1, 4.0, 3.99, 3.98, 3.97]), amps, step_time_s=in_step)
    step = analyse(trace).steps[1]
    assert step.onset_s == pytest.approx(20.0)
    assert step.open_start_s == 0.0
    assert step.charge_ah == pytest.approx(-30.0 / 3600)


def test_a_free_running_logger_shares_the_time_between_two_steps() -> None:
    """Rows every 10 s whatever happens: the load began somewhere between two of them, half is counted."""
    time = np.arange(0.0, 200.0, 10.0)
    amps = np.where(time >= 50.0, -1.0, 0.0)
    steps = analyse(Trace(time, np.where(amps < 0, 3.9, 4.0), amps)).steps
    assert steps[1].charge_ah == pytest.approx(-(140.0 + 5.0) / 3600)
    assert steps[1].open_start_s == pytest.approx(10.0)


@given(
    factor=st.floats(0.01, 100.0),
    spacing=st.sampled_from([1.0, 5.0, 10.0]),
    seconds=st.integers(100, 2000),
)
def test_charge_scales_with_the_current(factor: float, spacing: float, seconds: int) -> None:
    """Twice the current, twice the charge and energy, in the same steps."""
    trace = trace_of([REST, (float(seconds), -1.0, 4.0, 3.5), REST], spacing_s=spacing)
    more = Trace(trace.time_s, trace.voltage_v, trace.current_a * factor)
    for one, other in zip(analyse(trace).steps, analyse(more).steps, strict=True):
        assert other.charge_ah == pytest.approx(one.charge_ah * factor, rel=1e-9, abs=1e-12)
        assert other.energy_wh == pytest.approx(one.energy_wh * factor, rel=1e-9, abs=1e-12)


@given(shift=st.floats(0.0, 1e6))
def test_when_the_recording_began_does_not_matter(shift: float) -> None:
    """A later zero of the clock gives the same steps and charges, but for the very first rows."""
    trace = trace_of([REST, LOAD, REST], spacing_s=10)
    later = Trace(trace.time_s + shift, trace.voltage_v, trace.current_a)
    found = [s.charge_ah for s in analyse(later).steps]
    assert found == pytest.approx([s.charge_ah for s in analyse(trace).steps], rel=1e-6, abs=1e-9)


@given(st.lists(st.sampled_from([REST, LOAD, CHARGE]), min_size=1, max_size=6))
def test_the_steps_add_up_to_the_whole(parts: list[tuple[float, float, float, float]]) -> None:
    """Rows in steps are all rows; the sum of charges is that of the parts."""
    trace = trace_of(parts, spacing_s=10)
    steps = analyse(trace).steps
    assert sum(s.rows for s in steps) == trace.rows
    expected = sum(seconds * amps for seconds, amps, *_ in parts) / 3600
    assert sum(s.charge_ah for s in steps) == pytest.approx(expected, abs=0.02)
