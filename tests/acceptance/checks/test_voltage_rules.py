"""Deep discharge, over-charge, as found and on the shelf: at, just inside and just outside each limit.

Limits: handbook dwell rule 2.00 V/cell; sheets 4.20 +/- 0.05 V;
lfp and the rest: common practice, no published source.
"""

from __future__ import annotations

from dataclasses import replace

import pytest
from tests.acceptance.bench import FINE, LFP, NMC, Bench, day, good, reason, reasons

from straycell.acceptance import Outcome, Status
from straycell.cells import CellFacts, Chemistry, Form
from straycell.keys import RecordKey
from straycell.readings import Quantity, Where

U_FINE = 2 * ((0.0005 * 2.0 + 0.001) ** 2 / 3 + 0.001**2 / 12) ** 0.5
"""U at 2 V: limits 0.05 % + 1 mV rectangular, 1 mV steps (JCGM 100:2008, 4.3.7)."""


@pytest.mark.parametrize(
    ("volts", "outcome"),
    [
        (1.50, Outcome.DISCARD),
        (2.0 - U_FINE - 1e-4, Outcome.DISCARD),
        (2.0, Outcome.DISCARD),
        (2.0 + U_FINE - 1e-4, Outcome.DISCARD),
        (2.0 + U_FINE + 1e-4, Outcome.HOLD),  # then light at best, but 28 days are not over
        (2.49, Outcome.HOLD),
        (2.51, Outcome.PACK),
    ],
)
def test_as_found_voltage_takes_the_worse_side(volts: float, outcome: Outcome) -> None:
    """What was found cannot be measured again: too close to 2.0 V counts as below."""
    assert good(found=volts).outcome() is outcome


@pytest.mark.parametrize(
    ("volts", "outcome"),
    [
        (2.0 - U_FINE - 1e-4, Outcome.DISCARD),
        (2.0 - U_FINE + 1e-4, Outcome.HOLD),
        (2.0, Outcome.HOLD),
        (2.0 + U_FINE - 1e-4, Outcome.HOLD),
    ],
)
def test_rest_voltage_below_two_volts_discards_only_beyond_its_uncertainty(
    volts: float, outcome: Outcome
) -> None:
    """A rest voltage can be measured again: noise must not condemn, and close is no pass."""
    assert emptied().rest(volts, 25.0).outcome(26.0) is outcome


def emptied() -> Bench:
    """A good cell after a capacity run: what it shows now is no leak."""
    return good().capacity(2.4, 20.0)


def test_a_shelf_voltage_without_a_meter_needs_more_distance() -> None:
    """1.98 V without a meter is within U (about 23 mV) of 2.0 V: hold; 1.95 V is beyond."""
    assert emptied().rest(1.985, 25.0, meter=None).outcome(26.0) is Outcome.HOLD
    assert emptied().rest(1.950, 25.0, meter=None).outcome(26.0) is Outcome.DISCARD


def test_a_low_voltage_discards_for_ever() -> None:
    """A later full charge and fine readings bring nothing back."""
    bench = good().rest(1.8, 25.0).charge(26.0).rest(4.18, 28.0).rest(4.175, 50.0)
    assert bench.outcome(51.0) is Outcome.DISCARD


def test_too_close_to_the_floor_is_settled_by_a_better_reading_before_any_charge() -> None:
    """The hold names a second reading; one that clears 2.0 V leaves light at best, never a pass to pack."""
    close = good().rest(2.001, 25.0)
    assert reason(close.verdict(26.0), "voltage-floor").status is Status.CLOSE
    settled = good().rest(2.001, 25.0).rest(2.05, 25.1)
    assert reason(settled.verdict(26.0), "voltage-floor").status is Status.MET
    assert reason(settled.verdict(26.0), "voltage-light-only").ceiling is Outcome.LIGHT
    charged = good().rest(2.001, 25.0).charge(26.0).rest(4.1, 28.0)
    assert reason(charged.verdict(29.0), "voltage-floor").status is Status.CLOSE


