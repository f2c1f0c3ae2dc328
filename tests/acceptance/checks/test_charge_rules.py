"""Warming and heat while charging: at, just inside and just outside. Common practice, except the 45 C window
(cell sheets: charge at 0 to 45 C; 10 C as the lower end is common practice)."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest
from tests.acceptance.bench import LFP, NMC, Bench, good, reason

from straycell.acceptance import Outcome, Status
from straycell.cells import CellFacts, Form

U_ONE = 2 * 2.0 / math.sqrt(3)  # one temperature without a meter: 2 K rectangular
U_RISE = U_ONE * math.sqrt(2)


@pytest.mark.parametrize(
    ("rise", "outcome"),
    [
        (4.0, Outcome.PACK),
        (10.0 - U_RISE - 0.05, Outcome.PACK),
        (10.0 - U_RISE + 0.05, Outcome.HOLD),
        (10.0, Outcome.HOLD),
        (15.0, Outcome.HOLD),
        (15.0 + U_RISE - 0.05, Outcome.HOLD),
        (15.0 + U_RISE + 0.05, Outcome.DISCARD),
    ],
)
def test_warming_passes_holds_or_discards(rise: float, outcome: Outcome) -> None:
    """Up to 10 K passes, above 15 K discards, both by U; between them is a hold."""
    assert good(peak=22.0 + rise).outcome() is outcome


def test_the_hold_of_warming_is_lifted_by_a_gentle_repeat() -> None:
    """13 K at 0.4C: hold; the repeat at 0.2C stayed cool: pack again, and the repeat was allowed."""
    bench = good(peak=35.0)
    verdict = bench.verdict()
    assert verdict.outcome is Outcome.HOLD and not bench.no_charge()
    assert "0.2C" in reason(verdict, "warming").todo.words
    bench.charge(20.0, amps=0.5, peak=25.0)
    assert bench.outcome(21.0) is Outcome.PACK


def test_warming_at_a_high_current_does_not_discard() -> None:
    """20 K at 1C is not what the rule is about: hold, and repeat gently."""
    bench = good()
    bench.charge(20.0, amps=2.5, peak=42.0)
    assert bench.outcome(21.0) is Outcome.HOLD


@pytest.mark.parametrize(("rate_c", "outcome"), [(0.5, Outcome.DISCARD), (0.55, Outcome.HOLD)])
def test_warming_discards_at_the_standard_charge_of_the_sheets_and_below(
    rate_c: float, outcome: Outcome
) -> None:
    """Sheets charge at 0.5C: above it the current alone may warm a sound cell by 20 K."""
    bench = good()
    bench.charge(20.0, amps=rate_c * 2.5, peak=42.0)
    assert bench.outcome(21.0) is outcome


def test_a_later_smaller_capacity_lifts_no_discard_by_warming() -> None:
    """Nothing is rated: 1 A is 0.42C of the 2.4 Ah it once gave, and must not become 1C by the 1 Ah it gives now."""
    unrated = replace(NMC, form=Form.OTHER, rated_capacity_ah=None)
    bench = good(facts=unrated, peak=22.0 + 15.0 + U_RISE + 0.5)
    assert reason(bench.verdict(), "warming-discard").status is Status.FAILED
    bench.capacity(1.0, 18.5)
    assert reason(bench.verdict(), "warming-discard").status is Status.FAILED


@pytest.mark.parametrize(
    ("peak", "outcome"),
    [
        (45.0 - U_ONE - 0.05, Outcome.PACK),
        (45.0, Outcome.HOLD),
        (45.0 + U_ONE - 0.05, Outcome.HOLD),
        (45.0 + U_ONE + 0.05, Outcome.DISCARD),
    ],
)
def test_above_45_degrees_while_charging(peak: float, outcome: Outcome) -> None:
    """Warm room, little warming: the temperature itself counts."""
    bench = good()
    bench.charge(20.0, ambient=peak - 2.0, peak=peak)
    assert bench.outcome(21.0) is outcome


@pytest.mark.parametrize(("ambient", "peak"), [(None, 26.0), (22.0, None), (None, None)])
def test_a_charge_without_its_temperatures_proves_nothing(ambient: float | None, peak: float | None) -> None:
    """Peak and ambient are both needed for the rise."""
    bench = good()
    bench.charges = [type(c)(c.id, c.cell, c.at, 1.0, 4.2, 0.05, ambient, peak) for c in bench.charges]
    assert reason(bench.verdict(), "warming").status is Status.UNMEASURED
    assert bench.outcome() is Outcome.HOLD


def test_a_partial_charge_is_not_full() -> None:
    """Charged to 4.0 V: neither warming nor capacity nor self-discharge start from it."""
    bench = good()
    bench.charges = [type(c)(c.id, c.cell, c.at, 1.0, 4.0, 0.05, 22.0, 26.0) for c in bench.charges]
    verdict = bench.verdict()
    assert reason(verdict, "warming").status is Status.UNMEASURED
    assert reason(verdict, "self-discharge").status is Status.UNMEASURED
    assert "at least" in reason(verdict, "capacity").text


def test_a_charge_cut_short_is_not_full() -> None:
    """4.2 V reached, but stopped while 0.9 A still flowed into 2.5 Ah."""
    bench = good()
    bench.charges = [type(c)(c.id, c.cell, c.at, 1.0, 4.2, 0.9, 22.0, 26.0) for c in bench.charges]
    assert reason(bench.verdict(), "warming").status is Status.UNMEASURED


@pytest.mark.parametrize(
    ("facts", "until_v", "end_a", "is_full"),
    [
        (NMC, 4.15, 0.05, True),  # sheets: 4.20 +/- 0.05 V
        (NMC, 4.14, 0.05, False),
        (LFP, 3.55, 0.05, True),
        (LFP, 3.54, 0.05, False),
        (
            NMC,
            4.20,
            0.27,
            True,
        ),  # a linear charger ends at a tenth of what it is set to, here 1C, read with its error
        (NMC, 4.20, 0.29, False),
    ],
)
def test_a_charge_is_full_by_its_end_voltage_and_its_end_current(
    facts: CellFacts, until_v: float, end_a: float, is_full: bool
) -> None:
    """2.5 Ah and lfp of 3.0 Ah: what ends lower, or with more current still flowing, proves nothing of warming."""
    bench = Bench(facts).found(3.3).look()
    bench.charges = [
        replace(c, end_current_a=end_a) for c in bench.charge(1.0, until=until_v, amps=0.5).charges
    ]
    assert (reason(bench.verdict(), "warming").status is Status.MET) is is_full


def test_a_trickle_does_not_settle_a_charge_that_was_nearly_too_hot() -> None:
    """46 C is too close to 45 C to call; only a charge that could have warmed the cell speaks against it."""
    bench = Bench().capacity(2.0, 1.2).charge(2.0, amps=0.4, ambient=42.0, peak=46.0)
    bench.charge(3.0, amps=0.001, until=3.8, ambient=21.0, peak=21.0)
    assert any(r.rule == "charge-temperature" and r.status is Status.CLOSE for r in bench.verdict().reasons)
    bench.charge(4.0, amps=0.4, ambient=21.0, peak=24.0)
    assert not any(r.rule == "charge-temperature" for r in bench.verdict().reasons)


@pytest.mark.parametrize(
    ("room", "peak", "outcome"),
    [
        (45.0 + U_ONE + 0.1, None, Outcome.DISCARD),  # a charge cools no cell
        (45.0 + U_ONE - 0.1, None, Outcome.HOLD),
        (45.0 - U_ONE - 0.1, None, Outcome.PACK),
        (45.0 + U_ONE + 0.1, 42.0, Outcome.HOLD),  # it stayed cooler than the place it lay in: a look
    ],
)
def test_a_charge_in_hot_air_made_the_cell_as_hot(room: float, peak: float | None, outcome: Outcome) -> None:
    """Three 18650 sheets: charge at 0 to 45 C, whether or not anybody measured the cell."""
    assert good().charge(20.0, ambient=room, peak=peak).outcome(21.0) is outcome


@pytest.mark.parametrize(
    ("amps", "maker_a", "held"),
    [(5.0, None, False), (5.1, None, True), (5.1, 6.0, False), (6.1, 6.0, True)],
)
def test_a_charge_at_more_than_twice_its_capacity_an_hour_asks_for_a_new_check(
    amps: float, maker_a: float | None, held: bool
) -> None:
    """Sheets charge at 1C; twice that is common practice. The maker's own figure comes before it."""
    bench = good(facts=replace(NMC, maker_charge_current_a=maker_a)).charge(20.0, amps=amps)
    assert (bench.outcome(21.0) is Outcome.HOLD) is held
    if held:
        assert reason(bench.verdict(21.0), "charge-rate").status is Status.CLOSE and not bench.no_charge(21.0)
        bench.charge(22.0).rest(4.180, 23.2).rest(4.170, 38.2)
        assert bench.outcome(39.0) is Outcome.PACK
