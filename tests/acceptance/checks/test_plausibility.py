"""Readings out of traces, and measurements that should not be believed: at the limit, inside, outside."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest
from tests.acceptance.bench import LFP, NMC, Bench, day, good, reason, reasons

from straycell.acceptance import Outcome, Status, figures, load_rules
from straycell.acceptance.case import Case
from straycell.acceptance.checks.retention import Worth, retained, runs
from straycell.cells import CellFacts, Chemistry
from straycell.readings import Method, Quantity

RULES = load_rules()


def run_of(bench: Bench) -> tuple[Worth, str]:
    """What the last capacity is worth, and why not more."""
    evidence = bench.evidence()
    run = runs(Case(evidence, evidence.facts, RULES, day(20.0)))[-1]
    return run.worth, run.why


# --- what a trace tells of a capacity ---------------------------------------------------------------


def test_a_trace_that_shows_a_full_start_needs_no_recorded_charge() -> None:
    """Else the same reading is a lower bound."""
    assert run_of(Bench().capacity(2.4, 1.2)) == (Worth.AT_LEAST, "no recorded full charge")
    assert run_of(Bench().capacity(2.4, 1.2, from_full=True)) == (Worth.COUNTS, "")


def test_a_trace_that_did_not_run_whole_is_a_lower_bound_whatever_is_recorded() -> None:
    """A full charge before it and a full start do not make up for the missing end."""
    bench = Bench().charge(1.0).capacity(2.4, 1.2, at_least=True, from_full=True)
    assert run_of(bench) == (Worth.AT_LEAST, "its trace did not show a full run")


def test_a_lower_bound_out_of_a_trace_never_discards() -> None:
    """0.3 of 2.5 Ah when the logger stopped says nothing against the cell."""
    verdict = good(capacity=None).capacity(0.3, 1.2, at_least=True).verdict()
    assert verdict.outcome is Outcome.HOLD
    assert reasons(verdict, "capacity-discard") == []
    assert good(capacity=0.3).outcome() is Outcome.DISCARD


def test_a_full_start_after_another_discharge_counts() -> None:
    """The charge between was not recorded; the trace shows it."""
    bench = Bench().charge(1.0).capacity(2.4, 1.2)
    assert run_of(bench.capacity(2.4, 1.5))[1] == "discharged once before since the full charge"
    assert run_of(bench.capacity(2.4, 1.8, from_full=True))[0] is Worth.COUNTS


def test_a_run_long_after_its_recorded_charge_stays_a_lower_bound() -> None:
    """An opening rest near full after 28 days has lost its share all the same."""
    bench = Bench().charge(1.0).capacity(2.4, 29.0, from_full=True)
    assert run_of(bench) == (Worth.AT_LEAST, "28 days after the full charge")


def test_the_retention_is_never_told_from_a_run_against_itself() -> None:
    """One run 28 days after a charge, and no earlier one: no loss of exactly nothing."""
    evidence = Bench().charge(1.0).capacity(2.4, 30.0, from_full=True).evidence()
    assert retained(Case(evidence, evidence.facts, RULES, day(31.0))) == ()


@pytest.mark.parametrize(("amps", "told"), [(0.5, True), (0.524, True), (0.476, True), (0.53, False)])
def test_runs_of_nearly_the_same_current_are_compared(amps: float, told: bool) -> None:
    """A trace's mean current is never the round figure; 5 % is the limit."""
    bench = good().charge(19.0).capacity(2.0, 19.2, discharge_current_a=amps)
    assert bool(reasons(bench.verdict(), "capacity-contradictory")) is told


def test_a_readings_own_uncertainty_takes_the_place_of_the_meters() -> None:
    """The trace's budget knows more than the meter's sheet."""
    evidence = good(capacity=None).capacity(2.4, 1.2, u=0.05).evidence()
    known = figures(evidence, RULES, day(20.0)).capacity
    assert known is not None and known.u == 0.05


def test_the_reference_capacity_is_that_of_a_whole_run() -> None:
    """A trace cut off at 0.2 Ah does not make a small cell of it."""
    facts = CellFacts(Chemistry.NMC, NMC.form)
    evidence = Bench(facts).capacity(2.4, 1.0).capacity(0.2, 2.0, at_least=True).evidence()
    assert Case(evidence, facts, RULES, day(3.0)).reference_capacity_ah == 2.4