@pytest.mark.parametrize("volts", [2.05, 2.3, 2.49])
def test_once_low_is_light_at_best_for_ever(volts: float) -> None:
    """2.0 to 2.5 V as found: with 28 days of self-discharge it reaches light, not more."""
    bench = good(found=volts, first=4.18, second=4.16, days=29.0)
    assert bench.outcome(33.0) is Outcome.LIGHT
    assert good(found=volts, first=4.18, second=4.17, days=15.0).outcome() is Outcome.HOLD


def test_as_found_never_recorded_is_light_at_best_unless_bought_new() -> None:
    """Old stock: light and 28 days; bought new is excepted."""
    assert good(found=None, second=4.16, days=29.0).outcome(33.0) is Outcome.LIGHT
    new = CellFacts(Chemistry.NMC, Form.F18650, "INR18650", rated_capacity_ah=2.5, bought_new=True)
    assert good(found=None, facts=new).outcome() is Outcome.PACK


@pytest.mark.parametrize(
    ("volts", "outcome"),
    [
        (4.20, Outcome.PACK),
        (4.245, Outcome.PACK),
        (4.2495, Outcome.HOLD),
        (4.2505, Outcome.HOLD),
        (4.27, Outcome.DISCARD),
    ],
)
def test_over_charge_of_a_four_volt_cell(volts: float, outcome: Outcome) -> None:
    """Above 4.25 V beyond U discards, within U holds."""
    bench = good().rest(volts, 19.0, rested_s=60.0)
    assert bench.outcome() is outcome


def test_over_charge_found_so_takes_the_worse_side() -> None:
    """As found within U of 4.25 V counts as above."""
    assert good(found=4.249).outcome() is Outcome.DISCARD


def test_a_marked_high_voltage_cell_has_its_own_ceiling() -> None:
    """A 4.35 V marking moves the ceiling to 4.40 V."""
    facts = CellFacts(Chemistry.LCO, Form.F18650, "ICR18650", rated_capacity_ah=2.5, full_voltage_v=4.35)
    assert reason(good(facts=facts, found=4.30).verdict(), "voltage-over-full").status is Status.MET
    assert good(facts=facts, found=4.42).outcome() is Outcome.DISCARD


@pytest.mark.parametrize(
    ("until", "outcome"), [(4.2, Outcome.PACK), (4.25, Outcome.PACK), (4.30, Outcome.DISCARD)]
)
def test_a_charge_to_too_high_a_voltage_discards(until: float, outcome: Outcome) -> None:
    """The charger's end voltage is a voltage at the cell."""
    bench = good()
    bench.charges[0] = type(bench.charges[0])(
        RecordKey("A", 3), "A00001O", bench.charges[0].at, 1.0, until, 0.05, 22.0, 26.0
    )
    assert bench.outcome() is outcome


@pytest.mark.parametrize(
    ("volts", "outcome"),
    [
        (1.45, Outcome.DISCARD),
        (1.501, Outcome.DISCARD),
        (1.55, Outcome.HOLD),
        (3.69, Outcome.HOLD),
        (3.72, Outcome.DISCARD),
    ],
)
def test_lfp_has_its_own_column(volts: float, outcome: Outcome) -> None:
    """1.5 V floor, 3.70 V ceiling (an lfp cell is on hold here anyway: its curve is flat)."""
    bench = good(facts=LFP, found=volts, capacity=2.9, resistance=0.02, first=3.34, second=3.335)
    bench.charges = [type(c)(c.id, c.cell, c.at, 1.0, 3.65, 0.05, 22.0, 26.0) for c in bench.charges]
    assert bench.outcome() is outcome


def test_lfp_on_a_four_volt_charge_discards() -> None:
    """4.20 V is an over-charge for lfp."""
    bench = good(facts=LFP, capacity=2.9, resistance=0.02, first=3.34, second=3.335)
    assert reason(bench.verdict(), "voltage-over-full").status is Status.FAILED


