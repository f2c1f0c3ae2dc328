"""A charger before a cell: current, end voltage, supply, load, heat, and what to change."""

from __future__ import annotations

import math
import re
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from straycell.acceptance import load_rules
from straycell.acceptance.charger.allowance import ChargeAllowance, ChargeKind
from straycell.acceptance.charger.check import Charger, ChargerAnswer, Check, check_charger
from straycell.acceptance.charger.judge import gentle_resistor, resistor_words
from straycell.acceptance.rules import chemistry_keys
from straycell.cells import CellFacts, Chemistry, Form
from straycell.physics.charging import float_limit
from straycell.physics.resistors import rounded_down
from straycell.quantities import Dimension, Measured, parse_quantity

RULES = load_rules()
NMC = CellFacts(Chemistry.NMC, Form.F14500, rated_capacity_ah=0.5)
LFP = CellFacts(Chemistry.LFP, Form.F26650, rated_capacity_ah=3.0)
CAPACITY = Measured(0.5, 0.0)
FLOAT = Measured(4.20, 0.01)


def may_have(allowed_a: float, capacity: Measured = CAPACITY) -> ChargeAllowance:
    return ChargeAllowance(ChargeKind.USE, allowed_a, "solo cell", (), capacity, True)


def ask(
    charger: Charger,
    allowed_a: float = 0.25,
    facts: CellFacts = NMC,
    resistance: Measured | None = None,
    silent: bool = False,
) -> ChargerAnswer:
    """A charger of which nothing of its end voltage is said was measured at 4.20 V, unless it is to stay silent."""
    if charger.silent and not silent:
        charger = replace(charger, measured_float=FLOAT)
    return check_charger(facts, may_have(allowed_a), charger, RULES, resistance)


def check(answer: ChargerAnswer, name: str) -> Check:
    return next(c for c in answer.checks if c.name == name)


# --- current ---------------------------------------------------------------------------------------


def test_the_commonest_board_is_twice_too_fast_for_half_an_ampere_hour() -> None:
    """1.2 kohm is 1 A (common practice); for 500 mAh that is 2C, and up to 1.1 A."""
    answer = ask(Charger(programming_resistor_ohm=1200.0))
    assert (answer.set_a, answer.worst_a, answer.c_rate) == pytest.approx((1.0, 1.1, 2.0))
    assert not answer.ok and check(answer, "current").ok is False


def test_a_hundred_milliampere_need_fifteen_kilohm() -> None:
    """1200 V x 1.1 / 0.1 A = 13.2 kohm, rounded up in E24: 15 kohm, brown green orange (IEC 60062)."""
    answer = ask(Charger(programming_resistor_ohm=1200.0), allowed_a=0.1)
    assert answer.resistor_ohm == pytest.approx(15_000.0)
    assert "15 kohm (brown green orange gold)" in answer.advice[0]
    assert ask(Charger(programming_resistor_ohm=15_000.0), allowed_a=0.1).ok


@given(st.floats(0.011, 3.0), st.floats(0.011, 3.0), st.booleans())
def test_what_a_person_reads_is_two_figures_on_the_safe_side(
    set_a: float, may_a: float, by_resistor: bool
) -> None:
    """A figure that is quoted as allowed is allowed; one quoted as given is not exceeded; pass and fail stay apart."""
    charger = Charger(programming_resistor_ohm=1200.0 / set_a) if by_resistor else Charger(set_a)
    answer = ask(charger, allowed_a=may_a)
    text = check(answer, "current").text
    given_a, most_a = (parse_quantity(q, Dimension.CURRENT) for q in re.findall(r"[\d.]+ m?A", text))
    assert given_a >= answer.worst_a * (1 - 1e-3) and most_a <= may_a * (1 + 1e-3)
    if not math.isclose(answer.worst_a, may_a, rel_tol=0.1):
        assert figures_of(given_a) <= 2 and figures_of(most_a) <= 2
    if not math.isclose(answer.worst_a, may_a, rel_tol=1e-3):
        assert (given_a <= most_a) == bool(check(answer, "current").ok)
    for line in answer.advice:
        for q in re.findall(r"set the charger to ([\d.]+ m?A) or less", line):
            told_a = parse_quantity(q, Dimension.CURRENT)
            assert told_a <= may_a * (1 + 1e-9) and figures_of(told_a) <= 2


