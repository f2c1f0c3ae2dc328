"""Capacity or only "at least", where a discharge begins and ends, which resistance is told."""

from __future__ import annotations

import json

import numpy as np
import pytest
from hypothesis import example, given
from hypothesis import strategies as st
from tests.traces.helpers import Reduce, trace_of

from straycell.cells import Chemistry
from straycell.meters import Accuracy, Meter
from straycell.traces import Trace

FULL_REST = (600.0, 0.0, 4.17, 4.17)
RUN = (3600.0, -2.0, 4.05, 3.0)


def test_from_a_full_rest_to_the_cutoff_is_a_capacity(reduce: Reduce) -> None:
    """2 A for an hour, from 4.17 V at rest to 3.0 V."""
    result = reduce(trace_of([FULL_REST, RUN], spacing_s=10))
    assert result.capacity.value == pytest.approx(2.0, rel=2e-3)
    assert result.energy.value == pytest.approx(2.0 * 3.525, rel=2e-3)
    assert not result.at_least
    assert not result.warnings


def test_rows_below_the_cutoff_are_not_counted(reduce: Reduce) -> None:
    """A straight fall from 4.05 to 3.0 V passes 3.525 V half way."""
    result = reduce(trace_of([FULL_REST, RUN], spacing_s=10), cutoff_v=3.525)
    assert result.capacity.value == pytest.approx(1.0, rel=5e-3)
    assert not result.at_least


def test_a_discharge_that_stops_above_the_cutoff_is_at_least(reduce: Reduce) -> None:
    """The straight fall ends at 3.0 V; asked for 2.5 V, there was more in the cell."""
    result = reduce(trace_of([FULL_REST, RUN], spacing_s=10), cutoff_v=2.5)
    assert result.at_least
    assert "above the cut-off" in " ".join(result.warnings)


def test_a_last_row_just_above_the_cutoff_reached_it(reduce: Reduce) -> None:
    """A slow logger misses the last moment; the voltage's fall gets there before its next row."""
    result = reduce(trace_of([FULL_REST, (3595.0, -2.0, 4.05, 3.002)], spacing_s=10))
    assert not result.at_least
    assert result.capacity.value == pytest.approx(2.0, rel=3e-3)


@pytest.mark.parametrize(("rest_v", "least"), [(4.14, False), (4.12, True), (3.8, True)])
def test_an_opening_rest_near_full_shows_a_full_cell(rest_v: float, least: bool, reduce: Reduce) -> None:
    """4.13 V of 4.20 V is the line."""
    result = reduce(trace_of([(600.0, 0.0, rest_v, rest_v), RUN], spacing_s=10))
    assert result.at_least is least


def test_a_recorded_full_charge_before_makes_it_a_capacity(reduce: Reduce) -> None:
    """The same curve without an opening rest: only the recorded charge can say it was full."""
    trace = trace_of([RUN], spacing_s=10)
    assert reduce(trace).at_least
    assert not reduce(trace, charged_just_before=True).at_least


def test_a_recorded_charge_that_the_rest_contradicts_counts_for_nothing(reduce: Reduce) -> None:
    """The cell rests at 3.6 V: whatever was recorded, it is not full."""
    result = reduce(trace_of([(600.0, 0.0, 3.6, 3.6), (1800.0, -2.0, 3.5, 3.0)]), charged_just_before=True)
    assert result.at_least
    assert "not taken as full" in " ".join(result.warnings)


@pytest.mark.parametrize(("top_v", "end_a", "least"), [(4.2, 0.1, False), (4.1, 0.1, True), (4.2, 1.0, True)])
def test_a_charge_in_the_trace_must_have_ended_full(
    top_v: float, end_a: float, least: bool, reduce: Reduce
) -> None:
    """Up to the full voltage, and down to about a tenth of the capacity an hour."""
    charge = trace_of([(3600.0, 1.0, 3.5, top_v)], spacing_s=10)
    taper = np.linspace(1.0, end_a, 200, dtype=np.float64)
    after = trace_of([(600.0, 0.0, 4.1, 4.1), RUN], spacing_s=10)
    time = np.concatenate((charge.time_s, 3600.0 + 10.0 * np.arange(1.0, 201.0), 5610 + after.time_s))
    volts = np.concatenate((charge.voltage_v, np.full(200, top_v), after.voltage_v))
    amps = np.concatenate((charge.current_a, taper, after.current_a))
    assert reduce(Trace(time, volts, amps)).at_least is least


def test_short_charges_in_between_belong_to_the_discharge(reduce: Reduce) -> None:
    """A pulse of 10 s back into the cell is taken off, and does not end the run."""
    half = (1800.0, -2.0, 4.05, 3.6)
    parts = [FULL_REST, half, (600.0, 0.0, 3.7, 3.7), (10.0, 2.0, 3.75, 3.76), (1800.0, -2.0, 3.6, 3.0)]
    result = reduce(trace_of(parts, spacing_s=5))
    assert len(result.runs) == 1
    assert result.capacity.value == pytest.approx(2.0 - 2.0 * 10 / 3600, rel=2e-3)
    assert not result.at_least