@pytest.mark.parametrize(
    ("volts", "status", "outcome"),
    [
        (3.10, Status.MET, Outcome.PACK),
        (3.0, Status.CLOSE, Outcome.HOLD),
        (2.80, Status.CLOSE, Outcome.HOLD),
        (2.52, Status.CLOSE, Outcome.HOLD),
    ],
)
def test_sinking_on_the_shelf_holds(volts: float, status: Status, outcome: Outcome) -> None:
    """2.5 to 3.0 V at rest: test charge, then self-discharge again."""
    verdict = good().capacity(2.4, 24.0).rest(volts, 25.0).verdict(26.0)
    assert reason(verdict, "rest-voltage").status is status
    assert verdict.outcome is outcome


@pytest.mark.parametrize(
    ("facts", "volts", "sunk"),
    [(LFP, 2.85, False), (LFP, 2.75, True), (replace(NMC, chemistry=Chemistry.UNKNOWN), 2.95, True)],
)
def test_iron_phosphate_sinks_lower_and_an_unknown_kind_as_early_as_any(
    facts: CellFacts, volts: float, sunk: bool
) -> None:
    """Its curve is empty half a volt lower; what nobody knows is held to the highest of all limits."""
    held = [
        r
        for r in Bench(facts).found(3.3).look().rest(volts, 25.0).verdict(26.0).reasons
        if r.rule == "rest-voltage"
    ]
    assert [r.status is Status.CLOSE for r in held] == [sunk]


def test_after_sinking_the_self_discharge_check_starts_anew() -> None:
    """The check done before does not count; one begun after it does."""
    sunk = good().capacity(2.4, 24.0).rest(2.9, 25.0)
    recharged = good().capacity(2.4, 24.0).rest(2.9, 25.0).charge(26.0).rest(4.18, 27.5)
    assert recharged.outcome(28.0) is Outcome.HOLD
    anew = good().capacity(2.4, 24.0).rest(2.9, 25.0).charge(26.0).rest(4.18, 27.5).rest(4.17, 43.0)
    assert sunk.outcome(26.0) is Outcome.HOLD
    assert anew.outcome(44.0) is Outcome.PACK


BOARDED = CellFacts(Chemistry.NMC, Form.F18650, "INR18650", rated_capacity_ah=2.5, protection_board=True)


@pytest.mark.parametrize("where", [Where.BOARD, None])
def test_a_tripped_board_tells_nothing_of_the_cell(where: Where | None) -> None:
    """0.1 V over a board is unmeasured, not deep discharge; the hold says to measure at the tabs."""
    verdict = good(facts=BOARDED, found=None).found(0.1, where=where).verdict()
    assert verdict.outcome is Outcome.HOLD
    held = reason(verdict, "board-voltage")
    assert held.status is Status.UNMEASURED and "tabs" in held.todo.words
    assert not reasons(verdict, "voltage-floor") or reason(verdict, "voltage-floor").status is Status.MET


def test_low_at_the_tabs_of_a_boarded_cell_discards() -> None:
    """Taken at the cell's own tabs it counts like any other."""
    assert good(facts=BOARDED, found=None).found(1.2, where=Where.TABS).outcome() is Outcome.DISCARD


def test_unknown_chemistry_keeps_only_the_limits_of_every_chemistry() -> None:
    """3.65 V to 4.2 V says nothing; 1.2 V and 4.4 V discard whatever it is."""
    unknown = CellFacts(form=Form.F18650)
    assert Bench(unknown).found(3.9).outcome() is Outcome.HOLD
    assert Bench(unknown).found(1.2).outcome() is Outcome.DISCARD
    assert Bench(unknown).found(4.4).outcome() is Outcome.DISCARD


