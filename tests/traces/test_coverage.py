"""Does the stated interval hold the truth as often as it says, and is it no wider than it must be?

1,000 simulated meters, or a quarter of them, each with its own errors within its stated limits, measure a cell whose
capacity and resistance are known in closed form: R0 (20 mohm unless drawn), R1 = 10 mohm, C1 = 2000 F, OCV = 3 + 1.2 SOC,
2.5 Ah. The resistance differs from meter to meter: with one value alone, what the steps of a display do to it
would be no error drawn at random.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pytest
from tests.drawing import few
from tests.physics.physics_tables import head, pulse_ohm
from tests.traces.helpers import Reduce

from straycell.meters import Accuracy, Meter, Resolution
from straycell.traces import Trace

R0_OHM, R1_OHM, C1_F, RATED_AH, SLOPE_V = 0.020, 0.010, 2000.0, 2.5, 1.2
TAU_S = R1_OHM * C1_F
METERS = few(1000)
# Of 1,000 meters 94 % must be within what holds 95 %: as many standard deviations below where fewer are drawn.
LEAST_COVERAGE = 0.95 - 0.01 * (1000 / METERS) ** 0.5
MOST_PADDING = 1.25
Floats = npt.NDArray[np.float64]


@dataclass(frozen=True)
class Limits:
    """What a meter's sheet says, and how its rows come."""

    volt_gain: float = 0.001
    volt_offset: float = 0.002
    volt_step: float = 0.001
    amp_gain: float = 0.005
    zero_ah: float = 0.001
    noise_v: float = 0.0
    spacing_s: float = 10.0
    synchronous: bool = False

    def meter(self) -> Meter:
        steps = Resolution(((float("inf"), self.volt_step),)) if self.volt_step else Resolution()
        return Meter(
            "simulated",
            voltage=Accuracy(self.volt_gain, self.volt_offset),
            voltage_resolution=steps,
            capacity=Accuracy(self.amp_gain, self.zero_ah),
        )


def cell_voltage(soc: float, amps: float, age_s: Floats, r0_ohm: float = R0_OHM) -> Floats:
    """The cell under a constant load, `age_s` after it began; at rest before."""
    age = np.maximum(age_s, 0.0)
    open_circuit = 3 + SLOPE_V * (soc - amps * age / 3600 / RATED_AH)
    drop = np.where(age_s >= 0, amps * r0_ohm, 0.0) + amps * R1_OHM * (1 - np.exp(-age / TAU_S))
    result: Floats = open_circuit - drop
    return result


def true_resistance(age_s: float, r0_ohm: float = R0_OHM) -> float:
    """What a pulse of this length shows, from rest: closed form, the slope of the open-circuit voltage included."""
    return r0_ohm + R1_OHM * (1 - float(np.exp(-age_s / TAU_S))) + SLOPE_V * age_s / 3600 / RATED_AH


def measure(
    limits: Limits, soc: float, amps: float, seconds: float, rng: np.random.Generator, r0_ohm: float = R0_OHM
) -> Trace:
    """One meter's rows: 60 s of rest, then the load; the load stops when the meter shows the cut-off of 3.0 V."""
    gain, offset = rng.uniform(-1, 1, 2) * (limits.volt_gain, limits.volt_offset)
    amp_gain = rng.uniform(-1, 1) * limits.amp_gain
    phase = 0.0 if limits.synchronous else rng.uniform(0, limits.spacing_s)
    time = np.arange(-60 + phase, seconds, limits.spacing_s)
    if limits.synchronous:
        time = np.concatenate(
            (np.arange(-60.0, 0.1, 5.0), np.arange(limits.spacing_s, seconds, limits.spacing_s))
        )
    loaded = time > 0
    volts = cell_voltage(soc, amps, np.where(loaded, time, -1.0), r0_ohm)
    shown_v = volts * (1 + gain) + offset + rng.normal(0, 1, len(time)) * limits.noise_v
    shown_a = -np.where(loaded, amps * (1 + amp_gain), 0.0)
    zero = rng.uniform(-1, 1) * limits.zero_ah / (RATED_AH / amps)
    shown_a = np.where(loaded, shown_a + zero, 0.0)
    if limits.volt_step:
        shown_v = np.round(shown_v / limits.volt_step) * limits.volt_step
    off = np.flatnonzero(loaded & (shown_v <= 3.0))
    stop = int(off[0]) + 1 if len(off) else len(time)
    return Trace(time[:stop] - time[0], shown_v[:stop], shown_a[:stop])


def judge(errors: Floats, expanded: Floats) -> tuple[float, float]:
    """Share of the truths inside the interval, and mean U over the half-width that holds exactly 95 %."""
    inside = float(np.mean(np.abs(errors) <= expanded))
    return inside, float(np.mean(expanded) / np.quantile(np.abs(errors), 0.95))


CAPACITY_CASES = {
    "gain of the current rules": Limits(),
    "rough voltage moves the cut-off": Limits(amp_gain=0.001, volt_offset=0.010),
    "rows a minute apart": Limits(amp_gain=0.001, spacing_s=60.0),
    "zero of the current rules": Limits(amp_gain=0.001, zero_ah=0.020),
    "everything matters": Limits(amp_gain=0.004, volt_offset=0.004, zero_ah=0.008, spacing_s=30.0),
}


