"""`due`, cell by cell: each kind on its day, with why and what to do."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from tests.acceptance.bench import LFP, NMC, Bench, day, good
from tests.acceptance.test_verdict_laws import benches
from tests.drawing import examples
from tests.safety.keeping_bench import CODES, RULES, due, household, kept, stored, when

from straycell.acceptance import Condemnation, Outcome, SiblingSign, Upset
from straycell.acceptance.case import Case
from straycell.acceptance.permission import charge_refusal, permission, usable
from straycell.builds import Build, BuildState
from straycell.cells import Look, Stage
from straycell.keys import key_of
from straycell.physics.curves import curves_for
from straycell.readings import Quantity
from straycell.safety.due.gather import due_now, survey
from straycell.safety.due.survey import due_kinds

CONDEMNED = {"stage": Stage.CONDEMNED, "condemned": 4.0}


def test_a_cell_that_is_kept_well_asks_for_nothing() -> None:
    """Stored at 3.85 V, checked two weeks later: silence until the next check."""
    assert due(stored().rest(3.849, 35.0), at=60.0) == {}


# --- the clock of checks ---------------------------------------------------------------------------


def test_the_first_check_comes_two_weeks_after_storing() -> None:
    """Counted from when it was brought to storage voltage; a reading taken two days early counts."""
    assert when(stored(), "first-recheck", at=25.0) == day(20.0 + 14)
    assert "first-recheck" not in due(stored(), at=33.9)
    assert "first-recheck" in due(stored(), at=34.1)
    assert when(stored().rest(3.85, 32.0), "first-recheck", at=50.0) is None


def test_let_down_without_a_record_of_it_counts_from_the_first_reading_there() -> None:
    """As found at 3.8 V and measured a day later: stored since it was found."""
    assert when(Bench().found(3.8).rest(3.8, 1.0), "first-recheck", at=2.0) == day(14.0)


def test_a_rest_voltage_is_checked_again_after_ninety_days() -> None:
    """Cell sheets: about once in 3 months."""
    bench = stored().rest(3.85, 36.0)
    assert when(bench, "recheck", at=40.0) == day(36.0 + 90)
    assert "recheck" not in due(bench, at=125.9)
    assert due(bench, at=126.1)["recheck"].why == "last rest voltage 2026-04-06"


def test_after_fourteen_days_of_grace_it_is_late_and_ranks_higher() -> None:
    """Then the verdict does not count it any more either."""
    bench = stored().rest(3.85, 36.0)
    assert "recheck-late" not in due(bench, at=139.9)
    late = due(bench, at=140.1)["recheck-late"]
    assert late.kind.rank < due_kinds()["recheck"].rank
    assert kept(bench, 140.1).verdict.outcome.word == "hold"


def test_a_cell_that_was_never_measured_is_not_forgotten() -> None:
    """Received and put aside: two weeks, then it is due, whatever box it lies in."""
    assert "first-recheck" in due(Bench().look(), at=15.0, added=0.0)
    assert "first-recheck" not in due(Bench().look(), at=13.0, added=0.0)


def test_a_cell_on_hold_with_nothing_done_for_a_month_is_told() -> None:
    """Its next step stands in the verdict."""
    bench = Bench().found(3.6).look()
    assert "forgotten" in due(bench, at=31.0)
    assert "forgotten" not in due(bench, at=29.0)


def test_a_cell_that_waits_for_the_charge_of_its_check_is_told_for_as_long_as_it_waits() -> None:
    """The check would be over a week after it is begun, whenever that is: it could begin today."""
    bench = good(first=None, second=None).rest(3.6, 3.0)
    bench.charges = bench.charges[:1]
    for at in (32.0, 60.0, 300.0):
        assert "full charge to start from" in due(bench, at=at)["forgotten"].why
    assert "forgotten" not in due(bench, at=30.0)


def test_a_month_is_counted_from_the_last_step_forward() -> None:
    """Measured on day 1.3 and again on day 20: a month after that, not after the first."""
    bench = good(look=None).resistance(0.05, at=20.0)
    assert when(bench, "forgotten", at=49.0) == day(20.0 + 30.0)


def test_checks_on_the_shelf_do_not_hide_that_nothing_moves() -> None:
    """On hold with its look missing: rest voltages every few weeks are care, and no step forward."""
    bench = good(look=None).charge(20.0, until=3.85).rest(3.85, 34.0).rest(3.85, 60.0)
    assert "forgotten" in due(bench, at=61.0)


# --- readings that grow old ------------------------------------------------------------------------


def checked_until(at: float) -> Bench:
    """The stored cell, its rest voltage checked every two months."""
    bench = stored()
    for number in range(1, int(at / 60) + 1):
        bench.rest(3.85, 60.0 * number)
    return bench


def test_a_capacity_is_told_thirty_days_before_it_is_too_old() -> None:
    """Taken on day 1.2, it counts for 365 days (rules): told from day 336.2 on, and not before."""
    bench = checked_until(330.0)
    assert when(bench, "ages", at=331.0) == day(1.2 + 365 - 30)
    assert "ages" not in due(bench, at=336.1)
    item = due(bench, at=336.3)["ages"]
    assert item.why.startswith("capacity of 2026-03-02 counts until 2027-03-02, resistance of 2026-03-02")
    assert "--capacity" in item.todo and "--resistance" in item.todo and "full charge before it" in item.todo
    assert kept(bench, 336.3).verdict.outcome is Outcome.PACK


def test_once_it_is_too_old_the_cell_is_on_hold_and_still_told() -> None:
    """The day the rules stop accepting it is the day the verdict falls."""
    bench = checked_until(365.0)
    assert kept(bench, 366.1).verdict.outcome is Outcome.PACK
    assert kept(bench, 366.6).verdict.outcome is Outcome.HOLD
    assert "too old to count since 2027-03-02" in due(bench, at=366.6)["ages"].why


def test_only_what_runs_out_is_asked_for() -> None:
    """A resistance measured again in autumn needs no repeat in spring; then no charge is asked for either."""
    bench = checked_until(330.0).resistance(0.051, at=250.0)
    item = due(bench, at=340.0)["ages"]
    assert "resistance" not in item.why and "--resistance" not in item.todo
    again = (
        checked_until(330.0).charge(303.0).capacity(2.39, 304.0).charge(304.5, until=3.85).rest(3.85, 306.0)
    )
    item = due(again, at=340.0)["ages"]
    assert "capacity" not in item.why and "full charge" not in item.todo


def test_measuring_both_again_moves_it_a_year_on() -> None:
    """Counted from the new readings."""
    bench = checked_until(330.0).charge(339.0).capacity(2.39, 340.0).resistance(0.051, at=340.1)
    assert when(bench, "ages", at=341.0) == day(340.0 + 365 - 30)


def test_what_was_never_measured_does_not_grow_old() -> None:
    """The verdict asks for a first one by itself."""
    assert when(Bench().found(3.6).look().rest(3.6, 1.0), "ages", at=20.0) is None


def test_a_rule_file_of_ones_own_moves_the_day() -> None:
    """No age stands in the code: with half a year in the rules it is told after five months."""
    limit = replace(RULES.limits["age-capacity"], values={"any": 182.0})
    rules = replace(RULES, limits={**RULES.limits, "age-capacity": limit})
    there = kept(checked_until(120.0), 121.0)
    case = Case(there.evidence, there.evidence.facts, rules, there.now)
    moved = replace(there, case=case)
    (item,) = [i for i in survey(household(moved, at=121.0)) if i.kind.id == "ages"]
    assert item.at == day(1.2 + 182 - 30)


# --- storage voltage -------------------------------------------------------------------------------


def test_a_cell_is_not_left_full_after_its_check() -> None:
    """The pair is decided on day 18.2: bring it to 3.7 to 3.9 V, that day."""
    item = due(good(), at=18.5)["full"]
    assert item.at == day(18.2) and "3.7 to 3.9 V" in item.todo


def test_a_running_check_may_keep_it_full() -> None:
    """First rest voltage on day 3.2: for pack the check can end on day 17.2, and not before."""
    bench = good(second=None)
    assert "full" not in due(bench, at=17.1)
    for at in (17.3, 25.0):
        item = due(bench, at=at)["full"]
        assert item.at == day(17.2) and "last rest voltage first" in item.why


def test_seven_days_are_enough_where_solo_is_the_best_to_be_had() -> None:
    """Rating unknown: at best solo, so nothing is won by fourteen days."""
    bench = good(facts=replace(NMC, rated_capacity_ah=None), second=None)
    assert due(bench, at=10.3)["full"].at == day(10.2)


def test_a_check_goes_on_where_more_days_may_give_more() -> None:
    """Seven days are enough for solo, pack wants fourteen: the second reading on day 10.3 is not the end."""
    bench = good(second=4.176, days=7.1)
    assert "full" not in due(bench, at=12.0)
    assert due(bench, at=17.3)["full"].at == day(3.2 + 14)


def test_a_low_start_keeps_the_check_for_twenty_eight_days() -> None:
    """Rules: below 4.13 V the curves disagree; leaving it earlier would decide nothing."""
    assert when(good(first=4.10, second=None), "full", at=20.0) == day(3.2 + 28)


def test_a_check_whose_first_rest_voltage_was_forgotten_ends_too() -> None:
    """Reckoned as if it had been taken a day after the charge."""
    assert when(good(first=None, second=None), "full", at=30.0) == day(2.0 + 1 + 14)


def test_a_full_charge_that_no_check_follows_is_not_waited_for_forever() -> None:
    """Charged after a decided check: no reason to keep it there but the next check's days."""
    bench = good().charge(30.0)
    assert "full" in due(bench, at=80.0)