def test_a_pulse_that_dips_below_the_cutoff_does_not_end_the_discharge(reduce: Reduce) -> None:
    """Ten seconds of a heavy load are not the end of the cell."""
    parts = [FULL_REST, (1800.0, -2.0, 4.0, 3.5), (10.0, -8.0, 2.95, 2.9), (1700.0, -2.0, 3.4, 3.0)]
    result = reduce(trace_of(parts, spacing_s=5))
    assert result.capacity.value == pytest.approx((1800 * 2 + 10 * 8 + 1700 * 2) / 3600, rel=3e-3)


def test_the_last_complete_discharge_is_the_figure(reduce: Reduce) -> None:
    """A first one from an unknown state, a full charge, then one that counts."""
    charge = (7200.0, 1.0, 3.3, 4.2)
    hold = (1200.0, 0.15, 4.2, 4.2)
    parts = [(1800.0, -2.0, 3.8, 3.0), charge, hold, FULL_REST, RUN]
    result = reduce(trace_of(parts, spacing_s=10))
    assert [run.at_least for run in result.runs] == [True, False]
    assert result.capacity.value == pytest.approx(2.0, rel=3e-3)
    assert any("2 discharges" in note for note in result.notes)


def test_without_a_meter_the_cautious_default_holds_and_is_said(reduce: Reduce) -> None:
    """5 % of capacity as a limit: U is 5.8 % of the figure at least."""
    result = reduce(trace_of([FULL_REST, RUN], spacing_s=10), meter=None)
    assert result.capacity.expanded >= 2 * 0.05 / np.sqrt(3) * result.capacity.value
    assert "no meter is named" in " ".join(result.warnings)
    half_known = reduce(trace_of([FULL_REST, RUN], spacing_s=10), meter=Meter("dmm", voltage=Accuracy(0.001)))
    assert "'dmm' states no accuracy of capacity" in " ".join(half_known.warnings)


def test_a_resistance_is_told_after_one_second(reduce: Reduce) -> None:
    """From rest at 4.17 V to 4.05 V at 2 A: 60 milliohm, with its length, current and state of charge."""
    dc = reduce(trace_of([FULL_REST, RUN])).dc_resistance
    assert dc.method == "pulse"
    assert dc.resistance.value == pytest.approx(0.060, rel=0.01)
    assert (dc.pulse_s, dc.current_a, dc.soc) == (1.0, pytest.approx(2.0), pytest.approx(1.0))


def test_rows_too_far_apart_give_no_resistance(reduce: Reduce) -> None:
    """Nothing is guessed between rest and a first row after half a minute."""
    result = reduce(trace_of([FULL_REST, RUN], spacing_s=30))
    assert result.dc_resistance is None
    assert any("too far apart" in note for note in result.notes)


def test_a_pair_wins_over_a_pulse(reduce: Reduce) -> None:
    """0.2 It for 10 s, then 1 It for 1 s: (U1 - U2) / (I2 - I1), here 0.1 V over 1.6 A."""
    parts = [
        (60.0, 0.0, 3.8, 3.8),
        (10.0, -0.4, 3.77, 3.76),
        (1.0, -2.0, 3.661, 3.66),
        (60.0, 0.0, 3.7, 3.75),
    ]
    dc = reduce(trace_of(parts, spacing_s=0.5), rated_ah=2.0).dc_resistance
    assert dc.method == "pair"
    # Rows half a second apart leave the step's moment open: the value may move, but not to the flattering side.
    assert 0 <= dc.resistance.value - 0.1 / 1.6 <= 2 * dc.resistance.u


@pytest.mark.parametrize("first", [(30.0, -0.4, 3.77, 3.76), (10.0, -1.0, 3.77, 3.76)])
def test_other_pairs_are_no_iec_pair(first: tuple[float, float, float, float], reduce: Reduce) -> None:
    """Another first length, or another ratio of the currents."""
    parts = [(60.0, 0.0, 3.8, 3.8), first, (1.0, -2.0, 3.66, 3.66), (60.0, 0.0, 3.7, 3.75)]
    assert reduce(trace_of(parts, spacing_s=0.5)).dc_resistance.method == "pulse"


def test_the_temperature_comes_from_the_file_or_the_person(reduce: Reduce) -> None:
    """The mean over the discharge where the file has a column, else what was given."""
    trace = trace_of([FULL_REST, RUN], spacing_s=10)
    warm = Trace(trace.time_s, trace.voltage_v, trace.current_a, np.where(trace.current_a < 0, 28.0, 20.0))
    assert reduce(warm, temperature_c=5.0).temperature_c == pytest.approx(28.0, abs=0.1)
    assert reduce(trace, temperature_c=5.0).temperature_c == 5.0
    assert reduce(trace).temperature_c is None


