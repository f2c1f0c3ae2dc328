"""Run time: bases, cut-offs, packs, notes, and what is refused."""

import subprocess
import sys
import time

import pytest
from tests.physics.asking import asked

from straycell.cells import Chemistry
from straycell.errors import BadData
from straycell.physics.loads import ConstantCurrent, ConstantPower, Lamps, Profile
from straycell.physics.own_pulses import Taken
from straycell.physics.run_time.runtime import OwnTrace, estimate
from straycell.quantities import Measured

CAPACITY = Measured(2.5, 0.04)
RESISTANCE = Measured(0.05, 0.005)


def run(
    load=None, *, capacity=CAPACITY, resistance=RESISTANCE, chemistry=Chemistry.NMC, cutoff_v=2.75, **more
):
    """A usual cell under a usual load."""
    return estimate(
        *asked(chemistry, capacity, resistance, load or ConstantCurrent(0.13), cutoff_v=cutoff_v, **more)
    )


def test_2500_mah_at_130_ma_runs_about_19_hours():
    """Common practice, no published source: capacity over current, with a cut-off low enough to matter little."""
    found = run()
    assert found.expected_h == pytest.approx(19.0, abs=0.4)
    assert found.low_h < 19.0 < found.high_h


def test_500_mah_at_26_ma_runs_about_19_hours():
    """Common practice, if the current really stays there."""
    found = run(ConstantCurrent(0.026), capacity=Measured(0.5, 0.01), resistance=Measured(0.2, 0.02))
    assert found.expected_h == pytest.approx(19.0, abs=0.5)


def test_a_device_that_stops_at_3_3_v_gets_far_less_than_capacity_over_current():
    """Measured on published sets: capacity over current is wrong by up to 24 % at 3.3 V."""
    found = run(cutoff_v=3.3)
    assert found.low_h < 0.9 * 2.5 / 0.13 < 1.02 * found.expected_h


@pytest.mark.parametrize(
    ("device", "cell", "protection", "stop"),
    [
        (3.2, 2.8, 2.4, "device cut-off"),
        (2.5, 3.0, 2.4, "cell cut-off"),
        (2.0, None, 2.9, "protection cut-off"),
        (3.0, 3.0, 3.0, "device cut-off"),
    ],
)
def test_the_first_cutoff_on_the_way_down_ends_the_run(device, cell, protection, stop):
    """The highest of the three voltages; the device's name on a tie."""
    found = run(cutoff_v=device, cell_cutoff_v=cell, protection_cutoff_v=protection)
    assert found.stop == stop
    highest = max(v for v in (device, cell, protection) if v is not None)
    assert found.expected_h == pytest.approx(run(cutoff_v=highest).expected_h)


def test_a_device_cutoff_is_for_the_whole_string():
    """6.6 V on 2S is 3.3 V a cell; the load of 2S2P is shared by two strings."""
    one = run(ConstantCurrent(0.2), cutoff_v=3.3)
    pack = run(ConstantCurrent(0.4), cutoff_v=6.6, series=2, parallel=2)
    assert pack.expected_h == pytest.approx(one.expected_h)


def test_an_own_trace_is_the_better_basis_and_gives_its_own_run_back():
    """At the trace's own current and cut-off the answer is the trace's own time."""
    share = [k / 100 for k in range(101)]
    trace = OwnTrace(tuple(2.5 * s for s in share), tuple(4.1 - 1.2 * s for s in share), 0.5)
    found = run(ConstantCurrent(0.5), cutoff_v=2.9 + 1e-9, own_trace=trace)
    assert found.basis == "own trace"
    assert found.expected_h == pytest.approx(5.0, rel=0.002)
    assert found.high_h - found.low_h < run(ConstantCurrent(0.5), cutoff_v=3.3).high_h


def test_a_trace_that_stops_early_says_so():
    """What is left below its end is not counted, which is the safe side."""
    share = [k / 100 for k in range(101)]
    trace = OwnTrace(tuple(2.0 * s for s in share), tuple(4.1 - 0.6 * s for s in share), 0.4)
    found = run(ConstantCurrent(0.4), cutoff_v=3.0, own_trace=trace)
    assert any("trace ends at 3.50 V" in note for note in found.notes)
    assert found.expected_h <= 5.1


def test_a_real_discharge_of_thousands_of_points_is_thinned_not_refused():
    """Twenty thousand points give the same answer as two hundred."""
    answers = []
    for points in (200, 20000):
        share = [k / (points - 1) for k in range(points)]
        trace = OwnTrace(
            tuple(2.5 * s for s in share), tuple(4.1 - 0.5 * s - 0.7 * s**12 for s in share), 0.5
        )
        answers.append(run(ConstantCurrent(0.3), cutoff_v=3.2, own_trace=trace).expected_h)
    assert answers[0] == pytest.approx(answers[1], rel=1e-3)


def test_a_trace_of_a_resistive_tester_brings_its_own_currents():
    """A falling current per point is freed point by point."""
    share = [k / 100 for k in range(101)]
    volts = tuple(4.1 - 1.2 * s for s in share)
    trace = OwnTrace(tuple(2.5 * s for s in share), volts, tuple(v / 7.0 for v in volts))
    assert run(ConstantCurrent(0.4), cutoff_v=3.2, own_trace=trace).expected_h > 0


def test_an_unmeasured_resistance_is_assumed_and_said():
    """The low end falls, as the assumption is a wide one."""
    load = ConstantCurrent(1.2)
    found, known = run(load, resistance=None, cutoff_v=3.3), run(load, cutoff_v=3.3)
    assert any("resistance not measured" in note for note in found.notes)
    assert found.low_h < known.low_h


