"""Laws of run time: more load, a higher cut-off, the cold and doubt never make it longer."""

import math

import pytest
from hypothesis import example, given
from hypothesis import strategies as st
from tests.drawing import examples
from tests.physics.asking import asked

from straycell.cells import Chemistry
from straycell.physics.curves import curves_for
from straycell.physics.loads import ConstantCurrent, ConstantPower, Lamps, Profile, ResistiveLoad
from straycell.physics.run_time.duty import march_profile
from straycell.physics.run_time.march import march
from straycell.physics.run_time.runtime import OwnTrace, estimate
from straycell.physics.sources import curve_source
from straycell.quantities import Measured

CHEMISTRIES = st.sampled_from([Chemistry.NMC, Chemistry.LCO, Chemistry.NCA, Chemistry.LMO, Chemistry.LFP])
CAPACITY = st.floats(0.1, 5.0)
RATE = st.floats(0.01, 1.5)
OHM_AH = st.floats(0.01, 0.4)
CUTOFF = st.floats(2.0, 3.9)
TEMPERATURE = st.floats(-20.0, 45.0)
KIND = st.sampled_from(["current", "power", "resistance", "lamps", "profile", "power profile"])
FEW = examples(60)
SLACK = 1.0 + 1e-6
ROUNDS = 1.0 + 1e-3
"""A profile of power is followed step by step from its last whole round on, which leaves a thousandth."""
TURN = 0.015
"""Share of a full run by which low and high may turn: they are a root of summed squares about the expected run, and
just below the voltage at which a cell starts that one changes faster than its neighbours (see runtime.py)."""
STEADY = st.sampled_from(["current", "power", "resistance", "lamps"])


def load_of(kind, amps):
    """A load of about this current at 3.7 V; more `amps` is more load at every voltage."""
    if kind == "current":
        return ConstantCurrent(amps)
    if kind == "power":
        return ConstantPower(3.7 * amps, 0.9)
    if kind == "resistance":
        return ResistiveLoad(3.7 / amps)
    if kind == "lamps":
        return Lamps(24, 0.55, 0.55 / amps, 3.0)
    times = (0.0, 20.0, 300.0)
    if kind == "profile":
        return Profile(times, (3 * amps, 0.8 * amps))
    return Profile(times, power_w=(10 * amps, 3 * amps))


def hours(chemistry, ah, ohm_ah, load, cutoff_v, temperature_c=25.0, u=0.02, **more):
    """One cell's run time."""
    ohm = ohm_ah / ah
    return estimate(
        *asked(
            chemistry,
            Measured(ah, u * ah),
            Measured(ohm, u * ohm),
            load,
            cutoff_v=cutoff_v,
            temperature_c=temperature_c,
            **more,
        )
    )


@FEW
@given(CHEMISTRIES, CAPACITY, OHM_AH, KIND, RATE, st.floats(1.0, 3.0), CUTOFF)
def test_more_load_never_runs_longer(chemistry, ah, ohm_ah, kind, rate, more, cutoff_v):
    """As expected, and as promised under a steady load (a profile ends by rounds, so its low end moves in steps)."""
    light = hours(chemistry, ah, ohm_ah, load_of(kind, rate * ah), cutoff_v)
    heavy = hours(chemistry, ah, ohm_ah, load_of(kind, rate * ah * more), cutoff_v)
    assert heavy.expected_h <= light.expected_h * slack_of(kind)
    assert "profile" in kind or ends_in_order(light, heavy, 1.0 / rate)


def slack_of(kind):
    return ROUNDS if kind == "power profile" else SLACK


def ends_in_order(longer, shorter, full_h):
    """Neither end of the band of the shorter run lies beyond that of the longer one, but for the turn."""
    allowed_h = TURN * full_h
    return shorter.low_h <= longer.low_h + allowed_h and shorter.high_h <= longer.high_h + allowed_h


@FEW
@given(CHEMISTRIES, CAPACITY, OHM_AH, KIND, RATE, CUTOFF, st.floats(0.0, 0.8))
def test_a_higher_cutoff_never_runs_longer(chemistry, ah, ohm_ah, kind, rate, cutoff_v, higher):
    """Expected, for every kind of load."""
    load = load_of(kind, rate * ah)
    low, high = (hours(chemistry, ah, ohm_ah, load, v) for v in (cutoff_v, cutoff_v + higher))
    assert high.expected_h <= low.expected_h * slack_of(kind)


@FEW
@given(CHEMISTRIES, CAPACITY, OHM_AH, STEADY, RATE, st.floats(2.0, 4.15), st.floats(0.0, 0.1))
def test_a_higher_cutoff_promises_no_more_either(chemistry, ah, ohm_ah, kind, rate, cutoff_v, higher):
    """Low and high, up to where a cell hardly starts."""
    load = load_of(kind, rate * ah)
    low, high = (hours(chemistry, ah, ohm_ah, load, v) for v in (cutoff_v, cutoff_v + higher))
    assert ends_in_order(low, high, hours(chemistry, ah, ohm_ah, load_of(kind, 0.1 * ah), 2.0).expected_h)


@FEW
@given(CHEMISTRIES, CAPACITY, OHM_AH, KIND, RATE, CUTOFF, st.floats(-20.0, 25.0), st.floats(-20.0, 25.0))
@example(Chemistry.NMC, 1.0, 0.25, "lamps", 1.0, 2.0, 0.0, 1.0)
def test_a_colder_cell_never_gives_more(chemistry, ah, ohm_ah, kind, rate, cutoff_v, a, b):
    """Expected charge, at two temperatures up to a room's; under a steady load what is promised is no longer either.

    Not the hours: lamps and resistors draw less from the sagging voltage of a cold cell.
    """
    load = load_of(kind, rate * ah)
    cold, warm = (hours(chemistry, ah, ohm_ah, load, cutoff_v, t) for t in sorted((a, b)))
    assert cold.expected_h * cold.mean_a <= warm.expected_h * warm.mean_a * slack_of(kind)
    if kind not in ("lamps", "resistance"):
        assert cold.expected_h <= warm.expected_h * slack_of(kind)
    assert "profile" in kind or cold.low_h <= warm.low_h + TURN * ah / (rate * ah)