def figures_of(value: float) -> int:
    """Significant figures of a printed number, trailing zeros not counted."""
    return len(f"{value:.9g}".replace(".", "").strip("0"))


def test_a_refused_current_names_the_option_that_records_the_makers() -> None:
    """For a cell that might have more by its maker's sheet; not where the current is fine, nor in the cold."""
    allowance = replace(
        may_have(0.25), more="if its maker's sheet allows more, record that: --maker-charge-current"
    )
    told = {
        a: check_charger(NMC, allowance, Charger(a, measured_float=FLOAT), RULES, None).advice
        for a in (0.2, 0.3)
    }
    assert not any("--maker-charge-current" in line for line in told[0.2])
    assert any("--maker-charge-current" in line for line in told[0.3])


@pytest.mark.parametrize(
    ("ohm", "ok"), [(13_200.0, True), (13_199.0, False), (13_000.0, False), (15_000.0, True)]
)
def test_a_resistor_is_judged_at_its_worst(ohm: float, ok: bool) -> None:
    """10 % more than nominal decides: at 13.2 kohm it is 100 mA exactly."""
    assert ask(Charger(programming_resistor_ohm=ohm), allowed_a=0.1).ok is ok


@pytest.mark.parametrize(("current_a", "ok"), [(0.2499, True), (0.25, True), (0.2501, False), (1.0, False)])
def test_a_set_current_is_taken_as_it_is(current_a: float, ok: bool) -> None:
    """At the limit is within it."""
    answer = ask(Charger(current_a=current_a))
    assert answer.ok is ok and answer.worst_a == current_a


def test_a_charger_set_by_its_current_is_told_the_resistor_too() -> None:
    """1200 x 1.1 / 0.25 = 5.28 kohm: 5.6 kohm."""
    advice = ask(Charger(current_a=1.0)).advice
    assert advice[0] == "set the charger to 250 mA or less"
    assert any("5.6 kohm (green blue red gold)" in line for line in advice)


def test_the_current_is_judged_without_the_supplys_weakness() -> None:
    """A weak supply may be swapped for a strong one."""
    answer = ask(Charger(programming_resistor_ohm=1200.0, supply_limit_a=0.04))
    assert not answer.ok and check(answer, "current").ok is False


def test_a_resistor_below_the_parts_reach_is_told() -> None:
    """The part gives 1 A at most, whatever the resistor asks."""
    advice = ask(Charger(programming_resistor_ohm=600.0), allowed_a=5.0).advice
    assert any("gives 1 A at most" in line for line in advice)


def test_no_resistor_for_no_current() -> None:
    """Nothing, next to nothing, and what one can buy."""
    assert gentle_resistor(0.0) is None and gentle_resistor(1e-6) is None
    assert gentle_resistor(0.1) == pytest.approx(15_000.0)
    assert resistor_words(4700.0) == "4.7 kohm (yellow violet red gold)"
    answer = ask(Charger(programming_resistor_ohm=1200.0), allowed_a=1e-6)
    assert "no programming resistor" in check(answer, "current").remedy


# --- end voltage -----------------------------------------------------------------------------------


def test_a_charger_of_unknown_tolerance_stays_open_at_its_worst_case() -> None:
    """4.2 V x 1.015 = 4.263 V, above 4.25 V: not a pass, not a refusal, and what to measure."""
    answer = ask(Charger(programming_resistor_ohm=10_000.0), silent=True)
    assert answer.ok is None and answer.against is not None and answer.against.name == "end-voltage"
    found = check(answer, "end-voltage")
    assert found.ok is None and "4.263 V" in found.text and "4.25 V" in found.text
    assert any("4.263 V" in line and "--measured-float" in line for line in answer.advice)
    assert answer.float_v is not None and answer.float_v.worst_v == pytest.approx(4.263)


