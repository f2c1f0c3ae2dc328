"""A rest voltage that falls faster than the cell's own past or its siblings is told before any limit."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st
from tests.acceptance.bench import LFP, NMC, Bench, day
from tests.safety.keeping_bench import CODES, RULES, due, household, kept

from straycell.acceptance.case import Case
from straycell.physics.curves import curves_for
from straycell.safety.due.gather import due_now, survey
from straycell.safety.due.trends import falls, odd_in_pack, trend


def shelf(*percent_month: float, start_v: float = 3.95, every: float = 40.0, noise: float = 0.0) -> Bench:
    """A stored cell that loses so much a month in each stretch of `every` days, by the published NMC set."""
    curve = curves_for(NMC.chemistry)[0]
    bench = Bench(NMC).charge(0.0, until=4.0)
    soc = curve.state_of_charge(start_v)
    bench.rest(curve.voltage(soc) + noise, 2.0)
    for number, rate in enumerate(percent_month, 1):
        soc -= rate / 100 * every / 30
        bench.rest(curve.voltage(soc) - noise, 2.0 + number * every)
    return bench


def case(bench: Bench, at: float = 400.0, code: str = CODES[0]) -> Case:
    evidence = replace(bench.evidence(), code=code)
    return Case(evidence, evidence.facts, RULES, day(at))


def test_each_stretch_gives_the_true_loss_within_its_uncertainty() -> None:
    """Known truth: 1 % then 9 % a month."""
    found = falls(case(shelf(1.0, 9.0)))
    for fall, truth in zip(found, (1.0, 9.0), strict=True):
        assert abs(fall.rate.value - truth) <= fall.rate.expanded
        assert fall.unit == "%/month"


def test_a_clock_set_back_hides_no_faster_fall() -> None:
    """With the readings dated later than now the fall is due all the same, and of that moment."""
    bench = shelf(0.3, 4.0, start_v=4.05, every=150.0)
    assert "trend" in due(bench, 310.0)
    assert due(bench, 35.0)["trend"].at == day(35.0)


def test_faster_than_its_own_past_is_told() -> None:
    """1 % a month before, 14 % now; still at 3.8 V, far above every limit."""
    bench = shelf(1.0, 14.0)
    assert min(r.value for r in bench.readings if r.value) > 3.7
    found = trend(case(bench))
    assert found is not None and found.against == "before that it was"
    assert "falling faster" in found.text


def test_as_fast_as_ever_is_not_told() -> None:
    """A steady cell is judged by the limits alone."""
    assert trend(case(shelf(2.0, 2.0, 2.0))) is None


def test_faster_than_its_siblings_is_told() -> None:
    """One of four from the same pack loses 14 % a month, the others 1 %."""
    others = [case(shelf(1.0), code=code) for code in CODES[1:4]]
    found = trend(case(shelf(14.0)), others)
    assert found is not None and found.against == "its siblings"
    assert trend(case(shelf(1.2)), others) is None


def test_one_sibling_alone_says_nothing() -> None:
    """It may be the odd one itself."""
    assert trend(case(shelf(14.0)), [case(shelf(1.0), code=CODES[1])]) is None


def test_a_usual_loss_is_never_told_however_still_the_siblings_lie() -> None:
    """2 % a month is published as usual."""
    others = [case(shelf(0.1), code=code) for code in CODES[1:5]]
    assert trend(case(shelf(1.9)), others) is None


@pytest.mark.parametrize(("now", "told"), [(2.4, False), (3.2, True)])
def test_what_is_surely_more_than_the_usual_loss_is_told(now: float, told: bool) -> None:
    """Dictionaries: 2 to 3 % a month. After half a year at 0.3 % a loss of 3.2 % is no usual one."""
    assert (trend(case(shelf(0.3, now, start_v=4.05, every=150.0))) is not None) is told


@pytest.mark.parametrize(("now", "told"), [(4.4, False), (5.2, True)])
def test_twice_as_fast_as_before_is_told(now: float, told: bool) -> None:
    """Seen as 2.6 % a month, then as 4.9 or 5.8 %."""
    bench = shelf(3.3, now, start_v=4.1, every=120.0)
    before, latest = (fall.rate.value for fall in falls(case(bench)))
    assert (latest > 2.0 * before) is told and latest < 2.3 * before
    assert (trend(case(bench)) is not None) is told


@pytest.mark.parametrize(("now", "told"), [(5.7, False), (6.4, True)])
def test_twice_as_fast_as_the_others_of_its_pack_is_told(now: float, told: bool) -> None:
    """Four siblings lose 3.3 % a month."""
    others = [case(shelf(3.3, start_v=4.1, every=120.0), code=code) for code in CODES[1:5]]
    one = case(shelf(now, start_v=4.1, every=120.0))
    usual, latest = falls(others[0])[-1].rate.value, falls(one)[-1].rate.value
    assert (latest > 2.0 * usual) is told and latest < 2.3 * usual
    assert (trend(one, others) is not None) is told


@pytest.mark.parametrize(("now_mv", "told"), [(9.0, False), (11.5, True)])
def test_on_lfp_twice_what_a_pocket_meter_tells_apart_is_told(now_mv: float, told: bool) -> None:
    """A pocket meter tells 5 mV apart; over half a year at rest."""
    fell = Bench(LFP).charge(0.0, until=3.4).rest(3.330, 2.0).rest(3.3295, 182.0)
    fell.rest(3.3295 - 6 * now_mv / 1000, 362.0)
    assert (trend(case(fell)) is not None) is told


@pytest.mark.parametrize(("lowest_v", "odd"), [(3.43, False), (3.37, True)])
def test_a_cell_that_lies_far_below_its_series_is_pointed_out(lowest_v: float, odd: bool) -> None:
    """One current went through all of them: a third of a volt is charge that it lost by itself."""
    found = odd_in_pack({"A": 3.70, "B": 3.71, "C": lowest_v, "D": 3.70})
    assert (list(found) == ["C"]) is odd


def test_after_a_charge_the_old_stretch_is_past() -> None:
    """It was recharged: what comes next is a new stretch."""
    assert trend(case(shelf(1.0, 14.0).charge(90.0))) is None


def test_on_lfp_millivolts_are_compared() -> None:
    """The curve is flat: 40 mV in 40 days is much, after 1 mV before."""
    calm = Bench(LFP).charge(0.0, until=3.4).rest(3.310, 2.0).rest(3.309, 42.0)
    assert trend(case(calm)) is None
    found = trend(case(calm.rest(3.269, 82.0)))
    assert found is not None and found.fall.unit == "mV/month"


@given(st.floats(0.0, 1.5), st.floats(0.0, 1.5), st.floats(-0.0005, 0.0005))
def test_a_good_cell_is_not_told_by_noise(first: float, second: float, noise: float) -> None:
    """Half a step of the meter on each reading, and losses below the usual."""
    assert trend(case(shelf(first, second, noise=noise))) is None


@pytest.mark.parametrize("loss", [14.0, 20.0])
def test_due_shows_it_with_the_numbers(loss: float) -> None:
    """Worst first, with what to do."""
    cells = [
        kept(shelf(1.0, loss if code == CODES[0] else 1.0), 90.0, code=code, teardown="AT1") for code in CODES
    ]
    told = [i for i in due_now(survey(household(*cells, at=90.0)), day(90.0)) if i.kind.id == "falling"]
    assert [item.subject for item in told] == [CODES[0]]
    assert "%" in told[0].why and "self-discharge check" in told[0].todo
