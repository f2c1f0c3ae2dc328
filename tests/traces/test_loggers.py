"""Loggers as benches have them: noisy zeros, irregular rows, slow rows, rows cut short at the end of a step."""

from __future__ import annotations

import numpy as np
import pytest
from tests.traces.helpers import Reduce, trace_of

from straycell.traces import StepKind, Trace, read_trace
from straycell.traces.analyse.steps import analyse
from straycell.traces.read.noise import scatter
from straycell.traces.read.sign import rest_limit_a
from straycell.traces.read.trace import Floats

REST, LOAD = (300.0, 0.0, 4.19, 4.19), (3500.0, -0.1, 4.1, 3.0)
KINDS = [StepKind.REST, StepKind.DISCHARGE, StepKind.REST]


def noisy(trace: Trace, amps: float, volts: float = 0.0, seed: int = 1) -> Trace:
    """The same rows with a normal error on each."""
    rng, n = np.random.default_rng(seed), trace.rows
    return Trace(
        trace.time_s,
        trace.voltage_v + rng.normal(0, volts, n),
        trace.current_a + rng.normal(0, amps, n),
        step=trace.step,
    )


def irregular(seconds: float, mean_s: float, seed: int = 2) -> Floats:
    """Times with exponential distances, from 0 to `seconds`."""
    rng = np.random.default_rng(seed)
    times = np.cumsum(rng.exponential(mean_s, int(3 * seconds / mean_s)))
    return np.concatenate(([0.0], times[times < seconds - 0.1], [seconds]))


@pytest.mark.parametrize("noise_a", [0.0, 0.0005, 0.001, 0.002])
def test_a_noisy_zero_beside_a_small_load_is_still_a_rest(noise_a: float) -> None:
    """100 mA from a small cell, a zero that scatters by up to 2 mA: three steps, not hundreds."""
    trace = noisy(trace_of([REST, LOAD, REST]), noise_a)
    assert [s.kind for s in analyse(trace).steps] == KINDS


def test_a_zero_that_flickers_by_one_shown_step_is_a_rest() -> None:
    """A display of 10 mA steps shows 0 and 10 mA in turns while nothing flows."""
    taper = np.round(np.linspace(0.5, 0.02, 60), 2)
    amps = np.concatenate((np.tile([0.0, 0.0, 0.0, 0.0, -0.01], 40), taper, np.zeros(40)))
    trace = Trace(np.arange(len(amps), dtype=float), np.linspace(4.1, 4.0, len(amps)), amps)
    assert analyse(trace).steps[0].stop == 200


def test_a_small_steady_load_between_large_pulses_is_no_rest() -> None:
    """0.1 A flows all the time, 1 A in pulses: the pulses are no noise."""
    amps = np.where(np.arange(600) % 20 < 10, -0.1, -1.0)
    assert rest_limit_a(amps) < 0.02
    trace = Trace(np.arange(600.0), np.linspace(4.1, 3.9, 600) + 0.05 * (amps + 0.1), amps)
    assert all(s.kind is StepKind.DISCHARGE for s in analyse(trace).steps)


def test_rows_of_a_minute_that_begin_anew_with_each_step_lose_nothing(reduce: Reduce) -> None:
    """The last distance cut short shows that a row ends each step: 100 mA for 3500 s to within 0.1 %."""
    result = reduce(trace_of([REST, LOAD, REST], spacing_s=60.0))
    assert result.capacity is not None and result.run is not None
    assert result.capacity.value == pytest.approx(0.1 * 3500 / 3600, rel=1e-3)
    assert result.run.open_start_s == 0.0


def test_a_free_running_logger_keeps_its_doubt(reduce: Reduce) -> None:
    """A row every minute whatever happens: up to a minute is missing at the start, and U says so."""
    times = np.arange(23.0, 4100.0, 60.0)
    flows = (times >= 300) & (times < 3800)
    volts = np.where(flows, np.interp(times, [300, 3800], [4.1, 3.0]), 4.19)
    result = reduce(Trace(times, volts, np.where(flows, -0.1, 0.0)))
    true_ah = 0.1 * 3500 / 3600
    assert result.capacity is not None and result.run is not None and result.run.open_start_s > 0
    assert abs(result.capacity.value - true_ah) <= result.capacity.expanded