def test_a_cell_is_not_left_empty_after_its_capacity_run() -> None:
    """A day of grace to put it on the charger; charging ends it."""
    bench = Bench().found(3.6).look().charge(1.0).capacity(2.4, 1.5)
    assert "empty" not in due(bench, at=2.0)
    item = due(bench, at=2.6)["empty"]
    assert item.at == day(2.5) and "3.7 to 3.9 V" in item.todo
    assert "empty" not in due(bench.charge(2.7), at=3.0)


@pytest.mark.parametrize(
    ("volts", "told"), [(4.05, True), (3.95, True), (3.89, False), (3.71, False), (3.60, True), (3.20, True)]
)
def test_a_storage_voltage_out_of_its_window_is_told(volts: float, told: bool) -> None:
    """3.7 to 3.9 V, about 3.82 V at 40 % (handbook)."""
    found = due(Bench().found(volts).look().rest(volts, 0.5), at=5.0)
    assert ("storage-voltage" in found) is told


def test_within_its_uncertainty_of_the_edge_advice_does_not_flutter() -> None:
    """The pocket meter's U at 3.9 V is some 5 mV: 3.903 V may lie inside."""
    assert "storage-voltage" not in due(Bench().found(3.903).rest(3.903, 0.5), at=5.0)


def test_lfp_is_brought_to_storage_by_charge() -> None:
    """Voltage does not tell there: 30 to 50 % of 3.0 Ah are 900 to 1500 mAh (LFP sheet)."""
    bench = Bench(LFP).found(3.30).look().charge(1.0, until=3.65).capacity(3.0, 1.5)
    item = due(bench, at=3.0)["empty"]
    assert "900 to 1500 mAh" in item.todo
    assert "storage-voltage" not in due(bench.charge(3.0, until=3.4).rest(3.31, 4.5), at=20.0)