def test_a_voltage_without_rest_is_no_rest_voltage() -> None:
    """Relaxation in the first 90 minutes is no rest voltage (handbook: 90 min)."""
    short = Bench(NMC, FINE).found(3.6).look().rest(3.7, 1.0, rested_s=5000.0)
    assert reason(short.verdict(2.0), "rest-voltage").status is Status.UNMEASURED
    long = Bench(NMC, FINE).found(3.6).look().rest(3.7, 1.0, rested_s=5400.0)
    assert reason(long.verdict(2.0), "rest-voltage").status is Status.MET


def test_bought_new_lifts_nothing_that_a_voltage_as_found_set() -> None:
    """0.4 V at a board is not known of the cell: light at best; a person's later 'bought new' changes nothing of it."""
    board = replace(NMC, protection_board=True)
    bench = good(facts=board, found=None).found(0.4, where=Where.BOARD)
    before = reason(bench.verdict(), "as-found-voltage")
    bench.facts = replace(board, bought_new=True)
    assert before.status is Status.UNMEASURED and reason(bench.verdict(), "as-found-voltage") == before
    assert good(facts=replace(NMC, bought_new=True), found=None).outcome() is Outcome.PACK


@pytest.mark.parametrize("volts", [1.2, 1.99, 2.0, 2.4, 2.5, 4.28])
def test_said_to_be_bought_new_a_cell_keeps_what_it_was_found_with(volts: float) -> None:
    """Out of use, light at best or 28 days of self-discharge: the word of a person lifts none of it, nor its own check."""
    found = good(found=volts)
    new = good(facts=replace(NMC, bought_new=True), found=volts)
    assert found.outcome() is new.outcome() < Outcome.PACK
    assert {r.rule for r in found.verdict().deciding} == {r.rule for r in new.verdict().deciding}


def test_a_low_voltage_at_a_board_is_held_until_the_tabs_are_measured() -> None:
    """Neither a higher one at the board nor time lifts it; one at the tabs does."""
    board = replace(NMC, protection_board=True)
    bench = good(facts=board, found=None).found(0.4, where=Where.BOARD)
    bench.rest(4.165, 25.0, where=Where.BOARD)
    assert reason(bench.verdict(30.0), "board-voltage").ceiling is Outcome.HOLD
    bench.rest(4.165, 26.0, where=Where.TABS)
    assert not reasons(bench.verdict(30.0), "board-voltage")


@pytest.mark.parametrize(
    ("volts", "outcome"), [(3.8, Outcome.PACK), (4.2, Outcome.PACK), (4.28, Outcome.DISCARD)]
)
def test_a_let_down_to_more_than_full_was_more_than_full(volts: float, outcome: Outcome) -> None:
    """What a load is said to have brought it down to, it had at least."""
    bench = good(days=28.0).read(Quantity.LET_DOWN, 40.0, volts)
    found = [r for r in bench.verdict(41.0).reasons if r.rule.startswith("voltage-over-full")]
    assert min(r.ceiling for r in found) is outcome


@pytest.mark.parametrize(
    ("volts", "outcome"),
    [
        (0.3, Outcome.DISCARD),
        (1.9, Outcome.DISCARD),
        (2.0, Outcome.HOLD),
        (2.3, Outcome.HOLD),
        (2.6, Outcome.PACK),
    ],
)
def test_what_a_load_took_it_down_to_was_at_its_terminals(volts: float, outcome: Outcome) -> None:
    """A lamp left on: below 2 V as by any meter, at 2 V too close to call, to 2.3 V light at best after a long check."""
    bench = good().read(Quantity.LET_DOWN, 20.0, volts, meter=None)
    assert bench.outcome(21.0) is outcome
    later = bench.charge(22.0).rest(4.180, 23.2).rest(4.170, 60.0)
    assert later.outcome(61.0) is (Outcome.LIGHT if volts == 2.3 else outcome)


