"""What a project's charger, its supply and its protection ask of any cell, and what to change: `project show`."""

from __future__ import annotations

from typing import Any

import pytest
from tests.matching.single_bench import LIMITS, cell, match, project, reason

from straycell.cells import Chemistry
from straycell.errors import StraycellError
from straycell.matching import device_answers
from straycell.projects import Project

FLOAT = 'measured_float = "4.18V"'
GENTLE = f'programming_resistor = "15kohm"\n{FLOAT}'
HARD = f'programming_resistor = "1.2kohm"\n{FLOAT}'


def charging(wanted: Project) -> Any:
    return device_answers(wanted, LIMITS)["charging"]


def protection(wanted: Project) -> Any:
    return device_answers(wanted, LIMITS)["protection"]


# --- the supply ------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("supply", "ok"),
    [
        ('supply = "5V"', True),
        ('supply = "7.9V"', True),
        ('supply = "8V"', False),
        ('supply = "9V"', False),
        ('supply = "9V"\nsupply_rated = "24V"', True),
        ('supply = "24V"\nsupply_rated = "24V"', False),
        ('supply = "4.2V"', False),
    ],
)
def test_a_supply_that_destroys_the_charger_or_fills_no_cell_serves_nobody(supply: str, ok: bool) -> None:
    """8 V is the absolute maximum of the common linear part (its data sheet); 4.2 V leave nothing for the charger."""
    wanted = project(charge=f"{GENTLE}\n{supply}")
    assert (reason(wanted, cell(1)) == "served") is ok
    assert charging(wanted)["ok"] is ok
    if not ok:
        assert reason(wanted, cell(1)) == "charger-supply"


def test_the_supplys_figure_comes_with_its_source_and_a_remedy() -> None:
    """A programming resistor makes it a linear charger; of another kind its own sheet may say more."""
    lone, other = (
        charging(project(charge=f'{head}\n{FLOAT}\nsupply = "9V"'))
        for head in ('programming_resistor = "15kohm"', 'current = "0.1A"')
    )
    assert any("VCC -0.3 to 8 V" in text for text in lone["found"])
    assert "use a supply of 5V" in lone["advice"]
    assert any("supply_rated" in text for text in other["advice"])
    missing = " ".join(match(project(charge=f'{GENTLE}\nsupply = "9V"'), cell(1)).missing)
    assert "9 V may destroy" in missing and "use a supply of 5V" in missing


def test_a_charger_for_a_string_may_have_a_higher_supply() -> None:
    """8.4 V need more than 8 V; only what its own sheet says is held against it."""
    pair = {
        "pack": "series = 2",
        "cutoff": "6.0V",
        "protection": "fitted = true\nper_cell = true\nbalancing = true",
    }
    line = 'current = "0.1A"\nvoltage = "8.40V"\ntolerance = "1%"\nsupply = '
    assert charging(project(charge=f'{line}"12V"', **pair))["ok"]
    assert not charging(project(charge=f'{line}"12V"\nsupply_rated = "10V"', **pair))["ok"]
    assert not charging(project(charge=f'{line}"8.4V"', **pair))["ok"]


@pytest.mark.parametrize(("gives", "ohms"), [("160mA", "9.1 kohm"), ("40mA", "33 kohm")])
def test_a_weak_supply_is_told_with_the_resistor_that_does_not_bring_it_down(gives: str, ohms: str) -> None:
    """1320 V / 0.16 A = 8.25 kohm, 9.1 in E24 (IEC 60063); 1320 / 0.04 = 33 kohm. The project is served all the same."""
    wanted = project(charge=f'programming_resistor = "4.7kohm"\n{FLOAT}\nsupply_limit = "{gives}"')
    found = charging(wanted)
    assert found["ok"] and any(gives.replace("mA", " mA") in x and ohms in x for x in found["advice"])
    served = match(wanted, cell(1))
    assert served.served and any(ohms in text for text in served.warnings)


def test_a_strong_supply_or_none_told_is_nothing_to_speak_of() -> None:
    """Silence."""
    for line in ("", '\nsupply_limit = "2A"'):
        assert not any("collapses" in text for text in charging(project(charge=GENTLE + line))["advice"])


