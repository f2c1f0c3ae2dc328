"""Capacity: steps at, just inside and just outside, conditions, contradictions, age.

80 % of the first capacity is the sheets' usual end of cycling; the other steps are common practice.
"""

from __future__ import annotations

import math
from dataclasses import replace

import pytest
from tests.acceptance.bench import LFP, NMC, Bench, good, reason, reasons

from straycell.acceptance import BestSibling, Outcome, Status, shipped_rules
from straycell.cells import CellFacts, Chemistry, Form


def u_share(ah: float) -> float:
    """U of a capacity over 2.5 Ah rated: the fine meter's 0.5 % + 1 mAh, rectangular."""
    return 2 * (0.005 * ah + 0.001) / math.sqrt(3) / 2.5


@pytest.mark.parametrize(
    ("limit", "above", "below"), [(0.8, Outcome.PACK, Outcome.SOLO), (0.7, Outcome.SOLO, Outcome.LIGHT)]
)
def test_a_step_is_reached_when_the_value_clears_it_by_u(
    limit: float, above: Outcome, below: Outcome
) -> None:
    """At the limit and just inside U is the lower step."""
    at = 2.5 * limit
    assert good(capacity=at + 2.5 * u_share(at) + 0.002).outcome() is above
    assert good(capacity=at + 2.5 * u_share(at) - 0.002).outcome() is below
    assert good(capacity=at).outcome() is below


def test_below_half_discards_only_beyond_u() -> None:
    """50 %: clear is light, within U is a hold that says what to do, beyond is a discard."""
    u = 2.5 * u_share(1.25)
    assert good(capacity=1.25 + u + 0.002).outcome() is Outcome.LIGHT
    close = good(capacity=1.25 + u - 0.002).verdict()
    assert close.outcome is Outcome.HOLD and any("capacity" in m.todo.words for m in close.missing)
    assert good(capacity=1.25 - u + 0.002).outcome() is Outcome.HOLD
    assert good(capacity=1.25 - u - 0.002).outcome() is Outcome.DISCARD


def test_without_a_meter_more_distance_is_needed() -> None:
    """2.10 of 2.5 Ah is 84 %: pack with a fine meter, not with 5 % limits (84 % - 4.85 % < 80 %)."""
    bench = good(capacity=None)
    assert bench.capacity(2.10, 1.2).outcome() is Outcome.PACK
    assert good(capacity=None).capacity(2.10, 1.2, meter=None).outcome() is Outcome.SOLO
    assert (
        "no meter" in reason(good(capacity=None).capacity(2.10, 1.2, meter=None).verdict(), "capacity").text
    )


@pytest.mark.parametrize(
    "harsher",
    [{"discharge_current_a": 1.3}, {"cutoff_v": 3.05}, {"temperature_c": 14.9}, {"temperature_c": None}],
)
def test_harsher_conditions_give_a_lower_bound(harsher: dict[str, float | None]) -> None:
    """It proves what it reaches and never discards."""
    assert good(capacity=None).capacity(2.4, 1.2, **harsher).outcome() is Outcome.PACK
    low = good(capacity=None).capacity(0.9, 1.2, **harsher).verdict()
    assert low.outcome is Outcome.HOLD
    assert reason(low, "capacity-light").status is Status.CLOSE


@pytest.mark.parametrize(("temperature_c", "outcome"), [(22.0, Outcome.PACK), (None, Outcome.SOLO)])
def test_a_temperature_that_nobody_recorded_widens_what_a_run_may_be_off_by(
    temperature_c: float | None, outcome: Outcome
) -> None:
    """2.06 Ah are 3 % more than the four fifths of 2.5 Ah that a pack cell needs: enough only where the room is known."""
    assert good(capacity=None).capacity(2.06, 1.2, temperature_c=temperature_c).outcome() is outcome


@pytest.mark.parametrize(
    "easier", [{"discharge_current_a": 0.24}, {"cutoff_v": 2.45}, {"temperature_c": 30.1}]
)
def test_easier_conditions_do_not_count(easier: dict[str, float]) -> None:
    """They would flatter: not comparable, on hold."""
    bench = good(capacity=None).capacity(2.4, 1.2, **easier)
    assert reason(bench.verdict(), "capacity").status is Status.UNMEASURED
    assert bench.outcome() is Outcome.HOLD