@pytest.mark.parametrize(
    ("charger", "ok"),
    [
        (Charger(0.1, tolerance=0.015), False),
        (Charger(0.1, voltage_v=4.20), False),
        (Charger(0.1, voltage_v=4.18), True),
        (Charger(0.1, voltage_v=4.20, tolerance=0.01), True),
        (Charger(0.1, voltage_v=4.20, measured_float=Measured(4.21, 0.005)), True),
        (Charger(0.1, tolerance=0.0119), True),
        (Charger(0.1, tolerance=0.0120), False),
        (Charger(0.1, measured_float=Measured(4.24, 0.005)), True),
        (Charger(0.1, measured_float=Measured(4.24, 0.0051)), False),
        (Charger(0.1, tolerance=0.05, measured_float=Measured(4.19, 0.005)), True),
        (Charger(0.1, voltage_v=4.10), True),
        (Charger(0.1, voltage_v=4.35), False),
    ],
)
def test_known_it_must_stay_within_four_and_a_quarter_volts(charger: Charger, ok: bool) -> None:
    """The worst case, or what was measured on this very board plus U; the measurement comes first."""
    assert ask(charger).ok is ok


def test_a_stated_voltage_counts_with_the_shipped_tolerance() -> None:
    """4.20 V x 1.015 = 4.263 V (1.5 %, data sheet of the common part): not ok, and both ways out are named."""
    answer = ask(Charger(0.1, voltage_v=4.20))
    found = check(answer, "end-voltage")
    assert found.ok is False and "4.263 V" in found.text
    assert "--measured-float" in found.remedy and "--tolerance" in found.remedy and "1.5%" in found.remedy
    assert "--tolerance" not in check(ask(Charger(0.1, tolerance=0.015)), "end-voltage").remedy


def test_lfp_never_goes_on_a_charger_of_four_point_two_volts() -> None:
    """With a programming resistor it is one; without a voltage it may be one."""
    for charger in (
        Charger(programming_resistor_ohm=10_000.0),
        Charger(0.1),
        Charger(0.1, voltage_v=4.2, measured_float=Measured(3.6, 0.001)),
    ):
        answer = ask(charger, facts=LFP)
        assert not answer.ok and answer.time is None
        assert (
            "lfp" in check(answer, "end-voltage").text
            and "4.2 V charger" in check(answer, "end-voltage").text
        )
        assert answer.resistor_ohm is None
        assert not any("programming resistor" in line for line in answer.advice)


@pytest.mark.parametrize(
    ("volts", "tolerance", "ok"), [(3.6, 0.015, True), (3.65, 0.01, True), (3.65, 0.015, False)]
)
def test_lfp_on_its_own_charger(volts: float, tolerance: float, ok: bool) -> None:
    """3.70 V is the most it bears."""
    assert ask(Charger(0.1, voltage_v=volts, tolerance=tolerance), facts=LFP).ok is ok


def test_a_marking_lowers_what_a_cell_bears_and_never_raises_it() -> None:
    """A 4.35 V cell is charged to 4.20 V here; one marked 4.10 V bears 4.15 V."""
    high, low = replace(NMC, full_voltage_v=4.35), replace(NMC, full_voltage_v=4.10)
    for facts, limit_v in ((high, 4.25), (low, 4.15)):
        found = ask(Charger(0.1), facts=facts).float_v
        assert found is not None and found.limit_v == pytest.approx(limit_v)
    assert not ask(Charger(0.1), facts=low).ok


@pytest.mark.parametrize(
    ("chemistry", "full_v"),
    [
        *((c, 4.20) for c in (Chemistry.NMC, Chemistry.LCO, Chemistry.NCA, Chemistry.LMO)),
        (Chemistry.LFP, 3.65),
    ],
)
def test_what_full_means_and_what_no_charger_may_exceed_are_one_table(
    chemistry: Chemistry, full_v: float
) -> None:
    """Sheets: 4.20 V, lfp 3.65 V (26650 sheet); 0.05 V above it is the most that sheets of 4.2 V cells allow."""
    keys = chemistry_keys(chemistry, Form.F18650)
    assert RULES.figure("full-voltage", *keys) == full_v
    assert float_limit(chemistry) == pytest.approx(full_v + RULES.figure("voltage-over-full", *keys))


