"""Resistance: against the rating of the same method, the tables, pouches by resistance x capacity.

New-cell maxima are on sheets; the steps are common practice, no published source.
"""

from __future__ import annotations

import math
from dataclasses import replace

import pytest
from tests.acceptance.bench import FINE, NMC, good, reason, reasons

from straycell.acceptance import Outcome, Status
from straycell.cells import CellFacts, Chemistry, Form
from straycell.meters import Meter
from straycell.readings import Method, Where


def u(ohm: float) -> float:
    """U of the fine meter: 1 % + 0.5 mohm, rectangular."""
    return 2 * (0.01 * ohm + 0.0005) / math.sqrt(3)


def just_below(limit: float) -> float:
    """The largest value that clears an upper limit by its own U, less a hair."""
    k = 2 * 0.01 / math.sqrt(3)
    return (limit - 2 * 0.0005 / math.sqrt(3)) / (1 + k) - 1e-5


def beyond(limit: float) -> float:
    """The smallest value that lies above a limit by its own U, plus a hair."""
    k = 2 * 0.01 / math.sqrt(3)
    return (limit + 2 * 0.0005 / math.sqrt(3)) / (1 - k) + 1e-5


@pytest.mark.parametrize(
    ("method", "pack", "solo", "light"),
    [(Method.DC_PULSE, 0.100, 0.150, 0.250), (Method.AC_1KHZ, 0.070, 0.100, 0.160)],
)
def test_the_table_of_large_cells(method: Method, pack: float, solo: float, light: float) -> None:
    """Each step at its limit, just inside and just outside; above light holds, above twice light discards."""

    def outcome(ohm: float) -> Outcome:
        return good(resistance=None).resistance(ohm, method=method).outcome()

    assert outcome(just_below(pack)) is Outcome.PACK
    assert outcome(pack) is Outcome.SOLO
    assert outcome(just_below(solo)) is Outcome.SOLO
    assert outcome(solo) is Outcome.LIGHT
    assert outcome(just_below(light)) is Outcome.LIGHT
    assert outcome(light) is Outcome.HOLD
    assert outcome(2 * light) is Outcome.HOLD
    assert outcome(beyond(2 * light) - 4e-5) is Outcome.HOLD
    assert outcome(beyond(2 * light)) is Outcome.DISCARD


def test_the_table_of_small_cells_and_of_lfp() -> None:
    """A 14500 may have 250 mohm d.c. for pack; lfp half the table."""
    small = CellFacts(Chemistry.NMC, Form.F14500, "INR14500", rated_capacity_ah=0.8)
    bench = good(facts=small, capacity=None, resistance=None)
    bench.capacity(0.75, 1.2, discharge_current_a=0.2)
    assert bench.resistance(just_below(0.250)).outcome() is Outcome.PACK
    lfp = CellFacts(Chemistry.LFP, Form.F26650, "IFR26650", rated_capacity_ah=3.0)
    held = reason(good(facts=lfp, resistance=0.06).verdict(), "resistance-pack")
    assert held.limit == pytest.approx(0.050) and held.status is Status.FAILED


RATED = replace(NMC, rated_resistance_ohm=0.040)


@pytest.mark.parametrize(
    ("ratio", "outcome"),
    [
        (1.2, Outcome.PACK),
        (1.5, Outcome.SOLO),
        (1.8, Outcome.LIGHT),
        (2.2, Outcome.LIGHT),
        (2.8, Outcome.HOLD),
        (3.2, Outcome.DISCARD),
    ],
)
def test_against_the_rating_of_the_same_method(ratio: float, outcome: Outcome) -> None:
    """Sheets rate at 1 kHz: an a.c. reading is compared with the rating."""
    assert (
        good(facts=RATED, resistance=None).resistance(0.040 * ratio, method=Method.AC_1KHZ).outcome()
        is outcome
    )


def test_an_ac_rating_is_never_the_yardstick_of_a_dc_reading() -> None:
    """90 mohm d.c. is 2.25 times the a.c. rating, and pack by the d.c. table."""
    verdict = good(facts=RATED, resistance=0.090).verdict()
    assert verdict.outcome is Outcome.PACK
    assert reason(verdict, "resistance").limit == pytest.approx(0.100)


def test_an_unknown_method_is_solo_at_best_with_a_wide_uncertainty() -> None:
    """10 % + 30 mohm rectangular, whatever the meter's sheet says; d.c. limits."""
    bench = good(resistance=None).resistance(0.040, method=Method.UNKNOWN)
    verdict = bench.verdict()
    assert verdict.outcome is Outcome.SOLO
    read = reason(verdict, "resistance")
    assert read.expanded_uncertainty == pytest.approx(2 * (0.1 * 0.040 + 0.030) / math.sqrt(3))


