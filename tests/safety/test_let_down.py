"""Letting a cell down to storage voltage: it ends a check, proves nothing, and hides no leak that was shown."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st
from tests.acceptance.bench import LFP, Bench, day, good, reasons
from tests.drawing import examples
from tests.safety.keeping_bench import due, household, kept, when

from straycell.acceptance import Evidence, Outcome
from straycell.physics.curves import curves_for
from straycell.readings import Quantity
from straycell.safety.due.gather import due_now, survey


def let_down(bench: Bench, at: float, volts: float = 3.80) -> Bench:
    """Recorded next, whatever day it is said to have been."""
    return bench.read(Quantity.LET_DOWN, at, volts, meter=None)


def outcome(bench: Bench, at: float) -> Outcome:
    return kept(bench, at).verdict.outcome


# --- what it is for --------------------------------------------------------------------------------


def test_without_the_record_a_cell_brought_to_storage_voltage_looks_like_a_leak() -> None:
    """4.17 V, then 3.80 V by the same meter: nothing else can be concluded."""
    assert outcome(good().rest(3.80, 22.0), 23.0) is Outcome.DISCARD


def test_with_the_record_it_keeps_its_verdict() -> None:
    """The check was decided before; what comes after the let-down is no part of it."""
    assert outcome(let_down(good(), 20.0).rest(3.80, 22.0), 23.0) is Outcome.PACK


def test_a_check_that_was_not_done_has_to_begin_again() -> None:
    """Let down after the first rest voltage: no pair, no loss known, a hold that asks for a full charge."""
    bench = let_down(good(second=None), 10.0).rest(3.80, 12.0)
    verdict = kept(bench, 13.0).verdict
    assert verdict.outcome is Outcome.HOLD
    (reason,) = reasons(verdict, "self-discharge")
    assert "no undisturbed full charge" in reason.text and "charge it full" in reason.todo.words


def test_it_is_no_voltage_reading() -> None:
    """Under load, by no meter: neither a rest voltage nor as found."""
    with_it, without = kept(let_down(good(), 20.0), 21.0), kept(good(), 21.0)
    assert with_it.case.rest_voltages == without.case.rest_voltages
    assert with_it.case.own_voltages == without.case.own_voltages
    assert outcome(let_down(Bench().look(), 1.0), 2.0) is Outcome.HOLD


def test_a_run_after_it_did_not_start_full() -> None:
    """Half a charge out of a good cell must not wear it out on paper."""
    bench = let_down(good(capacity=None, second=None), 4.0).capacity(1.1, 4.5)
    found = [r.text for r in kept(bench, 5.0).verdict.reasons if r.rule.startswith("capacity")]
    assert found and all("at least: let down since the full charge" in text for text in found)
    assert outcome(good(capacity=None, second=None).capacity(1.1, 4.5), 5.0) is Outcome.DISCARD


def test_a_run_after_it_tells_no_self_discharge_of_lfp() -> None:
    """Kept 45 % over 30 days, because the rest was let out: no leak."""

    def measured() -> Bench:
        bench = Bench(LFP).found(3.30).look().charge(1.0, until=3.65)
        bench.capacity(2.9, 1.5, cutoff_v=2.5, discharge_current_a=0.6).charge(2.0, until=3.65)
        return bench

    late = {"cutoff_v": 2.5, "discharge_current_a": 0.6}
    assert outcome(measured().capacity(1.3, 33.0, **late), 34.0) is Outcome.DISCARD
    assert outcome(let_down(measured(), 10.0, 3.28).capacity(1.3, 33.0, **late), 34.0) is Outcome.HOLD


# --- `due` -----------------------------------------------------------------------------------------


def test_due_prints_the_very_command_that_records_it() -> None:
    """A cell left full: its code and the middle of the window stand in the line."""
    item = due(good(), at=18.5)["full"]
    assert item.todo.endswith(f"straycell charge let-down {item.subject} --until 3.80V")
    low = due(Bench().found(3.55).look().rest(3.55, 0.5), at=5.0)["storage-voltage"]
    assert low.todo.endswith(f"straycell charge add {low.subject} --current ... --until 3.80V")
    high = due(Bench().found(4.02).look().rest(4.02, 0.5), at=5.0)["storage-voltage"]
    assert high.todo.endswith(f"straycell charge let-down {high.subject} --until 3.80V")


def test_recording_it_takes_the_cell_off_the_list_until_its_first_check() -> None:
    """Stored from then on: two weeks, as after any storing."""
    bench = let_down(good(), 20.0)
    assert "full" in due(good(), at=20.5) and "full" not in due(bench, at=20.5)
    assert when(bench, "first-recheck", at=21.0) == day(20.0 + 14)


@pytest.mark.parametrize(("volts", "told"), [(3.95, True), (3.85, False), (3.68, False), (3.30, True)])
def test_ended_outside_the_window_it_is_told(volts: float, told: bool) -> None:
    """The cell rises a little when the load is off: 50 mV below the window is in it (handbook: 50 mV beyond)."""
    assert ("storage-voltage" in due(let_down(good(), 20.0, volts), at=24.0)) is told


def test_lfp_counts_as_stored_by_what_was_taken_out() -> None:
    """Its voltage does not tell."""
    bench = Bench(LFP).found(3.30).look().charge(1.0, until=3.65)
    assert "full" in due(bench, at=80.0)
    assert "full" not in due(let_down(bench, 79.0, 3.30), at=80.0)


# --- it hides nothing ------------------------------------------------------------------------------


def test_told_afterwards_it_brings_no_leaking_cell_back() -> None:
    """The pair was on record: a date before its second reading changes nothing."""
    bench = good(second=3.95)
    assert outcome(bench, 19.0) is Outcome.DISCARD
    assert outcome(let_down(bench, 10.0), 20.0) is Outcome.DISCARD


def shelf_leak() -> Bench:
    """12 % a month at storage voltage: held, and first in `due`."""
    curve = curves_for(good().facts.chemistry)[0]
    volts = curve.voltage(curve.state_of_charge(3.85) - 0.12 * 40 / 30)
    return good().charge(20.0, until=3.85).rest(3.85, 21.5).rest(volts, 61.5)


@pytest.mark.parametrize("at", [10.0, 30.0, 61.6, 62.0])
def test_a_hold_of_the_shelf_stays_and_so_does_its_line_in_due(at: float) -> None:
    """Whatever day is given for it, before or after the reading that showed the loss."""
    bench = let_down(shelf_leak(), at, 3.75)
    assert outcome(bench, 62.5) is Outcome.HOLD
    assert reasons(kept(bench, 62.5).verdict, "shelf-loss")
    assert "falling" in due(bench, at=62.5)


def test_a_leak_that_goes_on_after_it_is_found_again() -> None:
    """On record before: it accounts for one drop, not for the next."""
    bench = let_down(good(), 20.0, 3.85).rest(3.85, 21.5)
    curve = curves_for(bench.facts.chemistry)[0]
    bench.rest(curve.voltage(curve.state_of_charge(3.85) - 0.12 * 40 / 30), 61.5)
    assert outcome(bench, 62.0) is Outcome.HOLD and "falling" in due(bench, at=62.0)


STEP = st.tuples(
    st.integers(1, 25),
    st.sampled_from(["look", "rest", "rest", "charge", "run", "let-down"]),
    st.one_of(st.integers(400, 419), st.integers(240, 424)).map(lambda hundredth: hundredth / 100),
    st.booleans(),
)
STEPS = st.lists(STEP, min_size=1, max_size=9)


def lived(steps: list[tuple[int, str, float, bool]], *, lfp: bool) -> tuple[Bench, float]:
    """Any life of a cell, a good one as far as it goes: charges, runs, looks, rest voltages and let-downs."""
    bench = Bench(LFP).found(3.3).look() if lfp else good(second=None)
    at, full = (0.5, 3.65) if lfp else (3.5, 4.2)
    for pause, what, volts, whole in steps:
        at += pause
        shown = min(volts, 3.6) if lfp else volts
        if what == "charge":
            bench.charge(at, until=full if whole else min(shown, full))
        elif what == "run":
            bench.capacity(2.0 + shown / 10, at).resistance(0.05, at=at + 0.01)
        elif what == "rest":
            bench.rest(shown, at)
        elif what == "look":
            bench.look(at=at)
        else:
            let_down(bench, at, max(shown, 2.5))
    return bench, at


@pytest.mark.parametrize("lfp", [False, True])
@examples(150)
@given(steps=STEPS, share=st.integers(1, 99), volts=st.floats(2.5, 4.2))
def test_recorded_last_it_lifts_nothing_whatever_day_it_is_given(
    lfp: bool, steps: list[tuple[int, str, float, bool]], share: int, volts: float
) -> None:
    """No finding goes, no discard is lifted and no leak leaves `due`: a law, for any life and any date."""
    bench, at = lived(steps, lfp=lfp)
    now = at + 1.0
    before, listed = kept(bench, now), due(bench, now)
    let_down(bench, share / 100 * now, volts)
    after, still = kept(bench, now), due(bench, now)
    seen = {r.rule for r in before.verdict.reasons if r.finding}
    assert seen <= {r.rule for r in after.verdict.reasons if r.finding}
    assert before.verdict.outcome is not Outcome.DISCARD or after.verdict.outcome is Outcome.DISCARD
    assert "shelf-loss" not in seen or "falling" not in listed or "falling" in still


@examples(60)
@given(st.lists(st.floats(0.0, 40.0), min_size=1, max_size=4), st.floats(6.5, 30.0))
def test_any_number_of_them_told_late_leaves_a_leak_a_discard(days: list[float], percent: float) -> None:
    """A leaking cell's pair is on record: the dates of four let-downs change nothing about it."""
    curve = curves_for(good().facts.chemistry)[0]
    second = curve.voltage(curve.state_of_charge(4.18) - percent / 100 * 15 / 30)
    bench = good(second=second)
    known = outcome(bench, 40.0)
    for at in days:
        let_down(bench, at)
    assert outcome(bench, 41.0) is known and known <= Outcome.HOLD


