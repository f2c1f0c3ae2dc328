"""The uncertainty budget against the uncertainties library and a figure others computed."""

from __future__ import annotations

import math

import pytest
from tests.traces.helpers import Reduce, trace_of
from uncertainties import ufloat

from straycell.meters import Accuracy
from straycell.traces.analyse.budget import Instrument, combined, resistance_lines

SQRT3, SQRT12 = math.sqrt(3), math.sqrt(12)


def instrument(
    gain_v: float = 0.0, offset_v: float = 0.0, gain_a: float = 0.0, row_v: float = 0.0, row_a: float = 0.0
) -> Instrument:
    return Instrument(Accuracy(gain_v, offset_v), Accuracy(gain_a), row_v, row_a, 0.0, 0.0, False, False)


def test_a_resistance_of_two_voltages_meets_four_other_libraries() -> None:
    """4.182 V and 4.104 V with u = 1 mV, 30 A with u = 0.03 A: u(R) = 4.7212e-5 ohm.

    uncertainties, GTC, metrolopy and suncal agree on that figure.
    """
    r_ohm = (4.182 - 4.104) / 30
    made = instrument(row_v=0.001, gain_a=0.03 * SQRT3 / 30)
    assert combined(r_ohm, resistance_lines(r_ohm, 30.0, made, 0.0, 0.0)).u == pytest.approx(
        4.7212e-5, rel=1e-4
    )


def test_a_shared_offset_cancels_and_a_shared_gain_does_not() -> None:
    """The same errors put through the uncertainties library, with both voltages from one meter."""
    made = instrument(gain_v=0.004, offset_v=0.02, gain_a=0.01, row_v=0.0003, row_a=0.002)
    gain, offset, amp_gain = ufloat(1, 0.004 / SQRT3), ufloat(0, 0.02 / SQRT3), ufloat(1, 0.01 / SQRT3)
    first = ufloat(4.15, 0.0003) * gain + offset
    second = ufloat(4.02, 0.0003) * gain + offset
    amps = (ufloat(2.0, 0.002) - ufloat(0.0, 0.002)) * amp_gain
    r = (first - second) / amps
    lines = resistance_lines(r.nominal_value, 2.0, made, 0.0, 0.0)
    assert combined(r.nominal_value, lines).u == pytest.approx(r.std_dev, rel=1e-6)
    assert next(line for line in lines if "offset" in line.source).u == 0.0


def test_capacity_and_energy_meet_the_uncertainties_library(reduce: Reduce, meter: object) -> None:
    """Gain and zero of the current, gain and offset of the voltage, on a straight discharge of an hour at 2 A."""
    result = reduce(trace_of([(600.0, 0.0, 4.17, 4.17), (3600.0, -2.0, 4.05, 3.0)], spacing_s=1.0))
    lines = {(line.figure, line.source): line.u for line in result.budget}
    amp_gain, zero_ah = ufloat(1, 0.005 / SQRT3), ufloat(0, 0.001 / SQRT3)
    volt_gain, volt_offset = ufloat(1, 0.001 / SQRT3), ufloat(0, 0.002 / SQRT3)
    q = result.capacity.value * amp_gain + zero_ah
    mean_v = result.energy.value / result.capacity.value
    e = q * (mean_v * volt_gain + volt_offset)
    for figure, made in (("capacity_ah", q), ("energy_wh", e)):
        instrument_lines = [
            u
            for (of, source), u in lines.items()
            if of == figure and source.split()[0] in ("gain", "zero", "offset")
        ]
        assert math.sqrt(sum(u**2 for u in instrument_lines)) == pytest.approx(made.std_dev, rel=1e-3)


def test_the_cutoffs_own_uncertainty_follows_the_slope(reduce: Reduce) -> None:
    """A fall of 1.05 V an hour at 2 A moves the end by 2 / 1.05 Ah a volt."""
    result = reduce(trace_of([(600.0, 0.0, 4.17, 4.17), (3600.0, -2.0, 4.05, 3.0)], spacing_s=1.0))
    line = next(x for x in result.budget if x.figure == "capacity_ah" and x.source.startswith("cut-off"))
    u_v = math.sqrt((0.001 * 3 / SQRT3) ** 2 + (0.002 / SQRT3) ** 2 + (0.001 / SQRT12) ** 2)
    assert line.u == pytest.approx(u_v * 2 / 1.05, rel=0.03)


def test_every_figure_is_the_root_sum_of_its_lines(reduce: Reduce) -> None:
    """Nothing is in U that is not in the budget."""
    result = reduce(trace_of([(600.0, 0.0, 4.17, 4.17), (3600.0, -2.0, 4.05, 3.0)], spacing_s=1.0))
    figures = {
        "capacity_ah": result.capacity,
        "energy_wh": result.energy,
        "dc_resistance_ohm": result.dc_resistance.resistance,
    }
    for name, figure in figures.items():
        lines = [line for line in result.budget if line.figure == name]
        assert len(lines) >= 6
        assert figure.u == pytest.approx(math.sqrt(sum(line.u**2 for line in lines)))
        assert all(line.source and line.value for line in lines)