@pytest.mark.parametrize("mean_s", [1.0, 10.0, 30.0])
@pytest.mark.parametrize("seed", range(5))
def test_rows_at_random_distances_are_no_gaps(mean_s: float, seed: int) -> None:
    """A logger that writes when something changed leaves long distances; nothing is missing."""
    times = irregular(7200.0, mean_s, seed)
    trace = Trace(times, np.linspace(4.1, 3.0, len(times)), np.full(len(times), -1.0))
    assert not len(analyse(trace).gap_rows)
    assert analyse(trace).steps[0].charge_ah == pytest.approx(-2.0, rel=1e-3)


def test_a_real_gap_among_random_distances_is_found() -> None:
    """Ten minutes lost where rows lie 10 s apart on average."""
    times = irregular(7200.0, 10.0)
    times = times[(times < 3000) | (times > 3600)]
    assert (
        len(analyse(Trace(times, np.linspace(4.1, 3.0, len(times)), np.full(len(times), -1.0))).gap_rows) == 1
    )


@pytest.mark.parametrize("even", [True, False])
def test_the_scatter_of_a_row_is_seen_at_any_distances(even: bool) -> None:
    """1 mV put on a smooth curve is found as 1 mV, evenly spaced or not."""
    times = np.arange(0.0, 3000.0) if even else irregular(3000.0, 1.0)
    smooth = Trace(times, 4.1 - 0.3 * times / 3000, np.full(len(times), -1.0))
    trace = noisy(smooth, 0.0, 0.001)
    assert scatter(trace.time_s, trace.voltage_v, [s.first for s in analyse(trace).steps]) == pytest.approx(
        0.001, rel=0.1
    )


@pytest.mark.parametrize(
    ("last_v", "noise_v", "at_least"),
    [
        (3.000, 0.0, False),
        (3.0015, 0.0, False),
        (3.010, 0.0, True),
        (3.010, 0.008, False),
        (3.050, 0.008, True),
    ],
)
def test_a_last_row_within_its_own_scatter_of_the_cut_off_reached_it(
    last_v: float, noise_v: float, at_least: bool, reduce: Reduce
) -> None:
    """A tester that stops at 3.000 V writes its last row a little above; a tenth of a volt is another thing."""
    made = trace_of([REST, (3600.0, -1.0, 4.1, 3.4), REST])
    trace = noisy(made, 0.0, noise_v)
    volts = trace.voltage_v.copy()
    volts[3898:3901] = last_v
    assert reduce(Trace(trace.time_s, volts, trace.current_a)).at_least is at_least


def pulse(ages: list[float], first_v: float | None = None) -> Trace:
    """A rest, then 1 A through 50 mohm + 20 mohm times the root of the time, with rows at these ages."""
    rest = np.arange(0.0, 61.0, 5.0)
    loaded = 4.0 - 0.05 - 0.02 * np.sqrt(np.array(ages))
    if first_v is not None:
        loaded[0] = first_v
    times = np.concatenate((rest, 60.0 + np.array(ages)))
    amps = np.concatenate((np.zeros(len(rest)), np.full(len(ages), -1.0)))
    return Trace(times, np.concatenate((np.full(len(rest), 4.0), loaded)), amps)


def test_between_two_rows_a_pulse_is_read_along_the_root_of_the_time(reduce: Reduce) -> None:
    """Rows at 0.001, 0.6 and 1.9 s: the second's resistance within 0.1 %, where a straight line is 1.5 % off."""
    found = reduce(pulse([0.001, 0.6, 1.9, 3.2, 4.5])).pulses
    assert {p.pulse_s: p.resistance.value for p in found}[1.0] == pytest.approx(0.070, rel=1e-3)


def test_a_row_at_the_very_start_tells_nothing_of_the_pulse(reduce: Reduce) -> None:
    """It may still show the rest voltage: no value at 0.5 s is made up from it."""
    found = reduce(pulse([0.0, 0.9, 1.8, 2.7], first_v=4.0)).pulses
    assert 0.5 not in {p.pulse_s for p in found}


def test_the_same_time_at_a_steps_edge_is_no_coarse_clock() -> None:
    """Short steps, each with a row at its start and its end: every second time stands twice."""
    rows = ["time_s,voltage_v,current_a"]
    for k in range(40):
        amps = -1.0 if k % 2 else 0.0
        rows += [
            f"{10 * k},{4.0 - 0.001 * k + 0.05 * amps:.4f},{amps}",
            f"{10 * k + 10},{4.0 - 0.001 * k + 0.06 * amps:.4f},{amps}",
        ]
    trace = read_trace(("\n".join(rows) + "\n").encode())
    assert not any("coarser" in warning for warning in trace.warnings)