def test_readings_between_two_honest_let_downs_stand_alone() -> None:
    """Spans do not overlap, and each reading stands in one of them."""
    from straycell.acceptance.checks.shelf import spans

    bench = good()
    for at in (20.0, 40.0, 60.0):
        let_down(bench, at).rest(3.85, at + 1.5).rest(3.84, at + 12.0)
    found = spans(kept(bench, 80.0).case)
    ids = [r.id for span in found for r in span]
    assert len(ids) == len(set(ids)) and len(found) == 4
    assert all(first[-1].at < second[0].at for first, second in pairwise(found))


def test_a_household_counts_it_for_its_own_cell_only() -> None:
    """Its neighbour in the same tin stays full."""
    down = kept(let_down(good(), 20.0), 21.0)
    full = kept(good(), 21.0, code="A00002M")
    items = due_now(survey(household(down, full, at=21.0)), day(21.0))
    assert [i.subject for i in items if i.kind.id == "full"] == ["A00002M"]


def test_taken_back_it_accounts_for_nothing() -> None:
    """A let-down of the wrong cell: the pair counts again."""
    bench = let_down(good(), 20.0).rest(3.80, 22.0)
    without = [r for r in bench.readings if r.quantity is not Quantity.LET_DOWN]
    evidence: Evidence = replace(bench.evidence(), readings=tuple(without))
    assert kept(evidence, 23.0).verdict.outcome is Outcome.DISCARD