@FEW
@given(CHEMISTRIES, CAPACITY, OHM_AH, KIND, RATE, CUTOFF, TEMPERATURE, st.floats(0.0, 0.2))
def test_low_expected_and_high_stand_in_order(chemistry, ah, ohm_ah, kind, rate, cutoff_v, temperature_c, u):
    """And all three are finite and not negative."""
    found = hours(chemistry, ah, ohm_ah, load_of(kind, rate * ah), cutoff_v, temperature_c, u)
    assert 0.0 <= found.low_h <= found.expected_h <= found.high_h < math.inf


@FEW
@given(CHEMISTRIES, CAPACITY, OHM_AH, KIND, RATE, CUTOFF, st.floats(0.0, 0.1), st.floats(0.0, 0.1))
def test_more_doubt_never_promises_more(chemistry, ah, ohm_ah, kind, rate, cutoff_v, u, more):
    """Wider uncertainties never raise the low end (a power profile ends by rounds: within one percent)."""
    load = load_of(kind, rate * ah)
    slack = 1.01 if kind == "power profile" else SLACK
    sure, unsure = (hours(chemistry, ah, ohm_ah, load, cutoff_v, u=x) for x in (u, u + more))
    assert unsure.low_h <= sure.low_h * slack


def run_down(model, kind, amps, cutoff_v):
    """One cell on one curve, whatever kind of load."""
    load = load_of(kind, amps)
    if isinstance(load, Profile):
        return march_profile(model, load, cutoff_v, slow_share=0.3)
    return march(model, load, cutoff_v)


@FEW
@given(st.sampled_from(Chemistry), CAPACITY, st.floats(0.0, 0.4), KIND, RATE, st.floats(0.0, 1.0))
@example(Chemistry.LCO, 1.0, 0.3125, "profile", 0.34375, 0.875)  # ends in its first round
def test_energy_out_is_never_more_than_energy_in(chemistry, ah, ohm_ah, kind, rate, higher):
    """What the load got is at most the integral of the emf over the charge taken out, for every kind of load."""
    for curve in curves_for(chemistry):
        model = curve_source(curve, ah, ohm_ah / ah, 0.03, test_a=0.2 * ah, test_cutoff_v=curve.volts[0])
        run = run_down(model, kind, rate * ah, curve.volts[0] + higher)
        steps = zip(model.x_ah, model.x_ah[1:], model.emf_v, model.emf_v[1:], strict=False)
        held_wh = sum(
            max(0.0, min(b, run.charge_ah) - a) * max(va, vb) for a, b, va, vb in steps if a < run.charge_ah
        )
        assert 0.0 <= run.energy_wh <= held_wh * SLACK


@FEW
@given(CHEMISTRIES, CAPACITY, st.floats(0.0, 0.2), st.floats(0.01, 0.3))
def test_a_profile_gets_its_mean_over_the_time_it_ran(chemistry, ah, ohm_ah, rate):
    """Charge is mean current by time, energy mean power by time, but for what one begun round (300 s) may differ."""
    curve = curves_for(chemistry)[0]
    model = curve_source(curve, ah, ohm_ah / ah, 0.0, test_a=0.2 * ah, test_cutoff_v=curve.volts[0])
    for kind in ("profile", "power profile"):
        load = load_of(kind, rate * ah)
        mean = sum(s * v for s, v in zip(load.durations_s, load.values, strict=False)) / load.period_s
        run = run_down(model, kind, rate * ah, curve.volts[0])
        got = run.charge_ah if kind == "profile" else run.energy_wh
        assert got == pytest.approx(mean * run.hours, rel=0.01, abs=3 * mean * load.period_s / 3600)


@FEW
@given(CAPACITY, OHM_AH, KIND, RATE, st.floats(1.0, 3.0), CUTOFF, st.floats(0.05, 0.5))
def test_more_load_never_runs_longer_on_an_own_trace(ah, ohm_ah, kind, rate, more, cutoff_v, trace_rate):
    """A trace that falls along a line with a knee, noise of a millivolt on it."""
    trace = kneed_trace(ah, trace_rate * ah)
    light, heavy = (
        hours(Chemistry.NMC, ah, ohm_ah, load_of(kind, a), cutoff_v, own_trace=trace)
        for a in (rate * ah, rate * ah * more)
    )
    assert light.basis == "own trace"
    assert heavy.expected_h <= light.expected_h * SLACK
    assert 0.0 <= heavy.low_h <= heavy.expected_h <= heavy.high_h


def kneed_trace(ah, current_a):
    """Invented: 4.1 V falling to 3.4 V, then fast to 2.7 V."""
    share = [k / 200 for k in range(201)]
    volts = [
        4.1 - 0.7 * s - 0.7 * max(0.0, (s - 0.9) / 0.1) ** 2 + 0.001 * (-1) ** k for k, s in enumerate(share)
    ]
    return OwnTrace(tuple(ah * s for s in share), tuple(volts), current_a)


@pytest.mark.parametrize("kind", ["current", "power", "resistance", "lamps", "profile", "power profile"])
def test_the_same_question_gets_the_same_answer(kind):
    """No chance in it."""
    load = load_of(kind, 0.2)
    assert hours(Chemistry.NMC, 2.0, 0.1, load, 3.2) == hours(Chemistry.NMC, 2.0, 0.1, load, 3.2)