def test_an_lfp_check_lasts_four_weeks_and_ends_with_a_run() -> None:
    """Retention idea of IEC 61960: 28 days after the full charge the run is compared; earlier it tells nothing."""
    bench = Bench(LFP).found(3.30).look().charge(1.0, until=3.65)
    bench.capacity(2.9, 1.5, cutoff_v=2.5, discharge_current_a=0.6).charge(2.0, until=3.65).rest(3.34, 9.0)
    assert "full" not in due(bench, at=29.9)
    item = due(bench, at=30.1)["full"]
    assert item.at == day(2.0 + 28) and "take its last capacity run first" in item.why
    assert due(bench, at=45.0)["full"].at == day(30.0)


def test_an_lfp_cell_left_full_is_told_though_its_voltage_looks_stored() -> None:
    """3.33 V a day after a full charge: what was done counts."""
    bench = Bench(LFP).found(3.30).look().charge(1.0, until=3.65).rest(3.33, 2.1)
    assert "full" in due(bench, at=40.0)


# --- before it sinks -------------------------------------------------------------------------------


def test_a_low_cell_is_charged_before_it_sinks() -> None:
    """3.45 V is a few per cent of charge: at 5 % a month it may be below 3.0 V before the next check."""
    found = due(Bench().found(3.45).look().rest(3.45, 0.5), at=1.0)
    assert "charge it to 3.7 to 3.9 V" in found["sinks-soon"].todo