def test_the_json_has_the_fixed_keys_and_no_numpy(reduce: Reduce) -> None:
    """What scripts rely on; json itself refuses anything that is no plain number."""
    told = json.loads(json.dumps(reduce(trace_of([FULL_REST, RUN])).to_json()))
    assert set(told["capacity_ah"]) == {"value", "expanded_uncertainty"}
    assert {"energy_wh", "dc_resistance_ohm", "pulses", "at_least", "warnings", "budget"} <= set(told)
    assert {"pulse_s", "soc", "resistance_ohm"} <= set(told["pulses"][0])
    assert {"figure", "source", "value", "u"} == set(told["budget"][0])


def test_no_discharge_gives_no_figure(reduce: Reduce) -> None:
    """A charge alone has no capacity, and says so."""
    result = reduce(trace_of([(3600.0, 1.0, 3.5, 4.2)]))
    assert (result.capacity, result.energy, result.at_least) == (None, None, True)
    assert result.to_json()["capacity_ah"] is None


@example(low=2.0, high=2.9921875)
@given(low=st.floats(2.0, 4.0), high=st.floats(2.0, 4.0))
def test_a_higher_cutoff_never_gives_more(reduce: Reduce, low: float, high: float) -> None:
    """Capacity falls as the cut-off rises; a lower bound lacks what a run to its cut-off had after its last row."""
    low, high = sorted((low, high))
    trace = trace_of([FULL_REST, RUN], spacing_s=30)
    more, less = reduce(trace, cutoff_v=low), reduce(trace, cutoff_v=high)
    beyond_ah = less.run.open_end_ah if more.at_least else 0.0
    assert less.capacity.value <= more.capacity.value + beyond_ah + 1e-9


@given(gain=st.floats(0.0, 0.1), more=st.floats(0.0, 0.1), offset=st.floats(0.0, 0.05))
def test_a_worse_meter_never_narrows_the_interval(
    reduce: Reduce, gain: float, more: float, offset: float
) -> None:
    """U of every figure grows with each limit of error."""
    trace = trace_of([FULL_REST, RUN])

    def figures(g: float, o: float) -> list[float]:
        meter = Meter("m", voltage=Accuracy(g, o), capacity=Accuracy(g, o))
        result = reduce(trace, meter=meter)
        return [result.capacity.u, result.energy.u, result.dc_resistance.resistance.u]

    better, worse = figures(gain, offset), figures(gain + more, 2 * offset)
    assert all(b <= w + 1e-15 for b, w in zip(better, worse, strict=True))


@given(factor=st.floats(0.05, 20.0))
def test_a_cell_of_another_size_gives_the_same_shape(reduce: Reduce, factor: float) -> None:
    """Capacity scales with the current, resistance against it."""
    trace = trace_of([FULL_REST, RUN])
    other = Trace(trace.time_s, trace.voltage_v, trace.current_a * factor)
    one, two = reduce(trace), reduce(other)
    assert two.capacity.value == pytest.approx(one.capacity.value * factor, rel=1e-9)
    assert two.dc_resistance.resistance.value == pytest.approx(
        one.dc_resistance.resistance.value / factor, rel=1e-9
    )


def test_the_chemistry_gives_a_pulse_its_state_of_charge(reduce: Reduce) -> None:
    """3.70 V at rest is 21 to 44 % between the published sets of two chemistries: a wide range, and told as one."""
    trace = trace_of([(6000.0, 0.0, 3.70, 3.70), (30.0, -2.0, 3.6, 3.55), (60.0, 0.0, 3.65, 3.69)])
    pulse = next(p for p in reduce(trace, chemistry=Chemistry.LCO).pulses if p.pulse_s == 1.0)
    assert pulse.soc_range is not None and pulse.soc is not None
    low, high = pulse.soc_range
    assert low < 0.21 < high
    assert low <= pulse.soc <= high
    assert reduce(trace, chemistry=Chemistry.UNKNOWN).pulses[0].soc is None
    assert reduce(trace).pulses[0].soc is None


def test_a_short_rest_tells_less_of_the_state_of_charge(reduce: Reduce) -> None:
    """Within 90 min the voltage is still moving."""
    spans = []
    for rest_s in (60.0, 6000.0):
        parts = [(rest_s, 0.0, 3.8, 3.8), (30.0, -2.0, 3.7, 3.65), (60.0, 0.0, 3.75, 3.79)]
        found = reduce(trace_of(parts), chemistry=Chemistry.NMC).pulses[0].soc_range
        assert found is not None
        low, high = found
        spans.append(high - low)
    assert spans[0] > spans[1]


def test_rows_missing_outside_the_discharge_are_told_and_do_no_harm(reduce: Reduce) -> None:
    """A hole in the opening rest is a warning, not a doubt about the capacity."""
    whole = trace_of([(3600.0, 0.0, 4.17, 4.17), RUN], spacing_s=10)
    kept = (whole.time_s < 500) | (whole.time_s > 2500)
    result = reduce(Trace(whole.time_s[kept], whole.voltage_v[kept], whole.current_a[kept]))
    assert not result.at_least
    assert any("rows are missing before line 51" in warning for warning in result.warnings)