@pytest.mark.parametrize("case", CAPACITY_CASES)
def test_the_true_capacity_lies_within_u(case: str, reduce: Reduce) -> None:
    """At least 94 % of 1,000 meters, with U at most 1.25 times what 95 % would take."""
    limits, rng = CAPACITY_CASES[case], np.random.default_rng(20270301)
    true_ah = RATED_AH * (1 - RATED_AH * (R0_OHM + R1_OHM) / SLOPE_V)
    errors, expanded = np.zeros(METERS), np.zeros(METERS)
    for k in range(METERS):
        result = reduce(measure(limits, 1.0, RATED_AH, 4000, rng), meter=limits.meter())
        assert not result.at_least
        errors[k], expanded[k] = result.capacity.value - true_ah, result.capacity.expanded
    coverage, padding = judge(errors, expanded)
    assert coverage >= LEAST_COVERAGE
    assert padding <= MOST_PADDING


RESISTANCE_CASES = {
    "steps of 1 mV rule": Limits(spacing_s=0.1, synchronous=True),
    "gain of the current rules": Limits(spacing_s=0.1, synchronous=True, amp_gain=0.03),
    "gain of the voltage rules": Limits(spacing_s=0.1, synchronous=True, volt_gain=0.02, amp_gain=0.005),
    "scatter no sheet speaks of": Limits(spacing_s=0.1, synchronous=True, noise_v=0.002),
    "rows a second apart, out of time": Limits(spacing_s=1.0),
    "everything matters": Limits(spacing_s=0.5, volt_gain=0.005, amp_gain=0.01, noise_v=0.0005),
}


@pytest.mark.parametrize("case", RESISTANCE_CASES)
def test_the_true_resistance_lies_within_u(case: str, reduce: Reduce) -> None:
    """The same for the resistance after 1 s of 1C from rest."""
    limits, rng = RESISTANCE_CASES[case], np.random.default_rng(20270302)
    errors, expanded = np.zeros(METERS), np.zeros(METERS)
    for k in range(METERS):
        soc = rng.uniform(0.85, 0.95)
        r0_ohm = rng.uniform(0.015, 0.045)
        dc = reduce(measure(limits, soc, RATED_AH, 20, rng, r0_ohm), meter=limits.meter()).dc_resistance
        assert dc.pulse_s == 1.0
        errors[k], expanded[k] = dc.resistance.value - true_resistance(1.0, r0_ohm), dc.resistance.expanded
    coverage, padding = judge(errors, expanded)
    assert coverage >= LEAST_COVERAGE
    assert padding <= MOST_PADDING


PULSE_SETS = ("Chen2020", "ORegan2022", "Ai2020", "Ecker2015", "NCA_Kim2011", "Prada2013")
PHASES = [k / 20 + 0.025 for k in range(20)]


def full_model_ohm(name: str, age_s: Floats) -> Floats:
    """What a pulse at half charge shows by the tables of the full model: straight over the root of the time between
    their 0.5, 1, 10 and 30 s, and from there back to the start."""
    known = (0.5, 1.0, 10.0, 30.0)
    roots, ohms = np.sqrt(known), np.array([pulse_ohm(name, each) for each in known])
    early = ohms[0] - (ohms[1] - ohms[0]) / (roots[1] - roots[0]) * (
        roots[0] - np.sqrt(np.maximum(age_s, 0.0))
    )
    found: Floats = np.where(age_s < known[0], early, np.interp(np.sqrt(np.maximum(age_s, 0.0)), roots, ohms))
    return found


@pytest.mark.parametrize("name", PULSE_SETS)
def test_rows_a_second_apart_show_no_resistance_too_low(name: str, reduce: Reduce) -> None:
    """Free of the load's start, at every phase: the 1 s resistance of the published set lies within U, no side favoured."""
    true_ohm, capacity_ah = pulse_ohm(name, 1.0), head(name).capacity_ah
    errors = []
    for phase in PHASES:
        time = np.arange(-60.0 + phase, 30.0, 1.0)
        amps = np.where(time >= 0, capacity_ah, 0.0)
        volts = 3.7 - amps * full_model_ohm(name, time)
        result = reduce(
            Trace(time - time[0], volts, -amps), meter=Limits(volt_gain=0.0, amp_gain=0.0).meter()
        )
        assert result.dc_resistance is not None and min(p.pulse_s for p in result.pulses) == 1.0
        found = result.dc_resistance.resistance
        assert found.low <= true_ohm <= found.high
        assert any("too coarse for a pulse shorter than 1 s" in note for note in result.notes)
        errors.append(found.value / true_ohm - 1)
    assert abs(float(np.mean(errors))) < 0.01 and min(errors) < 0 < max(errors)


def test_a_lone_row_after_the_load_is_taken_as_too_young(reduce: Reduce) -> None:
    """A row a second after the last one at rest, the next half an hour later: its pulse may be younger than 1 s, so a
    tenth a second of growth is added for the half second that it may lack, and U holds the whole."""
    trace = Trace(
        np.array([0.0, 60.0, 61.0, 1800.0]), np.array([4.17, 4.17, 4.154, 4.02]), np.array([0, 0, -0.4, -0.4])
    )
    found = reduce(trace, meter=Limits().meter()).dc_resistance
    assert found is not None and found.resistance.value == pytest.approx(0.016 / 0.4 * 1.05)
    assert found.resistance.low <= 0.040 and found.resistance.high >= 0.044