def test_a_cell_in_the_window_does_not_sink_before_its_next_check() -> None:
    """A third of its charge lasts half a year and more, even at 5 % a month."""
    assert "sinks-soon" not in due(Bench().found(3.80).look().rest(3.80, 0.5), at=1.0)


def test_a_cell_below_its_shelf_limit_is_a_danger() -> None:
    """Below 3.0 V: an attended test charge, until it has been charged."""
    bench = good().capacity(2.4, 58.0).rest(2.95, 60.0)
    item = due(bench, at=61.0)["sinking"]
    assert item.kind.danger and "attended" in item.todo
    assert "sinking" not in due(bench.charge(61.0), at=62.0)


def test_a_voltage_too_close_to_a_safety_limit_is_told() -> None:
    """4.249 V may be above 4.25 V: not a pass."""
    assert "voltage" in due(good().rest(4.249, 25.0), at=26.0)


# --- look, warmth, incidents, siblings -------------------------------------------------------------


def test_a_cell_that_became_warm_is_told_until_a_gentler_charge_clears_it() -> None:
    """12 K over ambient: neither fine nor too much."""
    bench = good(peak=34.0)
    assert "warm" in due(bench, at=20.0)
    assert "warm" not in due(bench.charge(21.0, amps=0.5, peak=25.0), at=22.0)


@pytest.mark.parametrize(("kind", "listed"), [("drop", "incident"), ("warm", "warm")])
def test_an_incident_is_due_until_it_is_tested_anew(kind: str, listed: str) -> None:
    """Look, rest voltage, resistance and a new self-discharge check, all four."""
    bench = stored()
    bench.more = {"upsets": (Upset(kind, day(30.0)),)}
    assert listed in due(bench, at=30.5)
    bench.look(at=31.0).rest(3.85, 32.0)
    assert listed in due(bench, at=33.0)
    bench.resistance(0.05, at=33.0)
    assert "self-discharge" in due(bench, at=34.0)[listed].why
    bench.charge(35.0).rest(4.18, 37.0)
    assert listed not in due(bench.rest(4.17, 52.0), at=53.0)


def test_a_sibling_of_a_leaking_cell_is_due() -> None:
    """One more look and a second check."""
    bench = stored()
    bench.more = {"sibling_signs": (SiblingSign(CODES[1], Look.LEAKING, day(25.0)),)}
    item = due(bench, at=26.0)["sibling"]
    assert CODES[1] in item.why and item.at == day(25.0)


def test_a_sibling_that_was_looked_at_is_due_when_its_second_check_ends() -> None:
    """Charged full on day 26: the sign of day 25 asks for no more today, the check has its days first."""
    bench = stored()
    bench.more = {"sibling_signs": (SiblingSign(CODES[1], Look.LEAKING, day(25.0)),)}
    bench.look(at=25.5).charge(26.0).rest(4.18, 27.5)
    assert due(bench, at=27.6).get("sibling") is None
    later = next(i for i in survey(household(kept(bench, 27.6), at=27.6)) if i.kind.id == "sibling")
    # Its check takes 28 days: whoever lets it down after the usual fortnight begins again.
    assert later.at == day(27.5 + 28.0)
    assert "full" not in due(bench, at=27.5 + 27.0)


@pytest.mark.parametrize(("after", "days"), [("drop", 14.0), ("frost", 28.0), ("hurry", 14.0)])
def test_a_cell_that_is_charged_for_a_check_after_something_happened_stays_full_for_it(
    after: str, days: float
) -> None:
    """Its earlier check is good, so only what happened asks for another one."""
    bench = stored()
    if after == "drop":
        bench.more = {"upsets": (Upset("drop", day(30.0)),)}
    elif after == "frost":
        bench.charge(30.0, until=3.85, amps=0.4, ambient=-5.0, peak=0.0)
    else:
        bench.charge(30.0, until=3.85, amps=1.2, ambient=2.0, peak=5.0)
    bench.look(at=31.0).rest(3.85, 31.0).resistance(0.05, at=31.0).charge(32.0).rest(4.17, 33.5)
    assert "full" not in due(bench, at=33.5 + days - 0.1)
    assert "the check can end" in due(bench, at=33.5 + days + 0.1)["full"].why


def leaking_shelf(percent_month: float) -> Bench:
    curve = curves_for(NMC.chemistry)[0]
    volts = curve.voltage(curve.state_of_charge(3.85) - percent_month / 100 * 40 / 30)
    return stored().rest(volts, 61.5)