# --- which resistor --------------------------------------------------------------------------------


def test_small_sizes_are_told_the_resistor_for_each() -> None:
    """0.5C (common practice) of a usual 14500 of 600 mAh is 0.3 A: 1320 / 0.3 = 4.4, so 4.7 kohm; 13400: 6.2 kohm."""
    found = charging(project(pack='forms = ["14500", "13400"]', charge=HARD))
    assert not found["ok"]
    assert any("a 14500 of 600 mAh: use a programming resistor of 4.7 kohm" in a for a in found["advice"])
    assert any("a 13400 of 450 mAh: use a programming resistor of 6.2 kohm" in a for a in found["advice"])
    assert any("charged too hard" in text for text in found["found"])


def test_a_size_that_may_hold_enough_is_not_refused_beforehand() -> None:
    """1.1 A want 2200 mAh: many an 18650 holds that, and the one that does not is told by the match."""
    found = charging(project(pack='forms = ["18650"]', charge=HARD))
    assert found["ok"] and any("2000 mAh" in text and "1.5 kohm" in text for text in found["advice"])
    refused = match(project(pack='forms = ["18650"]', charge=HARD), cell(1, 1.5))
    assert not refused.served and "1.8 kohm" in " ".join(refused.missing)


def test_a_gentle_charger_needs_no_other_resistor() -> None:
    """88 mA at worst."""
    found = charging(project(pack='forms = ["14500"]', charge=GENTLE, load='current = "10mA"'))
    assert found["ok"] and not any("resistor" in text for text in found["advice"])


def test_a_charger_set_by_its_current_is_told_the_current() -> None:
    """No resistor to change."""
    found = charging(project(pack='forms = ["10440"]', charge=f'current = "1A"\n{FLOAT}'))
    assert not found["ok"] and "for a 10440 of 280 mAh: set the charger to 140 mA or less" in found["advice"]


def test_cells_in_parallel_share_the_charge() -> None:
    """Two 14500 take 0.6 A together: 1320 / 0.6 = 2.2 kohm."""
    found = charging(project(pack='forms = ["14500"]\nparallel = 2', charge=HARD))
    assert any("a 14500 of 600 mAh: use a programming resistor of 2.2 kohm" in a for a in found["advice"])


def test_a_charger_for_some_chemistries_is_as_it_should_be_and_says_for_which_not() -> None:
    """4.242 V are fine for nmc and never for lfp (3.70 V): nothing to change, but it is said."""
    found = charging(project(charge='current = "0.1A"\nvoltage = "4.20V"\ntolerance = "1%"'))
    assert found["ok"] and found["chemistries"] == ["nmc", "lco", "nca", "lmo"] and found["advice"] == []
    assert any(text.startswith("not for lfp: ") for text in found["found"])
    worse = charging(project(charge='current = "0.1A"\nvoltage = "4.20V"\ntolerance = "1.5%"'))
    assert not worse["ok"] and any("1 % or better" in text for text in worse["advice"])


# --- strings and protection ------------------------------------------------------------------------


def test_a_string_is_told_what_it_needs_and_lfp_apart() -> None:
    """Never a single-cell charger; 2 x 4.20 V, lfp 2 x 3.65 V (sheets); protection and balancing cell by cell."""
    wanted = project(pack="series = 2", cutoff="6.0V", charge=GENTLE)
    found, guarded = charging(wanted), protection(wanted)
    assert not found["ok"] and not guarded["ok"]
    assert any("never a single-cell charger" in text for text in found["found"])
    assert any("2 cells in series" in x and "8.40V" in x for x in found["advice"])
    assert any("2 lfp cells in series" in x and "7.30V" in x for x in found["advice"])
    assert any("per_cell = true" in x for x in guarded["advice"])
    assert any("balancing = true" in x for x in guarded["advice"])


