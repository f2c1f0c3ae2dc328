"""Charge put in against what came out, its own first mass, records later than now, a stated rest against the record.
All limits are common practice, no published source."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest
from tests.acceptance.bench import NMC, Bench, day, good, reason, reasons

from straycell.acceptance import Outcome, Upset
from straycell.acceptance.case import Case
from straycell.acceptance.rules import shipped_rules
from straycell.bench.recording.reading_form import require_rest
from straycell.cells import CellFacts, Chemistry, Form
from straycell.errors import UsageFault
from straycell.readings import Quantity

U_SHARE = 2 * 0.05 / math.sqrt(3)


def put_in(bench: Bench, share: float, of_ah: float = 2.5, **more: object) -> Bench:
    """The last charge put in at least this share of what it can hold, by a charger's counter (5 %)."""
    bench.charges[-1] = replace(bench.charges[-1], put_in_ah=share * of_ah / (1 - U_SHARE), **more)  # type: ignore[arg-type]
    return bench


@pytest.mark.parametrize(
    ("share", "outcome"),
    [
        (1.0, Outcome.PACK),
        (1.19, Outcome.PACK),
        (1.21, Outcome.HOLD),
        (1.49, Outcome.HOLD),
        (1.51, Outcome.DISCARD),
    ],
)
def test_far_more_put_in_than_it_holds(share: float, outcome: Outcome) -> None:
    """Rated 2.5 Ah: surely a fifth more holds, half as much again discards."""
    assert put_in(good(), share).outcome() is outcome


def test_seen_twice_it_is_out_and_a_repeat_that_is_not_lifts_it() -> None:
    """The repeat decides; it stays allowed."""
    first = put_in(good(), 1.3)
    assert not first.no_charge()
    assert put_in(put_in(good(), 1.3).charge(20.0), 1.3).outcome(21.0) is Outcome.DISCARD
    assert put_in(put_in(good(), 1.3).charge(20.0), 0.9).outcome(21.0) is Outcome.PACK


def test_what_came_out_after_it_counts_before_the_rating() -> None:
    """2.4 Ah in, 1.6 Ah out: half as much again as came out."""
    bench = Bench().found(3.6).look().charge(1.0)
    put_in(bench, 2.6, of_ah=1.0).capacity(1.6, 1.3)
    assert reasons(bench.verdict(2.0), "charge-in-discard")


def test_a_charge_that_never_tapers_shows_by_its_time() -> None:
    """0.4 A still flowing after 10 h: at least 4 Ah went into 2.5 Ah."""
    bench = good()
    bench.charges[-1] = replace(bench.charges[-1], end_current_a=0.4, took_s=36000.0)
    assert reasons(bench.verdict(), "charge-in-discard")
    bench.charges[-1] = replace(bench.charges[-1], end_current_a=0.05)
    assert not [r for r in bench.verdict().reasons if r.rule.startswith("charge-in")]


UNRATED = CellFacts(Chemistry.NMC, Form.F18650, "INR18650")


def charged_with(*amounts: float) -> Bench:
    """An unrated cell of 2.0 Ah and then, weeks later, charges that put so much in; no run soon after them."""
    bench = good(facts=UNRATED, capacity=2.0)
    for number, ah in enumerate(amounts):
        bench.charge(30.0 + 10.0 * number, amps=0.5)
        bench.charges[-1] = replace(bench.charges[-1], put_in_ah=ah, put_in_u=0.0)
    at = 30.0 + 10.0 * len(amounts)
    return bench.rest(4.18, at - 8.8).rest(4.17, at + 7.0)


@pytest.mark.parametrize(
    ("amounts", "holds"),
    [
        ((2.0,), False),
        ((2.6,), True),
        ((2.6, 2.0), False),  # the one attended repeat tapered off
        ((2.6, 2.6, 2.0), True),  # twice a fifth too much
        ((2.4, 2.4, 2.0), False),  # within the U of the run
        ((3.4, 2.0), True),  # half as much again
        ((2.95, 2.0), False),
        ((3.4, 2.0, 2.0), True),
    ],
)
def test_what_no_run_explains_is_not_forgotten_after_a_good_charge(
    amounts: tuple[float, ...], holds: bool
) -> None:
    """Only a run soon after it could condemn, as others are a matter of order; held all the same, and never offered."""
    bench = charged_with(*amounts)
    verdict = bench.verdict(70.0)
    assert bool(reasons(verdict, "charge-in")) is holds
    assert (verdict.outcome is Outcome.HOLD) is holds
    assert not bench.judged(70.0)[1]


def test_a_run_that_gives_more_explains_what_went_in() -> None:
    """The early run was cut short unseen: the cell holds 3.3 Ah."""
    bench = charged_with(3.4, 2.0).charge(60.0).capacity(3.3, 60.3)
    assert not reasons(bench.verdict(61.0), "charge-in")


U_MASS = 2 * math.hypot(0.99, 1.0) * (0.002 * 45.0 + 0.1) / math.sqrt(3)


@pytest.mark.parametrize(
    ("lost_g", "held"),
    [(0.0, False), (0.45, False), (0.43 + U_MASS, False), (0.47 + U_MASS, True)],
)
def test_lighter_than_at_first_by_more_than_a_per_cent_and_u(lost_g: float, held: bool) -> None:
    """45 g: at, inside and outside; no charge before it is weighed again."""
    bench = (
        good().read(Quantity.MASS, 0.5, 45.0, meter=None).read(Quantity.MASS, 19.0, 45.0 - lost_g, meter=None)
    )
    assert bool(reasons(bench.verdict(), "mass-lost")) is held
    assert bench.no_charge() is held