# --- energy and capacity that disagree --------------------------------------------------------------


@pytest.mark.parametrize(
    ("facts", "mean_v", "held"),
    [
        (NMC, 3.35, False),
        (NMC, 3.349, True),
        (NMC, 3.70, False),
        (NMC, 4.0, False),
        (NMC, 4.001, True),
        (NMC, 3.20, True),  # an lfp cell that was taken for another
        (LFP, 2.9, False),
        (LFP, 2.89, True),
        (LFP, 3.35, False),
        (LFP, 3.36, True),
    ],
)
def test_energy_over_capacity_lies_in_the_chemistrys_window(
    facts: CellFacts, mean_v: float, held: bool
) -> None:
    """At the limit, inside, outside; contradictory holds and names both figures."""
    cutoff = 2.75 if facts is NMC else 2.5
    bench = Bench(facts).charge(1.0, until=4.2 if facts is NMC else 3.65)
    bench.capacity(2.0, 1.2, cutoff_v=cutoff, energy_wh=2.0 * mean_v)
    found = reasons(bench.verdict(), "capacity-energy")
    assert bool(found) is held
    if held:
        assert (found[0].status, found[0].ceiling) == (Status.CLOSE, Outcome.HOLD)
        assert "contradictory" in found[0].text and found[0].todo


def test_the_published_mean_voltages_lie_inside_their_windows() -> None:
    """Every published open-circuit curve, over its whole length."""
    from itertools import pairwise

    from straycell.physics.curves import all_curves

    for curve in all_curves():
        points = list(zip(curve.soc, curve.volts, strict=True))
        area = sum((s2 - s1) * (v1 + v2) / 2 for (s1, v1), (s2, v2) in pairwise(points))
        mean = area / (points[-1][0] - points[0][0])
        facts = CellFacts(curve.chemistry, NMC.form)
        case = Case(Bench(facts).evidence(), facts, RULES, day(1.0))
        assert case.figure("mean-voltage-low") < mean < case.figure("mean-voltage-high")


@pytest.mark.parametrize(
    "change",
    [
        {"temperature_c": 0.0},
        {"discharge_current_a": 2.5},
        {"cutoff_v": 3.4},
        {"at_least": True},
        {"energy_wh": None},
    ],
)
def test_a_harsher_run_is_not_held_against_its_energy(change: dict[str, object]) -> None:
    """Cold, fast, stopped early: the mean voltage is another one there."""
    given = {"energy_wh": 2.4 * 3.2, **change}
    verdict = good(capacity=None).capacity(2.4, 1.2, **given).verdict()  # type: ignore[arg-type]
    assert reasons(verdict, "capacity-energy") == []


def test_a_later_run_that_makes_sense_clears_the_energy() -> None:
    """The latest run is the one that is judged."""
    bench = good(capacity=None).capacity(2.4, 1.2, energy_wh=7.0)
    assert reason(bench.verdict(), "capacity-energy").ceiling is Outcome.HOLD
    bench.charge(19.0).capacity(2.4, 19.2, energy_wh=8.8)
    assert reasons(bench.verdict(), "capacity-energy") == []


# --- a resistance that fell -------------------------------------------------------------------------


@pytest.mark.parametrize(("ohm", "held"), [(0.049, True), (0.050, True), (0.051, False), (0.09, False)])
def test_a_resistance_that_fell_by_half_is_contradictory(ohm: float, held: bool) -> None:
    """At half, below, above; however long ago the last time was."""
    bench = good(resistance=0.100).resistance(ohm, at=300.0)
    found = reasons(bench.verdict(301.0), "resistance-contradictory")
    assert bool(found) is held
    if held:
        assert "after" in found[0].text and found[0].ceiling is Outcome.HOLD


def test_a_third_reading_that_agrees_settles_the_fall() -> None:
    """With the new one or with the old one."""
    bench = good(resistance=0.100).resistance(0.049, at=300.0)
    assert reasons(bench.verdict(302.0), "resistance-contradictory")
    bench.resistance(0.0491, at=301.0)
    assert reasons(bench.verdict(302.0), "resistance-contradictory") == []
    again = good(resistance=0.100).resistance(0.049, at=19.0).resistance(0.1001, at=19.5)
    assert reasons(again.verdict(), "resistance-contradictory") == []