def test_the_trip_is_told_with_its_spread_and_the_cells_that_need_a_fuse() -> None:
    """3 A typical: 3.6 A at most (0.18 V over 2 x 25 mohm), which is 3C of 1200 mAh (common practice)."""
    guarded = protection(project(protection='fitted = true\ntrip_current = "3A"'))
    assert guarded["ok"] and guarded["trip_high_a"] == pytest.approx(3.6)
    assert guarded["trip_low_a"] == pytest.approx(0.12 / (2 * 0.025 * 1.4))
    assert any("less than 1200 mAh" in text and "fuse" in text for text in guarded["found"])
    two = protection(project(pack="parallel = 2", protection='fitted = true\ntrip_current = "3A"'))
    assert any("less than 600 mAh" in text for text in two["found"])


@pytest.mark.parametrize(
    ("ohm", "typical_a"), [("20mohm", 3.75), ("25mohm", 3.0), ("45mohm", 1.667), ("60mohm", 1.25)]
)
def test_the_trip_follows_from_the_transistors(ohm: str, typical_a: float) -> None:
    """0.15 V / (2 R) (protection part rev 1.1, p. 9), 0.12 to 0.18 V: a fifth either way, and less when hot."""
    guarded = protection(project(protection=f'fitted = true\ntransistor_resistance = "{ohm}"'))
    assert guarded["trip_high_a"] == pytest.approx(1.2 * typical_a, rel=1e-3)
    assert guarded["trip_low_a"] == pytest.approx(0.8 * typical_a / 1.4, rel=1e-3)


def test_a_trip_that_is_not_told_is_asked_for() -> None:
    """In either way; told twice it is refused."""
    assert any("transistor_resistance" in x for x in protection(project())["advice"])
    with pytest.raises(StraycellError) as caught:
        project(protection='fitted = true\ntrip_current = "3A"\ntransistor_resistance = "25mohm"')
    assert "both a trip current and a transistor's resistance" in str(caught.value)


@pytest.mark.parametrize(("peak", "ok"), [("1.6A", True), ("1.8A", False)])
def test_a_peak_stays_below_the_low_end_with_hot_transistors(peak: str, ok: bool) -> None:
    """0.12 V / (2 x 25 mohm x 1.4) = 1.71 A."""
    wanted = project(need=f'peak_current = "{peak}"', protection='fitted = true\ntrip_current = "3A"')
    assert protection(wanted)["ok"] is ok
    assert (reason(wanted, cell(1)) == "served") is ok


def test_lfp_is_never_served_by_a_four_point_two_volt_charger() -> None:
    """With its own voltage it is: 3.60 V and 1.5 % are 3.654 V, within 3.70 V."""
    iron = cell(1, chemistry=Chemistry.LFP)
    only = 'chemistries = ["lfp"]'
    assert reason(project(pack=only, charge=GENTLE), iron) == "charger-voltage"
    assert not charging(project(pack=only, charge=GENTLE))["ok"]
    own = 'current = "0.1A"\nvoltage = "3.60V"'
    assert charging(project(pack=only, charge=own))["ok"]


@pytest.mark.parametrize(
    ("sensing", "low_a", "high_a"), [("", 30 * 0.12 / 0.15 / 1.4, 36.0), ("shunt", 24.0, 36.0)]
)
def test_a_board_with_a_resistor_of_its_own_does_not_trip_earlier_when_warm(
    sensing: str, low_a: float, high_a: float
) -> None:
    """30 A felt at 0.15 +/- 0.03 V: 24 to 36 A; over two warm transistors (x 1.4) from 17 A on. Unsaid counts as these."""
    line = (
        f'fitted = true\ntrip_current = "30A"\n{f"sensing = {chr(34)}{sensing}{chr(34)}" if sensing else ""}'
    )
    found = protection(project(protection=line))
    assert (found["trip_low_a"], found["trip_high_a"]) == (pytest.approx(low_a), pytest.approx(high_a))
    assert any("ask how the board feels its current" in text for text in found["advice"]) is (sensing == "")
    # The match asks it too: there a figure that only a board with a resistor of its own reaches would refuse the cell.
    served = match(project(protection=line), cell(0))
    assert any("ask how the board feels its current" in text for text in served.warnings) is (sensing == "")
