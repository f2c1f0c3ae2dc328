"""Charging in the cold, warmth at rest, warming and what it caps. A sheet: 0 to 5 C 0.1C, 5 to 15 C 0.2C, then 0.5C;
three 18650 sheets charge at 0 to 45 C. Temperatures without a meter: 2 K rectangular."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest
from tests.acceptance.bench import FINE, Bench, day, good, reason, reasons

from straycell.acceptance import Outcome, Status, figures, shipped_rules
from straycell.acceptance.charger.allowance import charge_allowance
from straycell.cells import Look
from straycell.readings import Quantity

U = 2 * 2.0 / math.sqrt(3)
U_PAIR = U * math.sqrt(2)
"""Of a difference of two."""


def cold_charge(ambient: float, amps: float) -> Bench:
    return good().charge(20.0, amps=amps, ambient=ambient, peak=ambient + 2.0)


@pytest.mark.parametrize(
    ("ambient", "amps", "outcome"),
    [
        (-U - 0.1, 0.3, Outcome.HOLD),  # surely frost, 0.12C
        (-U - 0.1, 0.5, Outcome.HOLD),  # at 0.2C
        (-U - 0.1, 0.6, Outcome.DISCARD),  # above it
        (-U + 0.1, 0.3, Outcome.PACK),  # not surely frost, slow
        (5 - U - 0.1, 0.5, Outcome.PACK),
        (5 - U - 0.1, 0.6, Outcome.HOLD),  # above 0.2C, surely below 5 C
        (5 - U + 0.1, 0.6, Outcome.PACK),
        (10 - U - 0.1, 0.75, Outcome.PACK),
        (10 - U - 0.1, 0.8, Outcome.HOLD),  # above 0.3C, surely below 10 C
        (10 - U + 0.1, 0.8, Outcome.PACK),
    ],
)
def test_charging_in_the_cold(ambient: float, amps: float, outcome: Outcome) -> None:
    """2.5 Ah rated: at, inside and outside each step, each surely."""
    verdict = cold_charge(ambient, amps).verdict(21.0)
    told = [r for r in verdict.reasons if r.rule.startswith(("charge-frost", "cold"))]
    assert (min(r.ceiling for r in told) if told else Outcome.PACK) is outcome


def test_after_frost_a_cell_is_light_at_best() -> None:
    """Look, resistance and 28 days of self-discharge after it; 15 days are not enough."""
    bench = cold_charge(-8.0, 0.3).look(at=20.5).resistance(0.051, at=20.6).charge(21.0)
    bench.rest(4.18, 22.2).rest(4.176, 37.3)
    assert reason(bench.verdict(38.0), "charge-frost").ceiling is Outcome.HOLD
    bench.rest(4.172, 51.0)
    assert bench.outcome(52.0) is Outcome.LIGHT


def test_a_new_check_clears_a_hurried_charge_in_the_cool() -> None:
    """Begun after it; the charge it starts with stays allowed."""
    bench = cold_charge(6.0, 1.0)
    assert not bench.no_charge(21.0)
    bench.charge(22.0).rest(4.18, 23.2).rest(4.174, 38.3)
    assert bench.outcome(39.0) is Outcome.PACK


def warm(rise: float, at: float = 20.0, rested_h: float = 3.0) -> Bench:
    seen = {"surroundings_c": 20.0, "rested_s": rested_h * 3600}
    return good().read(Quantity.TEMPERATURE, at, 20.0 + rise, **seen)


U_FINE = 2 * math.hypot(0.5 / math.sqrt(3), 0.5 / math.sqrt(3))


@pytest.mark.parametrize(
    ("rise", "outcome"),
    [
        (5.0 + U_FINE - 0.1, Outcome.PACK),
        (5.0 + U_FINE + 0.1, Outcome.HOLD),
        (10.0 + U_FINE - 0.1, Outcome.HOLD),
        (10.0 + U_FINE + 0.1, Outcome.DISCARD),
    ],
)
def test_warmer_than_its_surroundings_at_rest(rise: float, outcome: Outcome) -> None:
    """Surely more than 5 K holds, surely more than 10 K discards: heat without a current comes from inside."""
    assert warm(rise).outcome(21.0) is outcome
    assert warm(rise, rested_h=1.9).outcome(21.0) is Outcome.PACK


def test_a_warm_cell_is_not_charged_until_it_is_cool_and_then_checked() -> None:
    """A day later at room temperature: a test charge, then a check."""
    bench = warm(8.0)
    assert bench.no_charge(21.0)
    cool = {"surroundings_c": 20.0, "rested_s": 90000.0, "meter": FINE}
    bench.read(Quantity.TEMPERATURE, 21.5, 20.5, **cool)
    assert bench.outcome(22.0) is Outcome.HOLD and not bench.no_charge(22.0)
    bench.charge(23.0).rest(4.18, 24.2).rest(4.174, 39.3)
    assert bench.outcome(40.0) is Outcome.PACK


@pytest.mark.parametrize(
    ("at_c", "lacks"), [(45.0, ""), (45.1, "a look"), (60.0, "a look"), (60.1, "a self-discharge check")]
)
def test_as_hot_as_a_hot_place_is_looked_at_and_from_sixty_on_checked(at_c: float, lacks: str) -> None:
    """Left in the sun: the place was as warm."""
    bench = good().read(Quantity.TEMPERATURE, 20.0, at_c, surroundings_c=at_c, rested_s=9000.0)
    told = reasons(bench.verdict(21.0), "hot-place")
    assert bool(told) is bool(lacks) and all(lacks in r.text for r in told)
    # Nobody has seen what the heat did to it: a look first, then the check's charge.
    assert bench.no_charge(21.0) is bool(lacks)
    assert not bench.look(at=21.5).no_charge(22.0)


def test_a_warming_is_cleared_up_to_the_current_of_the_repeat() -> None:
    """13 K at 1 A, cool at 0.5 A: pack again, and no charger gives it more than 0.5 A; a repeat at 1.2 A frees it."""
    bench = good(peak=35.0).charge(20.0, amps=0.5, peak=25.0)
    rules = shipped_rules()

    def allowed(at: float) -> float:
        verdict = bench.verdict(at)
        assert verdict.outcome is Outcome.PACK
        return charge_allowance(bench.evidence(), verdict, rules, day(at)).allowed_a

    assert allowed(21.0) == pytest.approx(0.5)
    assert figures(bench.evidence(), rules, day(21.0)).most_charge_a == pytest.approx(0.5)
    bench.charge(21.5, amps=1.2, peak=26.0)
    assert allowed(22.0) == pytest.approx(0.5 * 2.4, rel=0.02)


def test_an_over_charge_is_not_washed_out() -> None:
    """4.235 V by a coarse meter may be 4.26 V: a later 4.10 V or a let-down clears nothing; the measured float does."""
    bench = good()
    bench.charges[-1] = replace(bench.charges[-1], charger="four-bay")
    bench.rest(4.235, 19.0, meter=None)
    assert reason(bench.verdict(20.0), "voltage-over-full").status is Status.CLOSE
    bench.read(Quantity.LET_DOWN, 19.5, 3.8).rest(3.81, 21.0)
    assert reason(bench.verdict(22.0), "voltage-over-full").status is Status.CLOSE
    bench.charge(22.5)
    bench.charges[-1] = replace(bench.charges[-1], charger="four-bay", u=0.003, until_v=4.201)
    assert reason(bench.verdict(23.0), "voltage-over-full").status is Status.MET


@pytest.mark.parametrize(("volts", "open_"), [(4.20, False), (4.22, False), (4.221, True), (4.24, True)])
def test_full_as_a_coarse_meter_shows_it_is_no_over_charge(volts: float, open_: bool) -> None:
    """At, inside and outside full + 0.02 V, without a meter (U is 36 mV)."""
    verdict = good().rest(volts, 19.0, meter=None).verdict(20.0)
    assert (reason(verdict, "voltage-over-full").status is Status.CLOSE) is open_


@pytest.mark.parametrize(
    ("peak", "rate", "outcome"),
    [
        # U of a thermometer that nobody named is some 3 K: -2 C on it may be above freezing.
        (-2.0, 0.1, Outcome.PACK),
        (-5.0, 0.1, Outcome.HOLD),
        (-5.0, 0.24, Outcome.DISCARD),
    ],
)
@pytest.mark.parametrize("air", [None, 21.0])
def test_a_cell_that_stayed_in_frost_was_charged_in_frost(
    air: float | None, peak: float, rate: float, outcome: Outcome
) -> None:
    """Its own highest temperature tells, whether the air is left out or warm around a cell that comes from outside."""
    bench = good().charge(20.0, amps=rate * 2.5, peak=peak)
    bench.charges[-1] = replace(bench.charges[-1], temperature_c=air)
    told = [r for r in bench.verdict(21.0).reasons if r.rule.startswith(("charge-frost", "cold"))]
    assert (min(r.ceiling for r in told) if told else Outcome.PACK) is outcome


@pytest.mark.parametrize(("celsius", "held"), [(44.0, False), (45.0, False), (46.0, True), (59.0, True)])
def test_a_hot_place_on_record_beside_a_voltage_is_a_hot_place(celsius: float, held: bool) -> None:
    """The condition of a reading is where the cell lay; a look answers it."""
    bench = good(days=28.0).rest(4.165, 40.0, celsius)
    assert bool(reasons(bench.verdict(41.0), "hot-place")) == held
    assert not reasons(bench.look(Look.CLEAN, at=42.0).verdict(43.0), "hot-place")


@pytest.mark.parametrize(
    ("rise", "held"), [(5.0 + U_PAIR - 0.1, False), (5.0 + U_PAIR + 0.1, True), (20.0, True)]
)
def test_warmer_than_its_surroundings_without_a_known_rest_is_held(rise: float, held: bool) -> None:
    """A current may have warmed it, or a short: no charge, and no finding, until it is seen cool."""
    bench = good().read(Quantity.TEMPERATURE, 20.0, 22.0 + rise, surroundings_c=22.0, meter=None)
    assert (bench.outcome(20.1) is Outcome.HOLD) is held and bench.no_charge(20.1) is held
    bench.read(Quantity.TEMPERATURE, 20.2, 22.5, surroundings_c=22.0, rested_s=7200.0, meter=None)
    assert bench.outcome(20.3) is Outcome.PACK


@pytest.mark.parametrize(
    ("quantity", "value", "celsius", "held"),
    [
        (Quantity.LOOK, None, 45.0, False),
        (Quantity.LOOK, None, 45.1, True),
        (Quantity.RESISTANCE, 0.05, 60.0, False),  # sheets: discharge at up to 60 C
        (Quantity.RESISTANCE, 0.05, 60.1, True),
        (Quantity.CAPACITY, 2.4, 60.0, False),
        (Quantity.CAPACITY, 2.4, 60.1, True),
    ],
)
def test_a_hot_place_on_record_beside_any_reading_is_a_hot_place(
    quantity: Quantity, value: float | None, celsius: float, held: bool
) -> None:
    """Whatever else was measured there."""
    more = {"discharge_current_a": 0.5, "cutoff_v": 2.75} if quantity is Quantity.CAPACITY else {}
    look = (Look.CLEAN,) if quantity is Quantity.LOOK else ()
    bench = good().read(quantity, 20.0, value, temperature_c=celsius, look=look, **more)
    assert bool(reasons(bench.verdict(21.0), "hot-place")) is held


def test_hot_surroundings_are_a_hot_place_too() -> None:
    """It lay there, however cool it still was."""
    bench = good().read(Quantity.TEMPERATURE, 20.0, 30.0, surroundings_c=60.0, rested_s=60.0)
    assert reasons(bench.verdict(21.0), "hot-place")