def test_an_unknown_chemistry_is_answered_with_a_wide_band():
    """A verdict forbids the use elsewhere; the answer takes the worst of all curves, lfp too."""
    found = run(chemistry=Chemistry.UNKNOWN, cutoff_v=3.3)
    assert found.low_h <= run(chemistry=Chemistry.LFP, cutoff_v=3.3).low_h
    assert any("chemistry unknown" in note for note in found.notes)


def test_a_charger_that_ends_lower_leaves_less_to_run_on():
    """4.10 V instead of 4.20 V: the top of the curve is missing, several percent of the charge."""
    full, less = run(), run(full_voltage_v=4.10)
    assert 0.80 * full.expected_h < less.expected_h < 0.97 * full.expected_h
    assert run(full_voltage_v=4.20).expected_h == pytest.approx(full.expected_h)


def test_a_one_kilohertz_resistance_counts_for_more_than_a_pulse_of_the_same_figure():
    """A 1 kHz reading is less than the resistance of a pulse (a cell maker's bulletin), so it is scaled up."""
    ac, dc = run(cutoff_v=3.4, taken=Taken(0.0)), run(cutoff_v=3.4, taken=Taken(1.0))
    assert ac.expected_h < dc.expected_h


def test_lamps_on_a_lithium_cell_fade_instead_of_drawing_what_was_measured():
    """Measured 55 mA on 3.0 V; on a lithium cell they start higher and end lower, cut off at 2.6 V."""
    lamps = Lamps(24, 0.55, 10.0, 3.0)
    found = run(lamps, cutoff_v=2.6)
    assert lamps.current_at(4.1) > 2 * lamps.measured_a
    assert found.expected_h < 0.5 * 2.5 / lamps.measured_a


def test_a_duty_cycle_runs_its_mean_but_stops_at_its_peak():
    """2 A for 1 s a minute on 0.05 A: far less than the mean current alone would give at 3.5 V."""
    duty = Profile((0.0, 1.0, 60.0), (2.0, 0.05))
    mean = ConstantCurrent((2.0 + 59 * 0.05) / 60)
    assert run(duty, cutoff_v=3.5).expected_h < 0.95 * run(mean, cutoff_v=3.5).expected_h


def test_cold_costs_and_below_minus_20_nothing_is_promised():
    """A sheet's cell keeps 85 % at 0 degC, the published sets nearly all: low holds for both. No figure below -20."""
    warm, cold, arctic = (run(temperature_c=t, cutoff_v=3.2) for t in (25.0, 0.0, -30.0))
    assert cold.low_h < 0.853 * warm.expected_h < cold.expected_h < 0.95 * warm.expected_h
    assert arctic.low_h == 0.0 and arctic.notes


def test_a_load_the_cell_cannot_bear_says_so():
    """10 A through 0.5 ohm at a cut-off of 3 V."""
    found = run(ConstantCurrent(10.0), resistance=Measured(0.5, 0.01), cutoff_v=3.0)
    assert found.expected_h == found.low_h == 0.0
    assert any("as soon as" in note for note in found.notes)


@pytest.mark.parametrize(
    "bad",
    [
        {"capacity": Measured(0.0, 0.0)},
        {"capacity": Measured(float("nan"), 0.0)},
        {"resistance": Measured(-0.1, 0.0)},
        {"cutoff_v": -1.0},
        {"cutoff_v": float("inf")},
        {"series": 0},
        {"parallel": 0},
        {"temperature_c": 90.0},
        {"chemistry": Chemistry.PRIMARY},
        {"taken": Taken(-1.0)},
        {"full_voltage_v": 2.0},
    ],
)
def test_what_cannot_be_is_refused_with_a_remedy(bad):
    """Each kind of bad figure gets its own message."""
    with pytest.raises(BadData) as caught:
        run(**bad)
    assert caught.value.remedy


@pytest.mark.parametrize(
    ("ah", "volts", "amps"),
    [
        ((0.0, 1.0), (4.0, 3.0), 0.5),
        (tuple(range(12)), (4.0,) * 11, 0.5),
        (tuple(range(12)), (4.0,) * 11 + (float("nan"),), 0.5),
        (tuple(reversed(range(12))), (4.0,) * 12, 0.5),
        (tuple(range(12)), (4.0,) * 12, -0.5),
        ((0.0,) * 12, (4.0,) * 12, 0.5),
    ],
)
def test_a_trace_that_is_no_discharge_is_refused(ah, volts, amps):
    """Too short, uneven, with a hole, running backwards, charging, or empty."""
    with pytest.raises(BadData) as caught:
        OwnTrace(ah, volts, amps)
    assert caught.value.remedy


def test_no_heavy_library_is_loaded_for_one_run_time():
    """estimate() must not cost the import of numpy."""
    code = (
        "import sys; from straycell.physics import charging, resistors, charge_time, protection;"
        "from straycell.physics.run_time import runtime, for_runtime;"
        "sys.exit(any(m in sys.modules for m in ('numpy', 'pandas', 'sqlmodel')))"
    )
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0


@pytest.mark.parametrize("load", [ConstantCurrent(0.13), ConstantPower(0.5)])
def test_one_run_time_takes_milliseconds(load):
    """Generous against a busy machine: the best of twenty within 10 ms."""
    best = 1.0
    for _ in range(20):
        begun = time.perf_counter()
        run(load, cutoff_v=3.3)
        best = min(best, time.perf_counter() - begun)
    assert best < 0.010