# --- supply, load, heat, time ----------------------------------------------------------------------


def test_a_supply_that_collapses_is_named_with_the_resistor_for_it() -> None:
    """Above 160 mA it gives way: 1320 / 0.16 = 8.25 kohm, 9.1 kohm in E24."""
    answer = ask(Charger(programming_resistor_ohm=5600.0, supply_limit_a=0.16))
    assert check(answer, "supply-limit").ok is True and answer.ok
    assert any("160 mA" in line and "9.1 kohm" in line for line in answer.advice)
    assert answer.time is not None and answer.time.limited_by_supply and answer.time.current_a == 0.16


def test_a_supply_never_talks_a_cell_into_more_than_it_may_have() -> None:
    """The softer setting keeps to both limits."""
    answer = ask(Charger(current_a=1.0, supply_limit_a=0.5), allowed_a=0.1)
    assert check(answer, "supply-limit").remedy == "set the charger to 100 mA or less"


def test_forty_milliampere_take_half_a_day() -> None:
    """500 mAh / 40 mA = 12.5 h at least."""
    time = ask(Charger(current_a=0.2, supply_limit_a=0.04)).time
    assert time is not None and 12.0 < time.expected_h < 14.0


@pytest.mark.parametrize(("supply_v", "ok"), [(4.2, False), (4.21, True), (5.0, True), (3.3, False)])
def test_a_supply_below_the_end_voltage_fills_no_cell(supply_v: float, ok: bool) -> None:
    """And takes no time, because it never gets there."""
    answer = ask(Charger(current_a=0.1, supply_v=supply_v))
    assert answer.ok is ok and (answer.time is not None) is ok


@pytest.mark.parametrize(
    ("supply_v", "rated_v", "ok"),
    [
        (5.0, None, True),
        (7.9, None, True),
        (8.0, None, False),
        (9.0, None, False),
        (9.0, 24.0, True),
        (24.0, 24.0, False),
    ],
)
def test_a_supply_must_stay_below_what_the_charger_bears(
    supply_v: float, rated_v: float | None, ok: bool
) -> None:
    """8 V is the common part's absolute maximum (its data sheet: VCC -0.3 to 8 V); another's own sheet comes first."""
    answer = ask(Charger(current_a=0.1, supply_v=supply_v, supply_rated_v=rated_v))
    assert answer.ok is ok and (answer.time is not None) is ok
    if not ok:
        found = check(answer, "supply-high")
        assert "destroy" in found.text and ("8 V" in found.text) is (rated_v is None)
        assert answer.advice[0] == found.remedy and "5V" in found.remedy


def test_the_figure_of_the_supply_comes_with_its_source() -> None:
    """From the data file; a programming resistor makes it surely a linear charger, so no other sheet is asked for."""
    lone = check(ask(Charger(programming_resistor_ohm=10_000.0, supply_v=9.0)), "supply-high")
    assert "VCC -0.3 to 8 V" in lone.text and "--supply-rated" not in lone.remedy
    assert "--supply-rated" in check(ask(Charger(0.1, supply_v=9.0)), "supply-high").remedy


def test_the_heat_is_supply_less_cell_times_current() -> None:
    """(5 - 2.9) V x 1.1 A = 2.31 W at the emptiest cell, more than the 1 W of a bare board (common practice)."""
    hot = ask(Charger(programming_resistor_ohm=1200.0, supply_v=5.0), allowed_a=2.0)
    assert hot.ok and hot.heat_w == pytest.approx(2.31)
    assert any("2.4 W" in line and "(supply - cell) x current" in line for line in hot.advice)
    cool = ask(Charger(programming_resistor_ohm=1200.0, supply_v=5.0, supply_limit_a=0.16), allowed_a=2.0)
    assert cool.heat_w == pytest.approx(2.1 * 0.16)
    assert not any("heat" in line for line in cool.advice)
    assert ask(Charger(0.1)).heat_w is None