@pytest.mark.parametrize(
    "change",
    [
        {"method": Method.AC_1KHZ},
        {"pulse_s": 10.0},
        {"temperature_c": 5.0},
        {"soc": 0.05},
        {"soc": 0.04},
    ],
)
def test_a_fall_between_two_kinds_of_reading_means_nothing(change: dict[str, object]) -> None:
    """Another method or pulse, a colder room, or a cell nearly empty."""
    first = {"pulse_s": 1.0, "temperature_c": 22.0, "soc": 0.9}
    bench = good(resistance=None).resistance(0.100, at=1.3, **{**first, **change})  # type: ignore[arg-type]
    bench.resistance(0.045, at=300.0, **first)  # type: ignore[arg-type]
    assert reasons(bench.verdict(301.0), "resistance-contradictory") == []


@pytest.mark.parametrize(
    ("soc", "told"), [(0.5, True), (0.549, True), (0.56, True), (0.7, True), (0.9, False), (None, True)]
)
def test_another_state_of_charge_excuses_what_published_sets_show(soc: float | None, told: bool) -> None:
    """A fifth more than at half charge: the sets (1 s pulse) show 6 % at most at 70 %, 23 % at 90 %."""
    bench = good(resistance=None).resistance(0.050, at=1.3, pulse_s=1.0, soc=0.5)
    bench.resistance(0.060, at=30.0, pulse_s=1.02, soc=soc)
    assert bool(reasons(bench.verdict(31.0), "resistance-contradictory")) is told


@pytest.mark.parametrize(("soc", "told"), [(0.105, False), (0.115, True)])
def test_a_step_of_charge_excuses_a_rise_only_where_the_sets_rise(soc: float, told: bool) -> None:
    """Nearly empty a 1 s pulse rises by a tenth within six per cent of charge; within five the readings stand as they are."""
    bench = good(resistance=None).resistance(0.050, at=1.3, pulse_s=1.0, soc=0.16)
    bench.resistance(0.056, at=30.0, pulse_s=1.0, soc=soc)
    assert bool(reasons(bench.verdict(31.0), "resistance-contradictory")) is told


_COLD = 1.0 / 283.15 - 1.0 / 298.15
# 34.4 kJ/mol is the steepest of the published sets (physics/data/temperature.toml), R = 8.314 J/(mol K).
_MOST_AT_10_C = math.exp(34400.0 * _COLD / 8.314)


@pytest.mark.parametrize(
    ("ratio", "temperature_c", "told"),
    [
        (1.5, 10.0, False),
        (_MOST_AT_10_C - 0.01, 10.0, False),
        (_MOST_AT_10_C + 0.10, 10.0, True),
        (0.8, 10.0, True),
        (1.5, 21.0, True),
        (1.5, None, True),
    ],
)
def test_another_temperature_excuses_what_published_sets_show(
    ratio: float, temperature_c: float | None, told: bool
) -> None:
    """Colder is higher, by 2.1 times at most from 25 to 10 degC; within 5 K and at an unknown one nothing is excused."""
    bench = good(resistance=None).resistance(0.040, at=1.3, temperature_c=25.0)
    bench.resistance(0.040 * ratio, at=19.0, temperature_c=temperature_c)
    assert bool(reasons(bench.verdict(), "resistance-contradictory")) is told


@pytest.mark.parametrize(
    ("days_before", "method", "told"),
    [(0.0, Method.DC_PULSE, False), (0.9, Method.DC_PULSE, False), (1.1, Method.DC_PULSE, True),
     (0.0, Method.AC_1KHZ, True)],
)  # fmt: skip
def test_a_rest_voltage_tells_the_charge_of_a_typed_resistance(
    days_before: float, method: Method, told: bool
) -> None:
    """Half as much again at 3.45 V (about 10 to 20 %) as when full; the sets are of d.c. pulses, a day is the limit."""
    bench = good(resistance=None).resistance(0.040, at=1.05, method=method)
    bench.rest(3.45, at=30.0 - days_before).resistance(0.056, at=30.0, method=method)
    assert bool(reasons(bench.verdict(31.0), "resistance-contradictory")) is told


def test_what_only_another_state_explains_settles_no_contradiction() -> None:
    """Two at 25 degC that disagree: a third from the cold, which could fit either, leaves them so."""
    bench = good(resistance=None).resistance(0.050, at=1.3, temperature_c=25.0)
    bench.resistance(0.0800, at=10.0, temperature_c=10.0).resistance(0.0800, at=19.0, temperature_c=25.0)
    assert reasons(bench.verdict(), "resistance-contradictory")
    bench.resistance(0.0805, at=19.5, temperature_c=25.0)
    assert not reasons(bench.verdict(), "resistance-contradictory")