@pytest.mark.parametrize(
    "at_limit",
    [
        {"discharge_current_a": 0.25},
        {"discharge_current_a": 1.25},
        {"cutoff_v": 2.5},
        {"cutoff_v": 3.0},
        {"temperature_c": 15.0},
        {"temperature_c": 30.0},
    ],
)
def test_conditions_at_their_limits_count(at_limit: dict[str, float]) -> None:
    """0.1 to 0.5C, 2.5 to 3.0 V, 15 to 30 C, the ends included: a low value then discards."""
    assert good(capacity=None).capacity(0.9, 1.2, **at_limit).outcome() is Outcome.DISCARD


@pytest.mark.parametrize(
    ("cutoff_v", "outcome"),
    [(1.9, Outcome.HOLD), (2.0, Outcome.DISCARD), (2.5, Outcome.DISCARD), (2.6, Outcome.HOLD)],
)
def test_an_iron_phosphate_run_counts_between_the_ends_of_its_sheets(
    cutoff_v: float, outcome: Outcome
) -> None:
    """2.0 to 2.5 V (sheets): a third of the rating then discards, any other end shows nothing or too little."""
    bench = Bench(LFP).found(3.28).look().charge(1.0, until=3.65, amps=0.6)
    assert bench.capacity(1.0, 1.2, discharge_current_a=0.6, cutoff_v=cutoff_v).outcome() is outcome


def test_a_run_without_a_full_charge_before_it_is_a_lower_bound() -> None:
    """No recorded full charge: at least."""
    bench = good(capacity=None)
    bench.charges = bench.charges[1:]
    bench.capacity(0.9, 1.2)
    assert "no recorded full charge" in reason(bench.verdict(), "capacity-light").text
    assert bench.outcome() is Outcome.HOLD


UNRATED = replace(NMC, rated_capacity_ah=None)


@pytest.mark.parametrize(
    ("facts", "ah", "outcome"),
    [
        (UNRATED, 2.4, Outcome.SOLO),
        (UNRATED, 1.3, Outcome.LIGHT),
        (UNRATED, 0.9, Outcome.DISCARD),
        (replace(NMC, rewrapped=True), 2.5, Outcome.SOLO),
    ],
)
def test_unrated_or_rewrapped_is_solo_at_best(facts: CellFacts, ah: float, outcome: Outcome) -> None:
    """Judged against the table for its size: 2000 mAh for an 18650 (common practice)."""
    assert good(facts=facts, capacity=ah).outcome() is outcome


def test_the_best_sibling_raises_the_bar() -> None:
    """A sibling with 2.6 Ah: 1.7 Ah is 65 %, light; against the table it would be 85 %."""
    bench = good(facts=UNRATED, capacity=1.7)
    assert bench.outcome() is Outcome.SOLO
    bench.more["best_sibling"] = BestSibling("77", 2.6)
    assert bench.outcome() is Outcome.LIGHT


def unrated_ah(form: Form, chemistry: Chemistry = Chemistry.NMC) -> float:
    """What a cell of this size is held against where its rating is unknown."""
    facts = CellFacts(chemistry, form, confirmed_rechargeable=True)
    limit = reason(good(facts=facts, capacity=0.9).verdict(), "unrated-capacity").limit
    assert isinstance(limit, float)
    return limit


def test_an_unrated_cell_is_held_against_its_own_size() -> None:
    """No size asks less of its volume than of a flat cell, or more than the newest cells hold; lfp holds less, by its sheets."""
    rules = shipped_rules()
    sizes = [Form(key) for key in rules.limits["size-volume"].values or {}]
    flat = rules.figure("unrated-capacity-density")
    for form in sizes:
        density = unrated_ah(form) / rules.figure("size-volume", form.value)
        assert 0.95 * flat <= density <= 0.75 * rules.figure("capacity-density", form.value), form
    # Sheets: an 18650 of 2.0 Ah is the least of its kind that is sold as one of energy; lfp 26650 of 2.3 to 3.3 Ah.
    assert unrated_ah(Form.F18650) == 2.0
    assert 2.3 <= unrated_ah(Form.F26650, Chemistry.LFP) <= 3.3 < unrated_ah(Form.F26650)


