"""Charging: programming resistor, float voltage, heat, allowed current, temperature windows."""

import math
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from straycell.cells import Chemistry
from straycell.errors import BadData
from straycell.physics.charging import (
    allowed_current,
    check_float,
    linear_heat,
    programmed_current,
    safe_resistor,
    temperature_limit,
)
from straycell.physics.resistors import is_standard
from straycell.quantities import Measured

# Rows of the table on page 3 of the common part's data sheet that were seen, in ohm and mA.
SHEET_TABLE = [(5000, 250), (1200, 1000)]


@pytest.mark.parametrize(("ohm", "milliampere"), SHEET_TABLE)
def test_the_programming_table_lies_within_the_spread(ohm, milliampere):
    """1200 V / R, 10 % either way, holds the rows of the sheet's own table."""
    said = programmed_current(ohm)
    assert said.low_a <= milliampere / 1000 <= said.high_a


def test_1_2_kohm_is_1_a():
    """Common practice; data sheet, page 3."""
    assert programmed_current(1200.0).nominal_a == pytest.approx(1.0)
    assert programmed_current(1200.0).high_a == pytest.approx(1.1)


def test_100_ma_allowed_gives_15_kohm():
    """1200 x 1.1 / 0.1 = 13.2 kohm, the next E24 value up is 15 (13 would give up to 102 mA)."""
    assert safe_resistor(0.1) == pytest.approx(15000.0)
    assert programmed_current(13000.0).high_a > 0.1


@given(st.floats(0.001, 5.0))
def test_the_safe_resistor_never_allows_more_than_asked(allowed_a):
    """Its worst case stays within what is allowed, it can be bought, and the chip's own limit is kept."""
    ohm = safe_resistor(allowed_a)
    assert programmed_current(ohm).high_a <= allowed_a * (1 + 1e-9)
    assert programmed_current(ohm).nominal_a <= 1.0 + 1e-9
    assert is_standard(ohm)


def test_a_charger_of_1_5_percent_may_reach_4_263_v_and_is_refused():
    """4.2 x 1.015 is above the 4.25 V that sheets allow (4.20 +/- 0.05 V)."""
    answer = check_float(Chemistry.NMC, 4.20)
    assert answer.worst_v == pytest.approx(4.263)
    assert not answer.ok and "measure" in answer.advice


@pytest.mark.parametrize("chemistry", [Chemistry.NMC, Chemistry.LCO, Chemistry.NCA, Chemistry.LMO])
def test_a_measured_float_counts_with_its_uncertainty(chemistry):
    """4.23 V with U = 10 mV stays below 4.25 V; with U = 30 mV it does not."""
    assert check_float(chemistry, 4.20, measured=Measured(4.23, 0.005)).ok
    assert not check_float(chemistry, 4.20, measured=Measured(4.23, 0.015)).ok


def test_a_charger_of_one_percent_is_fine():
    """4.2 x 1.01 = 4.242 V."""
    assert check_float(Chemistry.LCO, 4.20, tolerance=0.01).ok


def test_lfp_is_never_charged_on_a_4_2_v_charger_whatever_was_measured():
    """The common part's own users say so; no reading of the float lifts it."""
    for measured in (None, Measured(3.6, 0.001)):
        answer = check_float(Chemistry.LFP, 4.20, measured=measured)
        assert not answer.ok and "never" in answer.advice
    assert check_float(Chemistry.LFP, 3.60).ok


@pytest.mark.parametrize("chemistry", [Chemistry.UNKNOWN, Chemistry.PRIMARY])
def test_no_charge_voltage_is_safe_for_an_unknown_or_primary_cell(chemistry):
    """Unknown is never a pass."""
    with pytest.raises(BadData):
        check_float(chemistry, 4.20)


def test_a_linear_charger_turns_the_difference_to_the_supply_into_heat():
    """(5 - 2.9) V x 1 A = 2.1 W at the emptiest cell at full current."""
    assert linear_heat(5.0, 1.0) == pytest.approx(2.1)
    assert linear_heat(2.5, 1.0) == 0.0


def test_the_allowed_current_is_the_rule_unless_the_maker_says_otherwise():
    """0.5C of 0.5 Ah; the maker's figure lowers always, and raises where the outcome lets it."""
    assert allowed_current(0.5, 0.5) == pytest.approx(0.25)
    assert allowed_current(0.5, 0.5, maker_current_a=0.4) == pytest.approx(0.4)
    assert allowed_current(0.5, 0.2, maker_current_a=0.4, maker_may_raise=False) == pytest.approx(0.1)
    assert allowed_current(0.5, 0.5, maker_current_a=0.1) == pytest.approx(0.1)


def test_a_discarded_cell_gets_nothing_whatever_its_maker_said():
    """A limit of zero is zero."""
    assert allowed_current(2.0, 0.0, maker_current_a=1.0) == 0.0


@pytest.mark.parametrize(
    ("temperature_c", "rate"),
    [(-1.0, 0.0), (0.0, 0.1), (4.0, 0.1), (10.0, 0.2), (12.0, 0.2), (25.0, 0.5), (45.0, 0.5), (46.0, 0.0)],
)
def test_charge_current_by_temperature(temperature_c, rate):
    """0-5 degC 0.1C, 10-15 0.2C, 20 on 0.5C (an 18650 cell sheet); three 18650 sheets end at 45 degC."""
    assert temperature_limit(temperature_c) == rate


@pytest.mark.parametrize(
    "call",
    [
        lambda: programmed_current(0.0),
        lambda: programmed_current(math.inf),
        lambda: safe_resistor(0.0),
        lambda: safe_resistor(math.nan),
        lambda: allowed_current(0.0, 0.5),
        lambda: allowed_current(1.0, -0.5),
        lambda: check_float(Chemistry.NMC, -4.2),
        lambda: check_float(Chemistry.NMC, 4.2, tolerance=-0.01),
    ],
)
def test_nonsense_is_refused_with_a_remedy(call):
    """Each kind of wrong figure gets its own message."""
    with pytest.raises(BadData) as caught:
        call()
    assert caught.value.remedy


def test_a_degree_more_or_less_is_no_cliff():
    """Between the steps of the sheet the current rises in straight lines: a tenth of a degree is worth little."""
    rates = [temperature_limit(tenth / 10) for tenth in range(451)]
    assert rates == sorted(rates) and max(b - a for a, b in pairwise(rates)) < 0.01