@pytest.mark.parametrize(("ohm", "told"), [(0.0540, False), (0.0555, True)])
def test_two_resistances_differ_by_what_they_repeat_to(ohm: float, told: bool) -> None:
    """With U of 1 % each the rest is repeatability: 5 % as a limit of error, 8 % for a difference of two."""
    bench = good(resistance=None).resistance(0.050, at=1.3, u=0.00025)
    bench.resistance(ohm, at=19.0, u=0.00025)
    assert bool(reasons(bench.verdict(), "resistance-contradictory")) is told


@pytest.mark.parametrize(("ah", "told"), [(2.382, False), (2.378, True)])
def test_two_capacities_differ_by_what_they_repeat_to(ah: float, told: bool) -> None:
    """A trace's own U of a thousandth is not all that two runs differ by: 0.5 % as a limit of error comes on top."""
    bench = good(capacity=None).capacity(2.40, 1.2, u=0.0012).charge(19.0)
    bench.capacity(ah, 19.2, u=0.0012)
    assert bool(reasons(bench.verdict(), "capacity-contradictory")) is told


# --- what was there already, held to the same list --------------------------------------------------


@pytest.mark.parametrize(("ah", "held"), [(17.72 * 0.245 - 0.001, False), (17.72 * 0.245 + 0.001, True)])
def test_a_capacity_over_the_best_of_its_size_is_contradictory(ah: float, held: bool) -> None:
    """245 mAh/cm3 of an 18650's largest volume, whatever a trace says of it."""
    verdict = good(capacity=None).capacity(ah, 1.2, at_least=True).verdict()
    assert bool(reasons(verdict, "capacity-contradictory")) is held


def test_a_rest_voltage_above_full_is_over_charged() -> None:
    """4.30 V at rest is no measurement of a 4.2 V cell to go on with."""
    bench = good().read(Quantity.VOLTAGE, 19.0, 4.30, rested_s=7200.0, temperature_c=22.0)
    assert bench.outcome() is Outcome.DISCARD


@pytest.mark.parametrize(
    ("volts", "full_v", "held"),
    [(4.19, None, False), (4.20, None, False), (4.206, None, True), (4.24, None, True), (4.24, 4.35, False)],
)
def test_a_rest_voltage_clearly_above_full_is_contradictory(
    volts: float, full_v: float | None, held: bool
) -> None:
    """Beyond U of the meter (3.1 mV a limit, U 3.6 mV): no cell rests above what full means for it."""
    facts = replace(NMC, full_voltage_v=full_v)
    bench = good(facts=facts).read(Quantity.VOLTAGE, 19.0, volts, rested_s=7200.0, temperature_c=22.0)
    told = reason(bench.verdict(), "rest-voltage")
    assert ("contradictory" in told.text) is held
    if held:
        assert (told.ceiling, told.status) == (Outcome.HOLD, Status.UNMEASURED) and "meter" in told.todo.words


def test_a_later_rest_voltage_below_full_settles_it() -> None:
    """The latest rest voltage is the one that counts; self-discharge has its own say on the pair."""
    bench = good().read(Quantity.VOLTAGE, 19.0, 4.24, rested_s=7200.0, temperature_c=22.0)
    assert bench.outcome(20.0) is Outcome.HOLD
    settled = bench.charge(19.5).rest(4.18, 20.8).rest(4.17, 35.8)
    assert "contradictory" not in reason(settled.verdict(36.0), "rest-voltage").text
    assert settled.outcome(36.0) is Outcome.PACK


@pytest.mark.parametrize(("grams", "held"), [(30.0, True), (37.0, True), (38.5, False), (45.0, False)])
def test_weighed_too_light_is_as_contradictory_as_filed_so(grams: float, held: bool) -> None:
    """18650 sheets: 44 to 48 g; sleeve and tabs only add to it."""
    bench = good().read(Quantity.MASS, 1.0, grams)
    assert (bench.outcome() is Outcome.HOLD) is held
    assert (
        bool([r for r in bench.verdict().reasons if r.rule == "mass" and r.status is Status.FAILED]) is held
    )
