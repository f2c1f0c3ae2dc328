"""Recorded and model curves from outside the project (sources in tests/reference/traces/README.md)."""

from __future__ import annotations

import json
from typing import Any

import numpy as np
import pytest
from tests.traces.helpers import REFERENCE, Reduce

from straycell.cells import Chemistry
from straycell.physics.derating import shape_range
from straycell.physics.shipped import shipped
from straycell.traces import StepKind, Trace, read_trace
from straycell.traces.analyse.steps import analyse

COUNTER_AH = (30.33, 30.34, 30.30, 30.29)
"""The cycler's own counter at the end of the discharges of cycles 2 to 5."""
NET_COUNTER_AH = 30.48
PULSES = {
    # number: (Ah out, V at rest, milliohm at 0.5, 10 and 29.5 s), from the file's rows alone,
    # (V_rest - V) / I, as tests/reference/traces/README.md says
    1: (0.00, 4.182, (1.767, 2.600, 3.333)),
    2: (3.19, 4.086, (1.566, 2.133, 2.632)),
    4: (9.55, 3.984, (1.533, 2.000, 2.433)),
    6: (15.91, 3.909, (1.566, 2.033, 2.499)),
    8: (22.28, 3.802, (1.566, 2.033, 2.566)),
    10: (28.64, 3.531, (1.666, 2.533, 3.932)),
}
FIGURES: dict[str, Any] = json.loads((REFERENCE / "pybamm" / "figures.json").read_text())
CUTOFFS = {"Chen2020": 2.5, "Ai2020": 3.0, "Prada2013": 2.0, "Mohtat2020": 2.8}
DISCHARGES = [name for name in FIGURES if "pair" not in name]
PAIRS = [name for name in FIGURES if "pair" in name]


def without_step_columns(trace: Trace) -> Trace:
    """The same rows as an instrument would write them that knows nothing of steps."""
    return Trace(trace.time_s, trace.voltage_v, trace.current_a)


def discharges_of(trace: Trace, reduce: Reduce) -> list[float]:
    return [run.capacity_ah for run in reduce(trace).runs]


@pytest.mark.parametrize("bare", [False, True])
def test_four_1c_discharges_meet_the_cyclers_counter(bare: bool, reduce: Reduce) -> None:
    """Within 0.1 %, with the cycler's step columns and without them."""
    trace = read_trace(REFERENCE / "pouch-33ah-1c-discharge.csv.gz")
    found = discharges_of(without_step_columns(trace) if bare else trace, reduce)
    assert found == pytest.approx(COUNTER_AH, rel=1e-3)


@pytest.mark.parametrize("cycle", [0, 1, 2, 3])
def test_one_discharge_cut_out_of_the_file_meets_the_counter_too(cycle: int, reduce: Reduce) -> None:
    """A file of one discharge alone: the same charge, yet nothing shows it began full."""
    trace = read_trace(REFERENCE / "pouch-33ah-1c-discharge.csv.gz")
    step = [s for s in analyse(trace).steps if s.kind is StepKind.DISCHARGE][cycle]
    rows = slice(step.first, step.stop)
    alone = Trace(trace.time_s[rows], trace.voltage_v[rows], trace.current_a[rows])
    result = reduce(alone)
    assert result.capacity is not None
    assert result.capacity.value == pytest.approx(COUNTER_AH[cycle], rel=1e-3)
    assert result.at_least
    assert not reduce(alone, charged_just_before=True).at_least


def test_the_discharges_are_complete_and_the_last_is_the_figure(reduce: Reduce) -> None:
    """Each follows a full charge in the file and ends at 3.0 V."""
    result = reduce(read_trace(REFERENCE / "pouch-33ah-1c-discharge.csv.gz"))
    assert [run.at_least for run in result.runs] == [False] * 4
    assert result.capacity is not None
    assert result.capacity.value == pytest.approx(COUNTER_AH[3], rel=1e-3)
    assert not result.at_least
    assert not result.warnings


@pytest.mark.parametrize("bare", [False, True])
def test_net_discharge_of_the_pulse_trace_leaves_gaps_out(bare: bool, reduce: Reduce) -> None:
    """Within 0.5 % of the counter, where integrating every gap blindly is 2.5 % off."""
    trace = read_trace(REFERENCE / "pouch-33ah-hppc-25c.csv.gz")
    result = reduce(without_step_columns(trace) if bare else trace)
    assert result.capacity is not None
    assert result.capacity.value == pytest.approx(NET_COUNTER_AH, rel=5e-3)
    assert not result.at_least
    assert result.run is not None
    rows = slice(result.steps[result.run.first].first - 1, None)
    hours, amps = trace.time_s[rows] / 3600, trace.current_a[rows]
    blind = -float(np.sum(0.5 * (amps[1:] + amps[:-1]) * np.diff(hours)))
    assert blind > 1.02 * NET_COUNTER_AH


@pytest.mark.parametrize("bare", [False, True])
@pytest.mark.parametrize("number", PULSES)
def test_pulse_resistances_are_those_of_the_files_own_rows(number: int, bare: bool, reduce: Reduce) -> None:
    """Within 1 % at 0.5, 10 and 29.5 s, at the charge out and the rest voltage of the table."""
    trace = read_trace(REFERENCE / "pouch-33ah-hppc-25c.csv.gz")
    result = reduce(without_step_columns(trace) if bare else trace)
    out_ah, rest_v, milliohm = PULSES[number]
    own = {pulse.pulse_s: pulse for pulse in result.pulses if pulse.pulse == number}
    found = [own[age].resistance.value * 1000 for age in (0.5, 10.0, 29.5)]
    assert found == pytest.approx(milliohm, rel=0.01)
    assert own[10.0].out_ah == pytest.approx(out_ah, abs=0.03)
    assert result.steps[own[10.0].step - 1].last_v == pytest.approx(rest_v, abs=5e-4)
    assert own[10.0].soc == pytest.approx(1 - out_ah / NET_COUNTER_AH, abs=0.005)


