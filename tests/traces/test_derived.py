"""What a trace tells of its cell: which readings, when, and how far they can be trusted."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest
from tests.traces.helpers import REFERENCE, Reduce, trace_of

from straycell.cells import Chemistry
from straycell.meters import Meter
from straycell.physics.curves import OcvCurve, curves_for
from straycell.readings import CautiousDefaults, Charge, Method, Quantity, Reading
from straycell.traces import Trace, read_trace
from straycell.traces.analyse.derived import Occasion, derived_items
from straycell.traces.analyse.own_curve import MOST_POINTS, own_curve

END = datetime(2026, 5, 1, 18, 0, tzinfo=UTC)
REST, PULSE_REST = (600.0, 0.0, 4.18, 4.18), (30.0, 0.0, 3.9, 3.9)
RUN = (7200.0, -0.5, 4.05, 2.99)
CHARGE = [(3600.0, 0.5, 3.7, 4.20), (1200.0, 0.04, 4.20, 4.20)]
Parts = Sequence[tuple[float, float, float, float]]


def derive(
    trace: Trace, reduce: Reduce, meter: Meter | None, defaults: CautiousDefaults, **more: object
) -> tuple[list[Reading | Charge], list[str]]:
    given = {"most_v": 4.25, "doubt_v": 4.22, "rest_s": 5400.0, **more}
    occasion = Occasion("A00001O", END, meter, defaults, **given)  # type: ignore[arg-type]
    return derived_items(trace, reduce(trace), occasion)


def the(items: list[Reading | Charge], quantity: Quantity) -> Reading:
    (found,) = [i for i in items if isinstance(i, Reading) and i.quantity is quantity]
    return found


def test_a_full_run_gives_a_capacity_with_its_conditions_and_its_own_uncertainty(
    reduce: Reduce, meter: Meter, defaults: CautiousDefaults
) -> None:
    """1 Ah in two hours at 0.5 A from a rest at 4.18 V to 3.0 V; its energy beside it."""
    trace = trace_of([REST, RUN, (900.0, 0.0, 3.3, 3.4)])
    items, warnings = derive(trace, reduce, meter, defaults)
    found, result = the(items, Quantity.CAPACITY), reduce(trace)
    assert warnings == []
    assert found.value == pytest.approx(0.5 * 7200 * (4.05 - 3.0) / (4.05 - 2.99) / 3600, rel=2e-3)
    assert found.discharge_current_a == pytest.approx(0.5)
    assert found.cutoff_v == 3.0
    assert (found.from_full, found.at_least, found.meter) == (True, False, meter)
    assert found.u == result.capacity.u if result.capacity else False
    assert found.value is not None
    assert found.energy_wh == pytest.approx(found.value * (4.05 + 3.0) / 2, rel=2e-3)
    assert found.at == END - timedelta(seconds=900) - timedelta(seconds=7200 * 0.01 / 1.06)


@pytest.mark.parametrize(
    ("parts", "from_full", "at_least"),
    [
        ([RUN], False, False),  # a recorded charge can still make a capacity of it
        ([(600.0, 0.0, 3.6, 3.6), RUN], False, True),  # no record of a charge can
        ([REST, (3600.0, -0.5, 4.05, 3.6)], True, True),
        ([*CHARGE, REST, RUN], True, False),
        ([(1800.0, 0.5, 3.7, 3.9), (600.0, 0.0, 3.88, 3.88), RUN], False, True),
    ],
)
def test_what_the_trace_shows_of_its_start_and_end(
    reduce: Reduce, meter: Meter, defaults: CautiousDefaults, parts: Parts, from_full: bool, at_least: bool
) -> None:
    """A start that is not shown is left to the record of charges; one that is denied, or a missing end, is not."""
    items, _ = derive(trace_of(parts), reduce, meter, defaults)
    found = the(items, Quantity.CAPACITY)
    assert (found.from_full, found.at_least) == (from_full, at_least)


def test_a_run_stopped_early_is_recorded_with_the_voltage_it_reached(
    reduce: Reduce, meter: Meter, defaults: CautiousDefaults
) -> None:
    """A cut-off that was never reached would be a false condition."""
    items, _ = derive(trace_of([REST, (3600.0, -0.5, 4.05, 3.6)]), reduce, meter, defaults)
    assert the(items, Quantity.CAPACITY).cutoff_v == pytest.approx(3.6)


def test_a_pulse_gives_a_resistance_with_its_length_and_state_of_charge(
    reduce: Reduce, meter: Meter, defaults: CautiousDefaults
) -> None:
    """(4.18 - 4.05) V over 0.5 A a second after the start, at full."""
    trace = trace_of([REST, RUN])
    found = the(derive(trace, reduce, meter, defaults)[0], Quantity.RESISTANCE)
    assert (found.method, found.pulse_s) == (Method.DC_PULSE, 1.0)
    assert found.value == pytest.approx(0.13 / 0.5, rel=5e-3)
    assert found.soc == pytest.approx(1.0)
    assert found.u is not None and found.u > 0
    assert found.at == END - timedelta(seconds=7199)


@pytest.mark.parametrize("name", ["ai2020-iec-pair-20", "chen2020-iec-pair-50", "mohtat2020-iec-pair-80"])
def test_a_trace_taken_for_its_pulses_gives_a_resistance_and_no_capacity(
    reduce: Reduce, meter: Meter, defaults: CautiousDefaults, name: str
) -> None:
    """Two milliampere-hours out of a cell of hours would be a capacity of nothing."""
    trace = read_trace(REFERENCE / "pybamm" / f"{name}.csv.gz")
    items, _ = derive(trace, reduce, meter, defaults)
    assert [i.quantity for i in items if isinstance(i, Reading)] == [Quantity.RESISTANCE]


def test_a_full_charge_in_the_trace_is_a_charge_without_the_rooms_temperature(
    reduce: Reduce, meter: Meter, defaults: CautiousDefaults
) -> None:
    """Where it went, where it ended, how warm it got; the warming over ambient stays unmeasured."""
    trace = trace_of([*CHARGE, REST, RUN])
    warm = np.where(trace.current_a > 0, 31.0, 24.0)
    trace = Trace(trace.time_s, trace.voltage_v, trace.current_a, warm)
    items, _ = derive(trace, reduce, meter, defaults)
    (charge,) = [i for i in items if isinstance(i, Charge)]
    assert charge.until_v == pytest.approx(4.20)
    assert charge.current_a == pytest.approx(0.5)
    assert charge.end_current_a == pytest.approx(0.04)
    assert (charge.temperature_c, charge.peak_temperature_c) == (None, 31.0)
    assert charge.at == END - timedelta(seconds=600 + 7200)
    assert items[0] is charge


def test_two_charges_with_a_discharge_between_are_two(
    reduce: Reduce, meter: Meter, defaults: CautiousDefaults
) -> None:
    """A pause of some minutes makes no second one; a short pulse is none at all."""
    pulse = (10.0, 0.5, 3.4, 3.5)
    parts = [
        *CHARGE,
        REST,
        RUN,
        PULSE_REST,
        pulse,
        PULSE_REST,
        CHARGE[0],
        (300.0, 0.0, 4.15, 4.15),
        CHARGE[1],
    ]
    items, _ = derive(trace_of(parts), reduce, meter, defaults)
    charges = [i for i in items if isinstance(i, Charge)]
    assert len(charges) == 2
    assert charges[-1].at == END


def test_a_charge_too_close_to_over_charged_is_no_sound_one(
    reduce: Reduce, defaults: CautiousDefaults
) -> None:
    """4.26 V by an instrument good to 31 mV may have been 4.23 V: noise condemns no good cell, and passes none."""
    over = [(3600.0, 0.5, 3.7, 4.26), (1200.0, 0.04, 4.26, 4.26)]
    items, _ = derive(trace_of([*over, REST, RUN]), reduce, None, defaults)
    assert [i.until_v for i in items if isinstance(i, Charge)] == [4.25]
    (top,) = volts_of(items)
    assert top.value == pytest.approx(4.26)
    assert top.u is not None and top.u >= 0.0155


def test_a_charge_clearly_over_is_recorded(reduce: Reduce, meter: Meter, defaults: CautiousDefaults) -> None:
    """4.40 V stays 4.40 V, and is told once."""
    over = [(3600.0, 0.5, 3.7, 4.40), (1200.0, 0.04, 4.40, 4.40)]
    items, warnings = derive(trace_of([*over, REST, RUN]), reduce, meter, defaults)
    assert [i.until_v for i in items if isinstance(i, Charge)] == [pytest.approx(4.40)]
    assert warnings == [] and volts_of(items) == []


@pytest.mark.parametrize(
    ("top_v", "recorded"),
    [(4.20, False), (4.22, False), (4.23, False), (4.246, True), (4.252, True), (4.35, True)],
)
def test_a_voltage_over_full_is_recorded_wherever_the_trace_has_it(
    reduce: Reduce, meter: Meter, defaults: CautiousDefaults, top_v: float, recorded: bool
) -> None:
    """Charged elsewhere, and then run down here: the rest before the run is all that tells of it."""
    parts = [(600.0, 0.0, top_v, top_v), RUN]
    assert meter.voltage is not None and 4.23 < 4.25 - 2 * meter.voltage.u(4.25) < 4.246
    found = volts_of(derive(trace_of(parts), reduce, meter, defaults)[0])
    assert [r.value for r in found] == ([pytest.approx(top_v)] if recorded else [])


def test_full_as_a_coarse_instrument_shows_it_is_left_alone(
    reduce: Reduce, defaults: CautiousDefaults
) -> None:
    """4.22 V good to 36 mV may be 4.256 V; a charger within its tolerance ends there."""
    for top_v, count in ((4.22, 0), (4.225, 1)):
        items, _ = derive(trace_of([(600.0, 0.0, top_v, top_v), RUN]), reduce, None, defaults)
        assert len(volts_of(items)) == count


@pytest.mark.parametrize(("out_ah", "counted"), [(0.0, True), (0.45, True), (0.48, False), (1.0, False)])
def test_what_went_in_and_did_not_come_out_is_recorded_with_the_charge(
    reduce: Reduce, meter: Meter, defaults: CautiousDefaults, out_ah: float, counted: bool
) -> None:
    """0.5 Ah, then 0.04 A for 20 min, 0.513 Ah: with the instrument's uncertainty, else the cautious one."""
    put_in_ah = 0.5 + 0.04 / 3.0
    run = [(out_ah * 7200.0, -0.5, 4.05, 3.5)] if out_ah else []
    trace = trace_of([*CHARGE, REST, *run, REST, CHARGE[0]])
    for instrument, accuracy in ((meter, meter.capacity), (None, defaults.capacity)):
        items, _ = derive(trace, reduce, instrument, defaults, explained=1.1)
        charge = next(i for i in items if isinstance(i, Charge))
        assert charge.put_in_ah == (pytest.approx(put_in_ah, rel=2e-3) if counted else None)
        expected_u = accuracy.u(put_in_ah) if accuracy is not None else None
        assert charge.put_in_u == (pytest.approx(expected_u, rel=2e-3) if counted else None)