def test_a_cell_that_leaks_on_the_shelf_is_told() -> None:
    """12 % a month, beyond the discard limit: held and due."""
    assert "falling" in due(leaking_shelf(12.0), at=62.0)
    assert "falling" not in due(leaking_shelf(1.0), at=62.0)


def test_a_leaking_cell_brought_to_storage_voltage_is_still_a_danger() -> None:
    """Only a full charge begins the check that can answer it."""
    for until, told in ((3.85, True), (4.2, False)):
        charged = leaking_shelf(12.0).charge(63.0, until=until)
        assert ("falling" in due(charged, at=64.0)) is told


def test_a_repeat_is_not_let_down_before_it_can_tell() -> None:
    """After a short run a whole check; after a loss in the first days these days, and then the rest voltage is asked for."""
    short, early = good().capacity(0.9, 19.0).charge(22.0), good().charge(20.0).rest(4.05, 21.0).charge(22.0)
    for bench, days in ((short, 15.0), (early, 3.0)):
        assert due(bench, at=22.0 + days - 0.1) == {}
        assert "rest voltage first" in due(bench, at=22.0 + days + 0.1)["full"].why


def test_a_loss_that_is_being_checked_hides_no_later_one() -> None:
    """7 % gone a day after a charge, repeated; a week after the repeat 62 % are gone."""
    repeated = good().charge(22.0).rest(4.05, 23.0).charge(24.0)
    assert "falling" not in due(repeated, at=24.5)
    assert "900 mAh 7 days after" in due(repeated.capacity(0.9, 31.0), at=31.5)["falling"].why


# --- condemned cells -------------------------------------------------------------------------------


def test_a_swollen_cell_is_set_apart_at_once() -> None:
    """Worst of all on a bench; done when it lies in a fit box without good cells."""
    bench = good(look=(Look.SWOLLEN,))
    assert "isolate" in due(bench, at=4.0, box=None, **CONDEMNED)
    assert "isolate" in due(bench, at=4.0, box="shelf", **CONDEMNED)
    assert "isolate" not in due(bench, at=4.0, box="tin", **CONDEMNED)


def test_a_condemned_cell_among_good_ones_is_told() -> None:
    """A cell is condemned by a reading where it lies: the box is mixed before anybody moves a hand."""
    bad = kept(good(capacity=0.9), 20.0, stage=Stage.CONDEMNED, condemned=19.0)
    fine = kept(stored(), 20.0, code=CODES[1])
    (item, *_) = due_now(survey(household(bad, fine, at=20.0)), day(20.0))
    assert item.kind.id == "set-apart" and "good cells too" in item.why


@pytest.mark.parametrize(
    ("bench", "kind", "days"),
    [(good(look=(Look.SWOLLEN,)), "handover-damaged", 14), (good(capacity=0.9), "handover", 90)],
)
def test_a_condemned_cell_does_not_wait_longer_than_allowed(bench: Bench, kind: str, days: int) -> None:
    """Two weeks for a damaged one, three months for an intact one."""
    assert when(bench, kind, at=5.0, **CONDEMNED) == day(4.0 + days)
    assert kind in due(bench, at=4.1 + days, **CONDEMNED)
    assert kind not in due(bench, at=3.9 + days, **CONDEMNED)


def test_a_condemned_cell_is_never_asked_to_be_measured() -> None:
    """No charge, no check, no rest voltage: only apart and away."""
    found = due(good(found=1.2), at=400.0, **CONDEMNED)
    assert set(found) == {"handover-damaged"}


def test_a_condemned_cell_in_a_device_comes_first() -> None:
    """It is in there, whatever the book says."""
    item = due(good(look=(Look.SWOLLEN,)), at=5.0, build="lamp", **CONDEMNED)["in-device"]
    assert item.kind.rank == 0 and "build dismantle 'lamp'" in item.todo


@pytest.mark.parametrize(("surroundings_c", "asked"), [(20.0, True), (29.0, False)])
def test_a_cell_that_is_warm_in_its_device_is_taken_out(surroundings_c: float, asked: bool) -> None:
    """A doubt that holds a cell on the shelf means opening the device that it is in."""
    bench = good().read(Quantity.TEMPERATURE, 30.0, 30.0, surroundings_c=surroundings_c, rested_s=86400.0)
    lamp = Build(key_of("A-90"), "lamp", BuildState.FINISHED, ((CODES[0],),), "", day(21.0), day(21.0))
    cell = kept(bench, 31.0, build="lamp", stage=Stage.INSTALLED)
    found = survey(household(cell, at=31.0, builds=(lamp,)))
    assert ("in-device" in {item.kind.id for item in found}) is asked