def test_a_new_sleeve_or_tab_begins_a_new_first_mass() -> None:
    """What was weighed before it is another cell's weight, as far as the scale knows."""
    bench = good().read(Quantity.MASS, 0.5, 48.0, meter=None).read(Quantity.MASS, 19.0, 45.0, meter=None)
    assert reasons(bench.verdict(), "mass-lost")
    bench.more["dressed_at"] = (day(10.0),)
    assert not reasons(bench.verdict(), "mass-lost")
    # Tabs that were put on afterwards explain no loss before them.
    bench.more["dressed_at"] = (day(20.0),)
    assert reasons(bench.verdict(21.0), "mass-lost")


def test_a_record_later_than_now_holds() -> None:
    """A reading, a charge, an incident: whichever clock is wrong, nothing counts from it; no charge either."""
    for late in (good(days=15.0), good()):
        late.more["upsets"] = (Upset("drop", day(30.0)),)
        verdict = late.verdict(19.0)
        assert verdict.outcome is Outcome.HOLD and reason(verdict, "clock").observed == day(30.0).isoformat()
    assert good().verdict(10.0).valid_until == day(18.2)  # its latest record; then it is judged again
    assert reason(good().verdict(10.0), "clock") and not reasons(good().verdict(18.2), "clock")


@pytest.mark.parametrize(
    ("stated_h", "counted_h", "refused"),
    [
        (24.0, 3.0, True),  # 24 h are needed after a full charge, and the record says 3
        (24.0, 23.0, False),  # within 2 h
        (30.0, 25.0, False),  # both reach what is needed
        (26.0, 23.5, False),  # more than 2 h, not more than a quarter
        (31.2, 23.5, False),
        (31.5, 23.5, True),
        (4.0, 1.0, True),  # 90 min are needed
        (20.0, 5.0, False),  # neither reaches 24 h
        (2.0, 40.0, True),  # used since, and nobody recorded it
    ],
)
def test_a_stated_rest_is_held_against_the_record(stated_h: float, counted_h: float, refused: bool) -> None:
    """Only where it matters: the longer of the two reaches what a rule needs, the shorter does not."""
    bench = Bench().charge(1.0).rest(4.18, 1.0 + counted_h / 24.0, rested_s=stated_h * 3600.0)
    evidence = replace(bench.evidence(), readings=())
    case = Case(evidence, evidence.facts, shipped_rules(), day(9.0))
    if refused:
        with pytest.raises(UsageFault, match="on record ended"):
            require_rest(case, bench.readings[-1])
    else:
        require_rest(case, bench.readings[-1])


def test_a_charge_within_the_stated_rest_makes_it_none() -> None:
    """However it came into the store: 4.19 V half an hour after a charge is no rest voltage."""
    bench = good(first=None, second=None).charge(20.0).rest(4.19, 20.02)
    assert "no rest voltage" in reason(bench.verdict(21.0), "rest-voltage").text


@pytest.mark.parametrize(("last_c", "cold"), [(8.0, True), (14.9, True), (15.0, False), (22.0, False)])
def test_below_fifteen_degrees_the_next_step_begins_indoors(last_c: float, cold: bool) -> None:
    """Readings at 8 and 2 C never pair: three hours in a room first."""
    bench = good(first=None, second=None).rest(4.18, 3.2, temperature_c=last_c)
    todo = reason(bench.verdict(4.0), "self-discharge").todo
    assert todo is not None and ("bring it indoors for 3 h" in todo.words) is cold


@pytest.mark.parametrize(
    ("put_in_ah", "outcome"),
    [(4.9, None), (5.0, Outcome.HOLD), (6.1, Outcome.HOLD), (6.2, Outcome.DISCARD)],
)
def test_more_than_any_cell_of_its_size_can_hold_needs_no_rating(
    put_in_ah: float, outcome: Outcome | None
) -> None:
    """No 18650 is rated above 4.1 Ah: a fifth more holds one of no rating, half as much again condemns it."""
    bench = Bench(replace(NMC, rated_capacity_ah=None)).found(3.6).look().charge(1.0)
    bench.charges[-1] = replace(bench.charges[-1], put_in_ah=put_in_ah, put_in_u=0.0)
    said = [r for r in bench.verdict(2.0).reasons if r.rule.startswith("charge-in")]
    assert [r.ceiling for r in said] == ([] if outcome is None else [outcome])


def test_what_a_cell_gave_says_more_than_what_its_size_can_hold() -> None:
    """3 Ah into one that gave 2 Ah on another day: held, though a larger cell could hold it."""
    bench = (
        Bench(replace(NMC, rated_capacity_ah=None))
        .found(3.6)
        .look()
        .charge(1.0)
        .capacity(2.0, 1.3)
        .charge(20.0)
    )
    bench.charges[-1] = replace(bench.charges[-1], put_in_ah=3.1, put_in_u=0.0)
    assert [r.rule for r in bench.verdict(21.0).reasons if r.rule.startswith("charge-in")] == ["charge-in"]