def test_what_a_full_cell_resists_more_is_that_of_the_measured_one(reduce: Reduce) -> None:
    """Its first pulses, full and at nine tenths; nor do its pulses of any charge and length contradict each other."""
    result = reduce(read_trace(REFERENCE / "pouch-33ah-hppc-25c.csv.gz"))
    ohm = {(p.pulse, p.pulse_s): p.resistance.value for p in result.pulses}
    full_over_ninety = shipped("polarisation")["shape"]["full_over_ninety"]
    assert full_over_ninety == pytest.approx(ohm[1, 0.5] / ohm[2, 0.5], abs=0.01)
    half = min((p for p in result.pulses if p.soc), key=lambda p: abs((p.soc or 0.0) - 0.5)).pulse
    for pulse in result.pulses:
        if pulse.soc and pulse.pulse_s in (0.5, 10.0, 29.5) and pulse.soc > 0.05:
            low, high = shape_range(Chemistry.NCA, pulse.pulse_s, (min(pulse.soc, 1.0),) * 2) or (0.0, 0.0)
            assert 0.98 * low <= pulse.resistance.value / ohm[half, pulse.pulse_s] <= high


def test_a_longer_pulse_shows_more_resistance(reduce: Reduce) -> None:
    """Every pulse of the trace grows with its length, so a value without its length means nothing."""
    result = reduce(read_trace(REFERENCE / "pouch-33ah-hppc-25c.csv.gz"))
    for number in range(1, 11):
        values = [pulse.resistance.value for pulse in result.pulses if pulse.pulse == number]
        assert values == sorted(values)
        assert len(values) >= 6


def model_limits(name: str) -> dict[str, float]:
    """The window of a model cell; the iron phosphate one is full at 3.6 V."""
    own = FIGURES[name]["set"]
    return {"cutoff_v": CUTOFFS[own], "full_voltage_v": 3.6 if own == "Prada2013" else 4.2}


@pytest.mark.parametrize("name", DISCHARGES)
def test_capacity_and_energy_meet_the_models_own(name: str, reduce: Reduce) -> None:
    """Within 0.1 % and 0.2 % of what the model itself integrated."""
    result = reduce(read_trace(REFERENCE / "pybamm" / name), **model_limits(name))
    model = max(FIGURES[name]["steps"], key=lambda step: step["capacity_ah"])
    assert result.capacity is not None and result.energy is not None
    assert result.capacity.value == pytest.approx(model["capacity_ah"], rel=1e-3)
    assert result.energy.value == pytest.approx(model["energy_wh"], rel=2e-3)
    assert not result.at_least
    assert result.temperature_c == pytest.approx(25.0)


@pytest.mark.parametrize("name", PAIRS)
def test_the_resistance_pair_meets_the_models_voltages(name: str, reduce: Reduce) -> None:
    """R = (U1 - U2) / (I2 - I1) within 1 %, from the model's voltages at the ends of the two steps (IEC 61960)."""
    result = reduce(read_trace(REFERENCE / "pybamm" / name), **model_limits(name))
    first, second = FIGURES[name]["steps"][1:3]
    expected = (first["last_v"] - second["last_v"]) / (abs(second["last_a"]) - abs(first["last_a"]))
    assert result.dc_resistance is not None
    assert result.dc_resistance.method == "pair"
    assert result.dc_resistance.pulse_s == pytest.approx(1.0)
    assert result.dc_resistance.resistance.value == pytest.approx(expected, rel=0.01)


def test_a_positive_discharge_current_is_turned_round(reduce: Reduce) -> None:
    """One model file was written with the opposite sign; the figures are none the worse, and it is said."""
    trace = read_trace(REFERENCE / "pybamm" / "ai2020-0.5c.csv.gz")
    assert trace.current_a.min() == pytest.approx(-1.14)
    assert any("turned round" in note for note in trace.notes)


def test_the_half_read_pair_in_rows_a_second_apart_still_holds(reduce: Reduce) -> None:
    """A logger that writes one row a second has a single row of the second step, perhaps a younger one: the truth lies
    within U, and the value is no smaller."""
    trace = read_trace(REFERENCE / "pybamm" / "chen2020-iec-pair-50.csv.gz")
    whole = np.flatnonzero(np.abs(trace.time_s - np.round(trace.time_s)) < 1e-6)
    whole = whole[np.append(True, np.diff(trace.time_s[whole]) > 0)]
    coarse = Trace(trace.time_s[whole], trace.voltage_v[whole], trace.current_a[whole])
    fine, rough = (reduce(t, **model_limits("chen2020-iec-pair-50.csv.gz")) for t in (trace, coarse))
    assert rough.dc_resistance.method == "pair"
    true_ohm, found = fine.dc_resistance.resistance.value, rough.dc_resistance.resistance
    assert found.low <= true_ohm <= found.value <= 1.06 * true_ohm
    assert rough.dc_resistance.resistance.u > fine.dc_resistance.resistance.u