def test_a_pouch_is_judged_by_its_volume() -> None:
    """603450: 6.0 x 34 x 50 mm is 10.2 cm3, 714 mAh at 70 mAh/cm3 (a sheet says 950)."""
    facts = CellFacts(Chemistry.LCO, Form.PRISMATIC, "603450")
    limit = reason(good(facts=facts, capacity=0.9).verdict(), "unrated-capacity").limit
    assert limit == pytest.approx(0.714, rel=1e-3)
    sizeless = CellFacts(Chemistry.LCO, Form.POUCH)
    assert reason(good(facts=sizeless, capacity=0.9).verdict(), "capacity").status is Status.UNMEASURED


def test_more_than_the_size_can_hold_is_contradictory() -> None:
    """An 18650 of 9.9 Ah exists only on sleeves."""
    facts = replace(NMC, rated_capacity_ah=9.9)
    verdict = good(facts=facts, capacity=9.0).verdict()
    assert verdict.outcome is Outcome.HOLD
    assert reason(verdict, "capacity-contradictory").status is Status.CLOSE


@pytest.mark.parametrize(
    ("at", "more"), [(19.2, {}), (90.0, {}), (19.2, {"temperature_c": 26.5}), (19.2, {"temperature_c": 17.5})]
)
def test_a_tenth_less_within_a_quarter_of_a_year_and_five_kelvin_is_contradictory(
    at: float, more: dict[str, float]
) -> None:
    """Wear and a room's warmth explain no tenth of a capacity in that time; later or colder they may."""
    bench = good().charge(at - 0.2).capacity(2.10, at, **more)
    assert reason(bench.verdict(at + 0.1), "capacity-contradictory").ceiling is Outcome.HOLD


def test_two_capacities_that_disagree_hold_until_a_third_agrees() -> None:
    """2.40 then 2.10 Ah within 3 months; a third near the latest settles it."""
    bench = good().charge(19.0).capacity(2.10, 19.2)
    assert reason(bench.verdict(19.5), "capacity-contradictory").ceiling is Outcome.HOLD
    settled = good().charge(19.0).capacity(2.10, 19.2).charge(20.0).capacity(2.11, 20.2)
    assert not reasons(settled.verdict(20.5), "capacity-contradictory")


@pytest.mark.parametrize(
    ("ah", "at", "more"),
    [
        (2.38, 19.2, {}),
        (2.10, 100.0, {}),
        (2.10, 19.2, {"temperature_c": 28.0}),
        (2.10, 19.2, {"cutoff_v": 3.0}),
    ],
)
def test_values_that_agree_or_cannot_be_compared_do_not_contradict(
    ah: float, at: float, more: dict[str, float]
) -> None:
    """Within the root of the squared U, or other conditions, or more than 3 months apart."""
    bench = good().charge(at - 0.2).capacity(ah, at, **more)
    assert not reasons(bench.verdict(at + 0.1), "capacity-contradictory")


def test_a_disputed_low_run_holds_and_an_outvoted_one_is_forgiven() -> None:
    """0.9 Ah against 2.4 Ah: hold; with a third at 2.41 Ah the low one no longer condemns."""
    bench = good().charge(19.0).capacity(0.9, 19.2)
    assert bench.outcome(19.5) is Outcome.HOLD
    bench.charge(20.0).capacity(2.41, 20.2)
    assert not reasons(bench.verdict(21.0), "capacity-discard")


def test_a_capacity_counts_for_twelve_months() -> None:
    """The day before it counts, on the day it is stale and unmeasured."""
    bench = good()
    assert reason(bench.verdict(1.2 + 364.9), "capacity").status is Status.MET
    assert reason(bench.verdict(1.2 + 365.0), "capacity").status is Status.UNMEASURED


def test_a_high_voltage_cell_is_expected_to_hold_88_percent() -> None:
    """Charged to 4.20 V only: 2.0 of 2.5 Ah rated is 91 % of what is expected, with the share's own error."""
    facts = replace(NMC, full_voltage_v=4.35)
    share = reason(good(facts=facts, capacity=2.0).verdict(), "capacity")
    assert share.observed == pytest.approx(2.0 / (2.5 * 0.88))
    assert share.expanded_uncertainty is not None and share.expanded_uncertainty > 0.03