def test_over_a_board_a_resistance_is_only_an_upper_bound() -> None:
    """It passes where it is low enough and never discards."""
    facts = replace(NMC, protection_board=True)
    assert good(facts=facts, found=None).found(3.6, where=Where.TABS).outcome() is Outcome.PACK
    high = good(facts=facts, found=None, resistance=0.9).found(3.6, where=Where.TABS)
    assert high.outcome() is Outcome.HOLD
    tabs = good(facts=facts, found=None, resistance=None).found(3.6, where=Where.TABS)
    assert tabs.resistance(0.9, where=Where.TABS).outcome() is Outcome.DISCARD


@pytest.mark.parametrize(
    ("ohm", "outcome"),
    [
        (0.05, Outcome.PACK),
        (0.075, Outcome.SOLO),
        (0.13, Outcome.LIGHT),
        (0.20, Outcome.HOLD),
        (0.40, Outcome.DISCARD),
    ],
)
def test_a_large_pouch_is_judged_by_resistance_times_capacity(ohm: float, outcome: Outcome) -> None:
    """2.0 Ah: 0.12 / 0.20 / 0.35 ohm Ah."""
    facts = CellFacts(Chemistry.LCO, Form.POUCH, "606090", rated_capacity_ah=2.1)
    assert good(facts=facts, capacity=2.0, resistance=ohm).outcome() is outcome


@pytest.mark.parametrize(
    ("method", "small", "pouch"),
    [
        (Method.DC_PULSE, (0.260, 0.420, 0.730), (0.063, 0.105, 0.184)),
        (Method.AC_1KHZ, (0.158, 0.262, 0.472), (0.042, 0.068, 0.116)),
    ],
)
def test_a_twentieth_over_a_step_is_the_next_use_down(
    method: Method, small: tuple[float, ...], pouch: tuple[float, ...]
) -> None:
    """Of small cells and of a pouch of 2.0 Ah, by either method: solo, light, hold."""
    little = CellFacts(Chemistry.NMC, Form.F14500, "INR14500", rated_capacity_ah=0.8)
    flat = CellFacts(Chemistry.LCO, Form.POUCH, "606090", rated_capacity_ah=2.1)
    for facts, ah, ohms in ((little, 0.75, small), (flat, 2.0, pouch)):
        for ohm, outcome in zip(ohms, (Outcome.SOLO, Outcome.LIGHT, Outcome.HOLD), strict=True):
            bench = good(facts=facts, capacity=None, resistance=None).capacity(
                ah, 1.2, discharge_current_a=0.2 * ah
            )
            assert bench.resistance(ohm, method=method).outcome() is outcome, (facts.form, ohm)


def test_a_pouch_of_an_ampere_hour_is_a_large_one() -> None:
    """1.1 Ah and 140 mohm: more than 0.12 ohm Ah, though a small cell might have 250 mohm."""
    facts = CellFacts(Chemistry.LCO, Form.POUCH, "503450", rated_capacity_ah=1.15)
    bench = good(facts=facts, capacity=None, resistance=None).capacity(1.1, 1.2, discharge_current_a=0.22)
    assert bench.resistance(0.140).outcome() is Outcome.SOLO


def test_a_small_pouch_is_judged_by_the_small_table() -> None:
    """0.5 Ah: 240 mohm is pack by 250 mohm d.c."""
    facts = CellFacts(Chemistry.LCO, Form.POUCH, "303450", rated_capacity_ah=0.55)
    bench = good(facts=facts, capacity=None, resistance=0.240)
    assert bench.capacity(0.52, 1.2, discharge_current_a=0.11).outcome() is Outcome.PACK


def test_another_form_without_a_rating_has_no_limit() -> None:
    """No table, no rating: unmeasured, on hold."""
    facts = CellFacts(Chemistry.NMC, Form.OTHER, "x", rated_capacity_ah=2.5)
    assert reason(good(facts=facts).verdict(), "resistance").status is Status.UNMEASURED


@pytest.mark.parametrize(
    ("pulse_s", "status"),
    [(0.1, Status.UNMEASURED), (0.5, Status.MET), (1.0, Status.MET), (10.0, Status.MET)],
)
def test_a_pulse_too_short_shows_nothing(pulse_s: float, status: Status) -> None:
    """Resistance grows with the pulse: a 0.1 s pulse would flatter."""
    bench = good(resistance=None).resistance(0.05, pulse_s=pulse_s)
    assert reason(bench.verdict(), "resistance").status is status