@pytest.mark.parametrize(
    ("bench", "rule", "asked"),
    [
        (good(peak=34.0), "warming", True),
        # The device emptied it, which no opening mends.
        (stored().rest(2.9, 30.0), "rest-voltage", False),
    ],
)
def test_a_cell_that_became_warm_on_charge_is_taken_out_and_one_that_was_emptied_is_not(
    bench: Bench, rule: str, asked: bool
) -> None:
    lamp = Build(key_of("A-90"), "lamp", BuildState.FINISHED, ((CODES[0],),), "", day(21.0), day(21.0))
    cell = kept(bench, 31.0, build="lamp", stage=Stage.INSTALLED)
    alone = tuple(r for r in cell.verdict.reasons if r.rule == rule)
    assert [r.ceiling for r in alone] == [Outcome.HOLD]
    cell = replace(cell, verdict=replace(cell.verdict, outcome=Outcome.HOLD, reasons=alone))
    found = survey(household(cell, at=31.0, builds=(lamp,)))
    assert ("in-device" in {item.kind.id for item in found}) is asked


def test_a_cell_that_has_left_is_silent() -> None:
    """Handed over: nothing is due any more."""
    assert due(good(look=(Look.SWOLLEN,)), at=500.0, stage=Stage.HANDED_OVER, condemned=4.0) == {}


def test_by_hand_and_not_looked_at_since_counts_as_damaged() -> None:
    """What cannot be diagnosed before carriage is not intact (special provision 376)."""
    bench = good()
    bench.more = {"condemned": Condemnation("sat on", day(19.0))}
    state = {"stage": Stage.CONDEMNED, "condemned": 19.0}
    assert "handover-damaged" in due(bench, at=40.0, **state)
    assert "handover-damaged" not in due(bench.look(at=41.0), at=42.0, **state)


def test_every_item_says_why_and_what_to_do_without_gaps() -> None:
    """No place of a text stays unfilled, every kind has its source."""
    for kind in due_kinds().values():
        assert kind.source and kind.title
    cells = [
        kept(good(), 200.0),
        kept(good(found=1.2), 200.0, code=CODES[1], stage=Stage.CONDEMNED, condemned=0.0, box=None),
        kept(Bench().found(3.3).rest(3.3, 1.0), 200.0, code=CODES[2]),
        kept(Bench(LFP).charge(1.0, until=3.65).capacity(3.0, 1.5), 200.0, code=CODES[3]),
    ]
    items = survey(household(*cells, at=200.0))
    assert len({item.kind.id for item in items}) >= 7
    for item in items:
        assert item.why and item.todo and "{" not in item.todo and item.subject
    assert [item.order for item in items] == sorted(item.order for item in items)


def test_the_same_household_gives_the_same_list_in_any_order() -> None:
    """Ties break on the code."""
    cells = [kept(good(), 60.0, code=code) for code in CODES]
    assert survey(household(*cells, at=60.0)) == survey(household(*reversed(cells), at=60.0))


def test_looks_and_readings_of_other_quantities_do_not_reset_the_clock() -> None:
    """Only a rest voltage is a check."""
    bench = stored().rest(3.85, 36.0).look(at=100.0).read(Quantity.RESISTANCE, 100.0, 0.05)
    assert when(bench, "recheck", at=101.0) == day(126.0)


# --- no danger that the verdict does not know ------------------------------------------------------


def _leaking_sibling() -> Bench:
    bench = stored()
    bench.more = {"sibling_signs": (SiblingSign(CODES[1], Look.LEAKING, day(25.0)),)}
    return bench


def _dropped() -> Bench:
    bench = stored()
    bench.more = {"upsets": (Upset("drop", day(30.0)),)}
    return bench