@pytest.mark.parametrize(("rest_s", "recorded"), [(5300.0, False), (5500.0, True)])
def test_a_long_rest_after_a_charge_tells_what_is_missing(
    reduce: Reduce, meter: Meter, defaults: CautiousDefaults, rest_s: float, recorded: bool
) -> None:
    """Its end with its rest and temperature; shorter than the rules' rest it is none, and after a run it is not asked."""
    rest = (rest_s, 0.0, 4.19, 3.80)
    trace = trace_of([*CHARGE, rest])
    trace = Trace(trace.time_s, trace.voltage_v, trace.current_a, np.full(trace.rows, 24.0))
    found = volts_of(derive(trace, reduce, meter, defaults, floor_v=2.0)[0])
    assert [r.value for r in found] == ([pytest.approx(3.80)] if recorded else [])
    assert all(r.temperature_c == pytest.approx(24.0) for r in found)
    assert all(r.rested_s == pytest.approx(rest_s, abs=2.0) and r.at == END for r in found)
    after_run = trace_of([*CHARGE, REST, RUN, (rest_s, 0.0, 3.2, 3.3)])
    assert volts_of(derive(after_run, reduce, meter, defaults, floor_v=2.0)[0]) == []


def test_nothing_is_placed_before_the_charge_that_came_first(
    reduce: Reduce, meter: Meter, defaults: CautiousDefaults
) -> None:
    """Charge recorded, then the trace, both without a time: the order they were told in holds."""
    charged = END - timedelta(minutes=1)
    items, _ = derive(
        trace_of([REST, RUN, (900.0, 0.0, 3.3, 3.4)]), reduce, meter, defaults, not_before=charged
    )
    assert [i.at for i in items] == [charged, charged]