def test_two_resistances_that_disagree_hold_until_a_third_agrees() -> None:
    """50 then 80 mohm by the same method; a.c. and d.c. are never set against each other."""
    bench = good().resistance(0.080, at=10.0)
    assert reason(bench.verdict(), "resistance-contradictory").ceiling is Outcome.HOLD
    bench.resistance(0.0805, at=11.0)
    assert not reasons(bench.verdict(), "resistance-contradictory")
    other = good().resistance(0.030, at=10.0, method=Method.AC_1KHZ)
    assert other.outcome() is Outcome.PACK


def test_far_too_high_once_discards_though_a_later_one_is_fine() -> None:
    """Discard rules look at every reading that is not superseded."""
    assert good().resistance(0.9, at=0.5).outcome() is Outcome.DISCARD


def test_noise_does_not_discard() -> None:
    """0.52 ohm without a meter (10 % + 20 mohm) is not beyond 0.5 ohm: hold."""
    assert good(resistance=None).resistance(0.52, meter=None).outcome() is Outcome.HOLD
    assert good(resistance=None).resistance(0.70, meter=None).outcome() is Outcome.DISCARD


def test_a_resistance_counts_for_twelve_months() -> None:
    """Stale is unmeasured."""
    assert reason(good().verdict(1.3 + 364.9), "resistance").status is Status.MET
    assert reason(good().verdict(1.3 + 365.0), "resistance").status is Status.UNMEASURED


def test_a_discard_by_resistance_times_capacity_does_not_lapse_with_the_capacity() -> None:
    """An unrated pouch: the capacity grows stale after 12 months, the discard stands."""
    facts = CellFacts(Chemistry.LCO, Form.POUCH, "606090")
    bench = good(facts=facts, capacity=2.0, resistance=0.40)
    assert bench.outcome() is Outcome.DISCARD
    assert bench.outcome(20.0 + 396.0) is Outcome.DISCARD


@pytest.mark.parametrize(
    ("method", "rated", "believed"),
    [
        (Method.DC_PULSE, 0.25, True),  # the light limits of the tables for large cells
        (Method.DC_PULSE, 0.26, False),
        (Method.DC_PULSE, 5.0, False),
        (Method.AC_1KHZ, 0.16, True),
        (Method.AC_1KHZ, 0.17, False),
    ],
)
def test_a_rating_that_no_such_cell_has_counts_as_none(method: Method, rated: float, believed: bool) -> None:
    """Else 2 ohm of a cell "rated" at 5 ohm would be a pack cell."""
    facts = replace(NMC, rated_resistance_ohm=rated, rated_resistance_method=str(method))
    bench = good(facts=facts, resistance=None).resistance(rated, method=method)
    assert (
        (
            "its rated"
            in reasons(bench.verdict(), "resistance-light" if not believed else "resistance")[0].text
        )
        is (believed)
        if rated < 1
        else bench.outcome() is Outcome.DISCARD
    )


def test_what_is_far_too_high_in_a_short_pulse_is_so_all_the_more() -> None:
    """The slow part of a resistance only adds to it: at, inside and outside the limit of the table."""
    limit = 2 * 0.25
    for ohm, out in ((beyond(limit), True), (limit, False), (just_below(limit), False)):
        bench = good().resistance(ohm, 19.0, pulse_s=0.1)
        assert (bench.outcome() is Outcome.DISCARD) is out


@pytest.mark.parametrize(
    ("ohm", "method", "meter", "holds"),
    [
        (0.0005, Method.AC_1KHZ, FINE, True),
        (0.0013, Method.AC_1KHZ, FINE, True),
        (0.0015, Method.AC_1KHZ, FINE, False),  # with its U it may be 0.005 ohm Ah
        (0.0022, Method.DC_PULSE, FINE, False),
        (0.0005, Method.DC_PULSE, FINE, True),
        (0.0005, Method.AC_1KHZ, None, False),  # good to 23 mohm: judged as that
    ],
)
def test_less_resistance_than_any_cell_has_holds(
    ohm: float, method: Method, meter: Meter | None, holds: bool
) -> None:
    """Leads that touch, or mohm typed as ohm / 1000: it passes no cell. 0.005 ohm Ah are 2 mohm at 2.5 Ah."""
    bench = good(resistance=None).resistance(ohm, method=method, meter=meter)
    assert bool(reasons(bench.verdict(), "resistance-least")) is holds
    assert bench.outcome() is (Outcome.HOLD if holds else Outcome.PACK)
    if holds:
        assert bench.resistance(0.030, 19.0, method=method).outcome() is not Outcome.DISCARD