DANGERS: dict[str, tuple[Bench, float, dict[str, Any]]] = {
    "in-device": (good(look=(Look.SWOLLEN,)), 5.0, CONDEMNED | {"build": "lamp"}),
    "isolate": (good(look=(Look.SWOLLEN,)), 5.0, CONDEMNED | {"box": None}),
    "warm": (good(peak=34.0), 20.0, {}),
    "incident": (_dropped(), 31.0, {}),
    "falling": (leaking_shelf(12.0), 62.0, {}),
    "sinking": (good().capacity(2.4, 58.0).rest(2.95, 60.0), 61.0, {}),
    "voltage": (good().rest(4.249, 25.0), 26.0, {}),
    "doubt": (good().look(Look.STAINED, at=19.0), 20.0, {}),
    "sibling": (_leaking_sibling(), 26.0, {}),
    "handover-damaged": (good(look=(Look.SWOLLEN,)), 30.0, CONDEMNED),
    "set-apart": (good(capacity=0.9), 20.0, CONDEMNED | {"box": None}),
}


def test_each_danger_has_its_cell_here() -> None:
    """A kind added to due.toml needs one, else the law below would not speak of it."""
    assert set(DANGERS) == {kind.id for kind in due_kinds().values() if kind.danger}


@pytest.mark.parametrize("kind", DANGERS)
def test_a_danger_that_is_due_is_known_to_the_verdict(kind: str) -> None:
    """What `due` calls a danger nobody may use or be offered, and the verdict says so by itself."""
    bench, at, more = DANGERS[kind]
    assert kind in due(bench, at, **more)
    verdict = kept(bench, at, **more).verdict
    assert not usable(verdict.outcome)
    assert permission(verdict.outcome, Stage.SHELVED, verdict.valid_until, day(at)).against_offer()


@examples(60)
@given(benches(), st.floats(2.0, 200.0))
def test_no_cell_has_a_danger_that_its_verdict_does_not_know(bench: Bench, at: float) -> None:
    """Whatever was recorded of it."""
    there = kept(bench, at)
    dangers = [item for item in survey(household(there, at=at)) if item.kind.danger]
    assert not dangers or not usable(there.verdict.outcome), [item.kind.id for item in dangers]


@examples(60)
@given(benches(), st.floats(2.0, 200.0))
def test_due_never_asks_for_a_charge_that_is_forbidden(bench: Bench, at: float) -> None:
    """Then it says why, and what comes first."""
    there = kept(bench, at)
    refusal = charge_refusal(there.verdict, bench.facts.chemistry)
    for item in survey(household(there, at=at)):
        if refusal is not None and (item.kind.charge or "charge add" in item.todo):
            assert item.todo.startswith(refusal.why)


def test_a_low_cell_whose_look_is_missing_since_a_drop_is_not_sent_to_the_charger() -> None:
    """Below its shelf limit the usual step is a test charge; after a drop the look comes first."""
    bench = good().capacity(2.4, 58.0).rest(2.95, 60.0)
    assert due(bench, at=61.0)["sinking"].todo.startswith("its test charge")
    bench.more = {"upsets": (Upset("drop", day(60.5)),)}
    assert due(bench, at=61.0)["sinking"].todo.startswith(
        "no charge yet: nobody has looked at it since 'drop'"
    )


@pytest.mark.parametrize(
    "bench",
    [
        good().look(Look.TORN_SLEEVE, at=19.0),
        good().look(Look.STAINED, at=19.0),
        good().read(Quantity.TEMPERATURE, 19.0, 30.0, surroundings_c=22.0, rested_s=7200.0),
        good().read(Quantity.TEMPERATURE, 19.0, 50.0),
        good().read(Quantity.MASS, 1.0, 45.0).read(Quantity.MASS, 19.0, 44.0),
        good().charge(19.0, ambient=-10.0, peak=-8.0, amps=0.3),
        good().charge(19.0, ambient=2.0, peak=3.0),
        good().charge(19.0, amps=6.0),
        good(facts=replace(NMC, protection_board=True)).found(0.3, at=19.0),
        good().charge(18.0).rest(3.98, 19.1),
        good().read(Quantity.VOLTAGE, 19.0, 0.01, doubt="0 V at the end of a trace"),
    ],
    ids=lambda bench: kept(bench, 20.0).verdict.deciding[0].rule,
)
def test_no_danger_that_holds_a_cell_is_left_out(bench: Bench) -> None:
    """What the verdict knows the list knows, from the day on which it was seen."""
    assert kept(bench, 20.0).verdict.outcome is Outcome.HOLD
    assert any(item.kind.danger for item in due(bench, at=20.0).values())