def test_a_board_that_trips_tells_nothing_of_a_cell_let_down_either() -> None:
    """It opens at 2.40 V (sheets): what the load saw then was the board's."""
    bench = good(facts=replace(NMC, protection_board=True)).read(Quantity.LET_DOWN, 20.0, 0.4, meter=None)
    assert (
        not reasons(bench.verdict(21.0), "voltage-light-only") and bench.outcome(21.0) is not Outcome.DISCARD
    )


@pytest.mark.parametrize(
    ("facts", "cutoff", "out"),
    [(NMC, 2.0, False), (NMC, 1.99, True), (NMC, 1.0, True), (LFP, 1.5, False), (LFP, 1.49, True)],
)
def test_a_run_below_the_floor_discharged_it_deeply(facts: CellFacts, cutoff: float, out: bool) -> None:
    """Sheets end at 2.5 V, of lfp at 2.0 V: the cut-off is a voltage at its terminals as any."""
    bench = Bench(facts).found(3.3).look().capacity(2.4, 1.0, cutoff_v=cutoff)
    assert (
        bool(reasons(bench.verdict(2.0), "voltage-floor")) and (bench.outcome(2.0) is Outcome.DISCARD) is out
    )


@pytest.mark.parametrize(
    ("at", "counts"),
    [(0.99, True), (1.0, True), (1.01, False), (60.0, False)],
)
def test_a_voltage_as_found_counts_up_to_the_first_charge_only(at: float, counts: bool) -> None:
    """What a charger has lifted to 3.6 V tells nothing of the drawer: light at best, the reason names the day."""
    verdict = good(found=None).found(3.6, at).rest(4.165, 40.0).verdict(60.0)
    found = reason(verdict, "as-found-voltage")
    assert (found.status is Status.MET) is counts
    assert verdict.outcome is (Outcome.PACK if counts else Outcome.LIGHT)
    assert counts or f"{day(at):%Y-%m-%d}, after a charge" in found.text


def test_a_run_without_a_charge_on_record_ends_what_was_found_too() -> None:
    """A capacity that came out shows that somebody had charged it."""
    bench = Bench().look().capacity(2.4, 1.0).found(3.6, 1.1)
    assert reason(bench.verdict(2.0), "as-found-voltage").ceiling is Outcome.LIGHT


def test_a_low_voltage_recorded_late_as_found_condemns_all_the_same() -> None:
    """What does not count for a cell counts against it."""
    assert good().found(1.5, 2.0).outcome() is Outcome.DISCARD


@pytest.mark.parametrize(
    ("facts", "cutoff_v", "days", "outcome"),
    [
        (NMC, 2.5, 15.0, Outcome.PACK),
        (NMC, 2.49, 15.0, Outcome.HOLD),  # 28 days of self-discharge
        (NMC, 2.49, 30.0, Outcome.LIGHT),
        (NMC, 2.0, 30.0, Outcome.LIGHT),
        (NMC, 1.99, 30.0, Outcome.DISCARD),
    ],
)
def test_a_run_below_what_any_sheet_ends_at_leaves_it_light_at_best(
    facts: CellFacts, cutoff_v: float, days: float, outcome: Outcome
) -> None:
    """As a lamp that lets it down to there does; whatever the run of 2.4 Ah before it gave."""
    bench = good(facts=facts, days=days).capacity(2.42, 0.5, cutoff_v=cutoff_v)
    assert bench.outcome(3.2 + days + 1.0) is outcome
    rules = [r.text for r in bench.verdict(3.2 + days + 1.0).reasons if r.rule == "voltage-light-only"]
    assert len(rules) == (cutoff_v < 2.5) and all("was discharged to" in text for text in rules)


def test_iron_phosphate_may_be_run_to_2_v() -> None:
    """Its own sheets end there."""
    for cutoff_v, rules in ((2.0, 0), (1.9, 1)):
        bench = Bench(LFP).found(3.3).look().capacity(3.0, 1.0, cutoff_v=cutoff_v)
        assert len([r for r in bench.verdict().reasons if r.rule == "voltage-light-only"]) == rules