def test_a_figure_no_cell_can_have_is_told_and_left_out(
    reduce: Reduce, meter: Meter, defaults: CautiousDefaults
) -> None:
    """A voltage that rises as the load comes on is no resistance."""
    items, warnings = derive(trace_of([(600.0, 0.0, 4.0, 4.0), RUN]), reduce, meter, defaults)
    assert [i.quantity for i in items if isinstance(i, Reading)] == [Quantity.CAPACITY]
    assert "no resistance is recorded" in warnings[0]


def test_a_recorded_discharge_of_a_real_cell_is_kept_in_few_points(reduce: Reduce) -> None:
    """The 1C discharges of the measured pouch cell: from full to 3.0 V, the area under the few points within 0.1 %."""
    trace = read_trace(REFERENCE / "pouch-33ah-1c-discharge.csv.gz")
    result = reduce(trace)
    curve = own_curve(trace, result)
    assert curve is not None and result.energy is not None and result.capacity is not None
    assert 50 <= len(curve.ah_out) <= MOST_POINTS
    assert curve.ah_out[-1] == pytest.approx(result.capacity.value, rel=1e-6)
    assert curve.voltage_v[-1] == pytest.approx(3.0)
    area = float(np.trapezoid(curve.voltage_v, curve.ah_out))
    assert area == pytest.approx(result.energy.value, rel=1e-3)
    assert np.mean(curve.currents()) == pytest.approx(30.3, rel=0.02)  # the cycler counts 30.3 Ah in an hour


