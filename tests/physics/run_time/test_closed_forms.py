"""Run times and relaxations that can be written down exactly, met within 0.1 %."""

import math

import pytest

from straycell.physics.loads import ConstantCurrent, ConstantPower, Profile, ResistiveLoad
from straycell.physics.run_time.duty import approach, march_profile, one_round
from straycell.physics.run_time.march import march
from straycell.physics.sources import SourceModel

WITHIN = 1e-3


def linear_source(full_v=4.2, empty_v=3.0, capacity_ah=2.5, inner_ohm=0.05, lag_h=0.0, points=101):
    """A cell whose emf falls along a straight line."""
    share = [k / (points - 1) for k in range(points)]
    return SourceModel(
        tuple(capacity_ah * s for s in share),
        tuple(full_v - (full_v - empty_v) * s for s in share),
        (inner_ohm,) * points,
        lag_h,
    )


@pytest.mark.parametrize(("seconds", "milliohm"), [(1.0, 20.621), (5.0, 22.879), (10.0, 25.268)])
def test_a_thevenin_cell_relaxes_as_its_exponential_says(seconds, milliohm):
    """R0 20 mohm, R1 10 mohm, C1 2000 F, emf 3 + 1.2 SOC, 2.5 Ah: R0 + R1 (1 - exp(-t/RC)) + slope t / Q."""
    slow = approach(0.0, 1.0, seconds, 0.010 * 2000.0)
    ohm = 0.020 + 0.010 * slow + 1.2 * seconds / 3600.0 / 2.5
    assert 1e3 * ohm == pytest.approx(milliohm, rel=WITHIN)


@pytest.mark.parametrize("cutoff_v", [3.0, 3.3, 3.7])
def test_a_resistor_on_a_linear_curve_takes_a_logarithm_of_time(cutoff_v):
    """dq/dt = (E0 - a q) / (R + r) gives t = (R + r) / a ln(E0 / E1), with E1 = cut-off (R + r) / R."""
    load_ohm, inner_ohm, slope = 10.0, 0.05, 1.2 / 2.5
    end_emf = cutoff_v * (load_ohm + inner_ohm) / load_ohm
    hours = (load_ohm + inner_ohm) / slope * math.log(4.2 / end_emf)
    found = march(linear_source(inner_ohm=inner_ohm), ResistiveLoad(load_ohm), cutoff_v)
    assert found.hours == pytest.approx(hours, rel=WITHIN)


def test_constant_power_on_a_constant_source_takes_charge_over_current():
    """4 V behind 0.1 ohm giving 2 W: I = (E - sqrt(E^2 - 4 r P)) / 2 r, t = Q / I, energy P t."""
    source = SourceModel((0.0, 1.0, 2.0), (4.0, 4.0, 4.0), (0.1, 0.1, 0.1))
    current_a = (4.0 - math.sqrt(16.0 - 0.8)) / 0.2
    found = march(source, ConstantPower(2.0), 2.5)
    assert found.hours == pytest.approx(2.0 / current_a, rel=WITHIN)
    assert found.energy_wh == pytest.approx(2.0 * found.hours, rel=WITHIN)


def test_constant_power_on_a_linear_curve_without_resistance_takes_the_energy_over_the_power():
    """t = integral of E dq / P: a trapezoid of the emf."""
    found = march(linear_source(inner_ohm=0.0), ConstantPower(1.0, efficiency=0.8), 3.3)
    charge_ah = 2.5 * (4.2 - 3.3) / 1.2
    assert found.hours == pytest.approx(charge_ah * (4.2 + 3.3) / 2 * 0.8, rel=WITHIN)


def test_constant_current_on_a_linear_curve_stops_where_emf_less_drop_meets_the_cutoff():
    """q = (E0 - cut-off - I r) / a - I lag."""
    found = march(linear_source(lag_h=0.03), ConstantCurrent(1.0), 3.3)
    charge_ah = (4.2 - 3.3 - 0.05) / (1.2 / 2.5) - 0.03
    assert found.hours == pytest.approx(charge_ah, rel=WITHIN)