@pytest.mark.parametrize(("load_a", "ok"), [(0.0199, True), (0.02, False), (0.5, False)])
def test_a_load_left_on_keeps_the_charge_from_ending(load_a: float, ok: bool) -> None:
    """The charger ends at a tenth of its current; a load of that much hides the end."""
    answer = ask(Charger(current_a=0.2, load_a=load_a))
    assert answer.ok is ok
    assert ("never ends" in check(answer, "load").text) is not ok


def test_a_charge_that_never_ends_takes_for_ever() -> None:
    """And what it takes from the charger does not reach the cell."""
    time = ask(Charger(current_a=0.2, load_a=0.03)).time
    assert time is not None and math.isinf(time.expected_h) and time.current_a == pytest.approx(0.17)


def test_without_a_load_it_is_told_from_which_on() -> None:
    """A tenth of 200 mA."""
    assert "20 mA or more" in ask(Charger(current_a=0.2)).advice[-1]


def test_a_cell_that_may_have_no_charge_gets_no_figures() -> None:
    """One check, one reason, what to do; no time."""
    nothing = ChargeAllowance(ChargeKind.NONE, 0.0, "it is discarded", ("keep it apart",), CAPACITY)
    answer = check_charger(NMC, nothing, Charger(0.001), RULES, None)
    assert not answer.ok and answer.time is None and answer.float_v is None and answer.resistor_ohm is None
    assert [c.text for c in answer.checks] == ["it is discarded"]
    assert answer.advice == ("keep it apart",)


def test_a_test_charge_says_what_it_is_for_and_what_its_time_rests_on() -> None:
    """The capacity is a guess, so the low end is about half the expected time."""
    guess = ChargeAllowance(ChargeKind.TEST, 0.1, "a test charge", ("measure first",), Measured(0.5, 0.125))
    answer = check_charger(NMC, guess, Charger(0.1), RULES, None)
    assert answer.ok is None and answer.advice[0] == "measure first"
    assert check_charger(NMC, guess, Charger(0.1, measured_float=FLOAT), RULES, None).ok is True
    assert any("not measured" in line for line in answer.advice)
    assert answer.time is not None and answer.time.low_h < 0.6 * answer.time.expected_h


def test_without_any_capacity_there_is_no_rate() -> None:
    """None, not a division by nothing."""
    unknown = ChargeAllowance(ChargeKind.NONE, 0.0, "not known", ("say it",))
    assert check_charger(NMC, unknown, Charger(0.1), RULES, None).c_rate is None


# --- laws ------------------------------------------------------------------------------------------


@given(allowed_a=st.floats(0.002, 1.1))
def test_the_resistor_it_names_is_always_gentle_enough(allowed_a: float) -> None:
    """What the advice says passes the check that gave it; the next smaller E24 value would not, or is beyond 1 A."""
    resistor_ohm = gentle_resistor(allowed_a)
    assert resistor_ohm is not None
    answer = ask(Charger(programming_resistor_ohm=resistor_ohm), allowed_a=allowed_a)
    assert check(answer, "current").ok
    next_ohm = rounded_down(0.999 * resistor_ohm)
    harder = ask(Charger(programming_resistor_ohm=next_ohm), allowed_a=allowed_a)
    assert next_ohm < 1200.0 or not check(harder, "current").ok


@given(current_a=st.floats(0.001, 5.0), more=st.floats(0.0, 2.0), allowed_a=st.floats(0.001, 3.0))
def test_more_current_never_turns_a_no_into_a_yes(current_a: float, more: float, allowed_a: float) -> None:
    """A harder charge is never better."""
    gentle, hard = (ask(Charger(a), allowed_a=allowed_a) for a in (current_a, current_a + more))
    assert gentle.ok or not hard.ok