@pytest.mark.parametrize(
    "parts",
    [
        [RUN],
        [REST, (3600.0, -0.5, 4.05, 3.6)],
        [REST, *[(600.0, -0.5, 4.05 - k / 9, 3.94 - k / 9) if j else (1800.0, 0.0, 4.0, 4.0) for k in range(10) for j in (0, 1)]],
        [(600.0, 0.0, 3.7, 3.7)],
    ],
)  # fmt: skip
def test_a_run_that_is_not_whole_and_in_one_piece_gives_no_curve(reduce: Reduce, parts: Parts) -> None:
    """Nothing shows the start; stopped early; rests in between; no discharge."""
    trace = trace_of(parts)
    assert own_curve(trace, reduce(trace)) is None


def test_the_few_points_follow_a_published_curve(reduce: Reduce) -> None:
    """A slow discharge along a published open-circuit curve: no point of the file lies off by 5 mV."""
    ocv: OcvCurve = curves_for(Chemistry.NMC)[0]
    share = np.linspace(0.0, 1.0, 20_000)
    volts = np.interp(1 - share, ocv.soc, ocv.volts)
    time = np.concatenate((np.arange(0.0, 600.0, 1.8), 600 + share * 36000))
    amps = np.where(time < 600, 0.0, -0.25)
    trace = Trace(time, np.interp(time, 600 + share * 36000, volts), amps)
    result = reduce(trace, full_voltage_v=float(volts[0]), cutoff_v=float(volts[-1]) + 0.05)
    curve = own_curve(trace, result)
    assert curve is not None and result.run is not None
    here = np.interp(np.array(curve.ah_out) / 2.5, share, volts)
    assert float(np.max(np.abs(here - curve.voltage_v))) < 0.005
    dense = np.interp(share[:19_000] * 2.5, curve.ah_out, curve.voltage_v)
    inside = share[:19_000] * 2.5 <= curve.ah_out[-1]
    assert float(np.max(np.abs(dense - volts[:19_000])[inside])) < 0.005


# --- danger that a trace shows ------------------------------------------------------------------------

DEEP_RUN = (7200.0, -0.5, 4.05, 1.0)


def volts_of(items: list[Reading | Charge]) -> list[Reading]:
    return [i for i in items if isinstance(i, Reading) and i.quantity is Quantity.VOLTAGE]


def test_a_rest_that_ends_below_the_floor_is_a_voltage_of_its_own(
    reduce: Reduce, meter: Meter, defaults: CautiousDefaults
) -> None:
    """Two hours at 0.6 V after a run: the value, the rest, its time and an uncertainty no smaller than the meter's."""
    trace = trace_of([REST, RUN, (7200.0, 0.0, 0.6, 0.6), (60.0, 0.5, 3.0, 3.0)])
    (found,) = volts_of(derive(trace, reduce, meter, defaults, floor_v=2.0)[0])
    assert found.value == pytest.approx(0.6)
    assert found.rested_s == pytest.approx(7200.0, abs=2.0)
    assert found.at == END - timedelta(seconds=60)
    assert found.u is not None and meter.voltage is not None and found.u >= meter.voltage.u(0.6)


@pytest.mark.parametrize(
    ("parts", "expected_v"),
    [
        ([REST, (7200.0, -0.5, 4.05, 2.30)], [2.30]),
        ([REST, (7200.0, -0.5, 4.05, 2.45)], [2.45]),
        ([REST, (7200.0, -0.5, 4.05, 2.48)], []),  # below for 92 s
        ([REST, (72000.0, -0.05, 4.05, 2.497)], []),  # for 139 s, within U
        ([REST, (100.0, -3.0, 4.0, 2.3), REST], []),  # a pulse
        ([(600.0, 0.05, 2.3, 2.45), *CHARGE], [2.30]),
        ([REST, (7200.0, -0.5, 4.05, 1.0)], [1.0]),  # told once
    ],
)
def test_a_run_that_goes_on_below_the_limit_of_light_use_tells_where_it_went(
    reduce: Reduce, meter: Meter, defaults: CautiousDefaults, parts: Parts, expected_v: list[float]
) -> None:
    """Whatever cut-off its capacity is counted to; the last rows of a run to 2.5 V overshoot it."""
    found = volts_of(derive(trace_of(parts), reduce, meter, defaults, floor_v=2.0, low_v=2.5)[0])
    assert [r.value for r in found] == [pytest.approx(v, abs=2e-3) for v in expected_v]