def test_a_pack_splits_the_current_between_strings_and_adds_the_voltages():
    """A 2S3P pack under 3 A is one cell under 1 A; under 7.2 W in all each cell gives 1.2 W."""
    cell = linear_source()
    one = march(cell, ConstantCurrent(1.0), 3.3)
    assert march(cell, ConstantCurrent(3.0), 3.3, series=2, parallel=3).hours == pytest.approx(one.hours)
    single = march(cell, ConstantPower(1.2), 3.3)
    assert march(cell, ConstantPower(7.2), 3.3, series=2, parallel=3).hours == pytest.approx(single.hours)


def test_a_load_too_heavy_from_the_start_runs_no_time_at_all():
    """1 A through 1 ohm takes a full 4.2 V cell to 3.2 V at once; 10 W cannot be had from it at all."""
    cell = linear_source(inner_ohm=1.0)
    assert march(cell, ConstantCurrent(1.0), 3.3).hours == 0.0
    assert march(cell, ConstantPower(10.0), 3.3).hours == 0.0


def test_a_profile_that_never_changes_is_a_constant_current():
    """Two equal steps: the same hours as one steady current."""
    cell = linear_source(lag_h=0.03)
    steady = march(cell, ConstantCurrent(0.5), 3.3)
    profile = Profile((0.0, 30.0, 60.0), (0.5, 0.5))
    found = march_profile(cell, profile, 3.3, slow_share=0.4)
    assert found.hours == pytest.approx(steady.hours, rel=WITHIN)
    assert found.energy_wh == pytest.approx(steady.energy_wh, rel=WITHIN)


def test_a_slow_profile_stops_in_the_middle_of_the_step_that_empties_it():
    """8 h at 0.1 A, 16 h at nothing, 2.5 Ah down to 3.0 V: 3 rounds give 2.4 Ah, then 1 h more."""
    cell = linear_source(empty_v=2.4, capacity_ah=3.75, inner_ohm=0.0)
    profile = Profile((0.0, 8 * 3600.0, 24 * 3600.0), (0.1, 0.0))
    found = march_profile(cell, profile, 3.0)
    assert found.hours == pytest.approx(3 * 24.0 + 1.0, rel=WITHIN)
    assert found.charge_ah == pytest.approx(2.5, rel=WITHIN)


def test_a_short_pulse_feels_the_fast_resistance_and_the_average_of_the_slow_one():
    """1 A for 1 s in 100 s against a time constant of 100 s: between fast alone and fast plus slow at 1 A."""
    cycle = one_round(Profile((0.0, 1.0, 100.0), (1.0, 0.0)), 0.5, 1)
    assert 0.5 < max(cycle.felt) < 0.52
    assert cycle.average == pytest.approx(0.01)


def test_a_periodic_slow_state_is_the_one_that_many_rounds_settle_to():
    """The closed form against stepping the same first-order branch for fifty rounds."""
    durations, currents, share, tau = (40.0, 90.0, 20.0), (0.8, 0.1, 0.4), 0.35, 100.0
    state = 0.0
    for _ in range(50):
        felt = []
        for seconds, current in zip(durations, currents, strict=True):
            before, state = state, current + (state - current) * math.exp(-seconds / tau)
            felt.append((1 - share) * current + share * max(before, state))
    cycle = one_round(Profile((0.0, 40.0, 130.0, 150.0), currents), share, 1)
    assert cycle.felt == pytest.approx(felt, rel=1e-9)


def test_a_profile_of_a_hundred_thousand_steps_keeps_its_peak_and_its_mean():
    """A day at one step a second is joined into fewer steps; nothing of the charge is lost."""
    values = [0.02] * 86400
    values[40000] = 1.0
    cycle = one_round(Profile(tuple(float(t) for t in range(86401)), tuple(values)), 0.0, 1)
    assert len(cycle.seconds) <= 400
    assert max(cycle.felt) == 1.0
    assert cycle.average == pytest.approx(sum(values) / 86400, rel=1e-9)


def test_a_cutoff_that_the_lag_alone_reaches_runs_no_time():
    """0.5 A, 0.1 h lag: the surface starts 0.05 Ah in, at 4.2 - 0.024 - 0.025 V, below a cut-off of 4.16 V."""
    cell = linear_source(lag_h=0.1, points=11)
    assert march(cell, ConstantCurrent(0.5), 4.16).hours == 0.0
    assert march(cell, ConstantCurrent(0.5), 4.15).hours == pytest.approx(
        (4.151 - 4.15) / 0.48 / 0.5, rel=WITHIN
    )