@pytest.mark.parametrize(
    ("parts", "expected_v"),
    [
        ([REST, RUN, (900.0, 0.0, 3.3, 3.4)], []),
        ([REST, RUN, (900.0, 0.0, 1.5, 2.5)], []),  # it came back
        ([REST, RUN, (60.0, 0.0, 1.2, 1.4)], []),  # a minute is no rest
        ([REST, RUN, (900.0, 0.0, 1.2, 2.001)], [2.001]),  # may be below
        ([REST, DEEP_RUN, (900.0, 0.0, 1.5, 2.5)], [1.0]),  # what a run went down to it had
        ([REST, (7200.0, -0.5, 4.05, 2.05), (900.0, 0.0, 3.0, 3.0)], []),
        ([REST, (7200.0, -0.5, 4.05, 2.001), (900.0, 0.0, 3.0, 3.0)], [2.001]),
        ([REST, *[(60.0, -0.4 - 0.1 * k, 2.2 - 0.1 * k, 2.1 - 0.1 * k) for k in range(4)]], [1.8]),
        ([REST, (100.0, -0.5, 4.0, 1.5), REST], []),  # a pulse
        ([(60.0, 0.5, 1.2, 2.2), *CHARGE], [1.2]),  # it was charged from there
        ([(900.0, 0.0, 1.2, 1.2), *CHARGE], [1.2]),
        ([(900.0, 0.0, 1.2, 1.2)], [1.2]),  # nothing but a rest
    ],
)
def test_only_a_rest_that_ends_clearly_above_the_floor_is_left_alone(
    reduce: Reduce, defaults: CautiousDefaults, parts: Parts, expected_v: list[float]
) -> None:
    """Within the cautious default's uncertainty of 2 V is no pass; what recovered, or hardly rested, is no rest."""
    items, _ = derive(trace_of(parts), reduce, None, defaults, floor_v=2.0)
    assert [r.value for r in volts_of(items)] == pytest.approx(expected_v)


def test_without_a_floor_no_low_voltage_is_looked_for(
    reduce: Reduce, meter: Meter, defaults: CautiousDefaults
) -> None:
    """A primary cell may be empty."""
    trace = trace_of([REST, (7200.0, -0.5, 4.05, -0.3), (7200.0, 0.0, 0.6, 0.6)])
    assert volts_of(derive(trace, reduce, meter, defaults)[0]) == []


@pytest.mark.parametrize(("end_v", "lowest_v"), [(-0.3, -0.3), (0.0, 0.0), (-3.0, -1.0), (0.3, None)])
@pytest.mark.parametrize("lasts_s", [7200.0, 100.0])
def test_a_voltage_of_zero_or_less_under_current_is_recorded(
    reduce: Reduce,
    meter: Meter,
    defaults: CautiousDefaults,
    end_v: float,
    lowest_v: float | None,
    lasts_s: float,
) -> None:
    """Driven the wrong way, by a pulse, too: the lowest that can be a cell's at all (-1 V), without a rest."""
    trace = trace_of([REST, (lasts_s, -0.5, 4.05, end_v)])
    if lowest_v is None and lasts_s > 120.0:
        lowest_v = end_v  # no reversal, and below the floor
    found = volts_of(derive(trace, reduce, meter, defaults, floor_v=2.0)[0])
    assert [r.value for r in found] == ([] if lowest_v is None else [pytest.approx(lowest_v, abs=0.05)])
    assert all(r.rested_s is None for r in found)


def test_crossed_leads_condemn_nothing_and_are_told(
    reduce: Reduce, meter: Meter, defaults: CautiousDefaults
) -> None:
    """A rest at -3.6 V is a sound cell the wrong way round."""
    items, warnings = derive(trace_of([(900.0, 0.0, -3.6, -3.6)]), reduce, meter, defaults, floor_v=2.0)
    assert volts_of(items) == []
    assert any("no voltage is recorded" in words and "leads crossed" in words for words in warnings)
