"""`charging`: exit 1 when a charger is too much, the JSON still printed, and what to change."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Any

import pytest
from tests.cli.bench import Bench
from tests.cli.device_bench import added, graded, held, iron, small

FLOAT = "--measured-float 4.18V"
KEYS = {"current_a", "c_rate", "allowed_a", "ok", "charge_time_h", "advice"}


def asked(bench: Bench, line: str, code: int) -> Any:
    """The JSON of a charging that must end with this exit code, with nothing else on stdout."""
    answer = bench.run(f"charging {line} --json")
    assert answer.code == code, answer.err
    assert "Traceback" not in answer.err
    return answer.json


def test_a_gentle_charger_is_fine(bench: Bench) -> None:
    """Exit 0, the keys of the interface."""
    code = small(bench)
    found = asked(bench, f"{code} --current 0.1A {FLOAT}", 0)
    assert set(found) >= KEYS and found["ok"] is True
    assert (found["current_a"], found["c_rate"]) == (0.1, pytest.approx(0.1 / 0.48))
    # 0.5C of the low end: 480 mAh less U of the load's 1 % + 1 mAh or so.
    assert 0.22 < found["allowed_a"] < 0.24
    hours = found["charge_time_h"]
    assert 4.3 < hours["low"] <= 4.8 < hours["expected"] <= hours["high"] < 7


def test_the_commonest_board_is_refused_with_the_resistor_to_fit(bench: Bench) -> None:
    """1 A into 480 mAh: exit 1, and 1320 V / 236 mA rounded up in E24 is 5.6 kohm."""
    code = small(bench)
    found = asked(bench, f"{code} --programming-resistor 1.2kohm --supply 5V", 1)
    assert (found["current_a"], found["worst_current_a"]) == (pytest.approx(1.0), pytest.approx(1.1))
    assert found["ok"] is False and found["c_rate"] > 2
    assert found["programming_resistor_ohm"] == pytest.approx(5600.0)
    assert "5.6 kohm (green blue red gold)" in found["advice"][0]
    assert found["heat_w"] == pytest.approx(2.31)
    assert asked(bench, f"{code} --programming-resistor 5.6kohm {FLOAT}", 0)["ok"] is True


def test_a_test_charge_and_nothing_more(bench: Bench) -> None:
    """0.2C of the rated 2600 mAh, attended."""
    code = held(bench)
    found = asked(bench, f"{code} --current 0.52A {FLOAT}", 0)
    assert found["allowed"] == "test charge" and found["allowed_a"] == pytest.approx(0.52)
    asked(bench, f"{code} --current 0.53A", 1)
    answer = bench.run(f"charging {code} --current 0.5A {FLOAT}")
    assert "test charge only" in answer.out and "attended" in answer.out
    assert "below 3.0 V a tenth" in " ".join(answer.err.split())


def test_a_cell_found_low_gets_a_tenth(bench: Bench) -> None:
    """Below 3.0 V 0.1C."""
    assert asked(bench, f"{held(bench, '2.8V')} --current 0.26A {FLOAT}", 0)["allowed_a"] == pytest.approx(
        0.26
    )


@pytest.mark.parametrize(
    ("options", "words"),
    [
        ("--marking 'CR123A 3V'", "never charge it"),
        ("--form 18650 --rated-capacity 2Ah", "chemistry is not known"),
        ("--form 14500 --chemistry nmc", "may be a primary cell"),
    ],
    ids=["primary", "unknown", "look-alike"],
)
def test_cells_that_may_have_no_charge(options: str, words: str, bench: Bench) -> None:
    """Exit 1 at any current; no time, no resistor."""
    code = added(bench, options)
    found = asked(bench, f"{code} --current 1mA", 1)
    assert (found["ok"], found["allowed_a"], found["allowed"]) == (False, 0.0, "no charge")
    assert set(found["charge_time_h"].values()) == {None} and found["programming_resistor_ohm"] is None
    assert words in found["why"]
    assert bench.run(f"charging {code} --current 1mA").out.startswith(f"{code}  NO: ")


def test_a_discarded_cell_is_never_charged(bench: Bench) -> None:
    """However good its figures."""
    code = graded(bench)
    bench.do(f"discard {code} --because 'fell into water'")
    found = asked(bench, f"{code} --current 10mA", 1)
    assert found["allowed_a"] == 0.0 and "fell into water" in found["why"]


def test_lfp_never_goes_on_a_four_point_two_volt_charger(bench: Bench) -> None:
    """Not by a programming resistor, not by silence, not by name; on its own charger it does."""
    code = iron(bench)
    for line in ("--programming-resistor 10kohm", "--current 0.2A", "--current 0.2A --voltage 4.2V"):
        found = asked(bench, f"{code} {line}", 1)
        assert any("4.2 V charger" in check["text"] for check in found["checks"]), line
    assert asked(bench, f"{code} --current 0.2A --voltage 3.6V", 0)["ok"] is True


def test_the_end_voltage_is_open_until_it_is_known(bench: Bench) -> None:
    """4.263 V at worst; measured 4.18 V with a good meter it is fine, at 4.25 V it is not."""
    line = f"{small(bench)} --programming-resistor 10kohm"
    found = asked(bench, line, 1)
    assert found["ok"] is None and found["float_v"]["worst"] == pytest.approx(4.263)
    assert {check["check"]: check["ok"] for check in found["checks"]}["end-voltage"] is None
    assert any("4.263 V" in text for text in found["advice"])
    fine = asked(bench, f"{line} --measured-float 4.18V --meter blue", 0)
    assert {check["check"]: check["ok"] for check in fine["checks"]}["end-voltage"] is True
    asked(bench, f"{line} --measured-float 4.25V --meter blue", 1)
    asked(bench, f"{line} --tolerance 1.5%", 1)
    asked(bench, f"{line} --tolerance 1%", 0)


def test_a_stated_voltage_without_a_tolerance_counts_the_shipped_one(bench: Bench) -> None:
    """4.20 V plus 1.5 % is 4.263 V: exit 1, and the advice names both ways out; 4.10 V is fine as it is."""
    line = f"{small(bench)} --current 0.1A"
    found = asked(bench, f"{line} --voltage 4.20V", 1)
    assert found["ok"] is False and found["float_v"]["worst"] == pytest.approx(4.263)
    assert any("--measured-float" in text and "--tolerance" in text for text in found["advice"])
    asked(bench, f"{line} --voltage 4.20V --tolerance 1%", 0)
    asked(bench, f"{line} --voltage 4.10V", 0)
    assert "NO: the charger may reach 4.263" in bench.run(f"charging {line} --voltage 4.20V").out.replace(
        "\n  ", " "
    )


def test_a_measurement_without_a_meter_has_the_cautious_error(bench: Bench) -> None:
    """0.5 % + 10 mV, rectangular, k = 2: 4.22 V is 4.256 V at worst."""
    line = f"{small(bench)} --current 0.1A --measured-float 4.22V"
    worst_v = 4.22 + 2 * (0.005 * 4.22 + 0.010) / 3**0.5
    assert asked(bench, line, 1)["float_v"]["worst"] == pytest.approx(worst_v)
    asked(bench, f"{line} --meter blue", 0)


def test_a_supply_that_is_the_limit(bench: Bench) -> None:
    """160 mA: a time of its own, and a resistor that does not bring the source down."""
    found = asked(
        bench, f"{small(bench)} --programming-resistor 6.2kohm --supply 5V --supply-limit 160mA {FLOAT}", 0
    )
    assert found["limited_by_supply"] is True and found["flowing_a"] == 0.16
    assert any("collapses" in text and "9.1 kohm" in text for text in found["advice"])


def test_nine_volts_are_the_end_of_a_linear_charger(bench: Bench) -> None:
    """Exit 1 with the figure and its source (data sheet: 8 V absolute maximum); one made for 24 V is another matter."""
    code = small(bench)
    found = asked(bench, f"{code} --programming-resistor 10kohm --supply 9V", 1)
    assert found["ok"] is False and found["charge_time_h"]["expected"] is None
    assert any("VCC -0.3 to 8 V" in each["text"] for each in found["checks"] if each["ok"] is False)
    page = " ".join(bench.run(f"charging {code} --current 0.1A --supply 9V").out.split())
    assert "NO: a supply of 9 V may destroy" in page and "--supply-rated" in page
    asked(bench, f"{code} --current 0.1A --supply 9V --supply-rated 24V {FLOAT}", 0)
    asked(bench, f"{code} --current 0.1A --supply 5V {FLOAT}", 0)


def test_a_load_left_on_keeps_it_from_ending(bench: Bench) -> None:
    """Infinite is null in JSON, and words on the page."""
    code = small(bench)
    found = asked(bench, f"{code} --current 0.1A --load 20mA", 1)
    assert found["charge_time_h"]["expected"] is None
    answer = bench.run(f"charging {code} --current 0.1A --load 20mA")
    assert "without end" in answer.out and "switch the device off" in answer.out


def test_in_the_cool_it_takes_less_and_in_the_frost_nothing(bench: Bench) -> None:
    """480 mAh less U: 0.2C or so at 12 C, 0.1C at 2 C and only attended, below 0 C nothing."""
    code = small(bench)
    assert 0.09 < asked(bench, f"{code} --current 50mA --temperature 12C {FLOAT}", 0)["allowed_a"] < 0.096
    cold = asked(bench, f"{code} --current 50mA --temperature 2C {FLOAT}", 1)
    assert 0.045 < cold["allowed_a"] < 0.048
    assert any("attended" in each for each in cold["advice"]), cold["advice"]
    assert asked(bench, f"{code} --current 5mA --temperature -1C {FLOAT}", 1)["allowed_a"] == 0.0


def test_the_page_says_no_first_and_ends_with_what_to_change(bench: Bench) -> None:
    """Within eighty columns; the refusal once more on stderr, with the caution."""
    code = small(bench)
    answer = bench.run(f"charging {code} --programming-resistor 1.2kohm --supply 5V")
    assert answer.code == 1
    assert answer.out.startswith(f"{code}  NO: the charger gives up to 1.1 A")
    for words in ("verdict", "What to change", "2.4 W", "4.263 V"):
        assert words in answer.out
    assert max(map(len, answer.out.splitlines())) <= 80
    assert "Stay in sight while it charges" in answer.err and "must not be charged like this" in answer.err


def test_a_charger_on_record_brings_its_measured_float(bench: Bench) -> None:
    """By slot, for 90 days; then, and of a slot that was never measured, it is asked for again."""
    code = small(bench)
    start = bench.now
    bench.do("charger add bay --slot 2 --measured-float 4.18V")
    line = f"{code} --current 0.1A --charger bay --slot"
    assert asked(bench, f"{line} 2", 0)["float_v"]["worst"] == pytest.approx(
        asked(bench, f"{code} --current 0.1A {FLOAT}", 0)["float_v"]["worst"]
    )
    assert "no float of charger 'bay' slot 3" in bench.refused(f"charging {line} 3", 3)
    assert "two floats" in bench.refused(f"charging {line} 2 {FLOAT}", 2)
    assert "--slot is given without" in bench.refused(f"charging {code} --current 0.1A --slot 2", 2)
    bench.now = (datetime.fromisoformat(start) + timedelta(days=90, minutes=1)).isoformat()
    assert "in the last 90 days" in bench.refused(f"charging {line} 2", 3)


def test_of_a_charger_of_which_nothing_is_said_nothing_is_shown(bench: Bench) -> None:
    """Null, exit 1, and what to measure: silence is no yes, and no refusal either."""
    code = small(bench)
    assert asked(bench, f"{code} --current 0.1A", 1)["ok"] is None
    answer = bench.run(f"charging {code} --current 0.1A")
    assert answer.out.startswith(f"{code}  NOT SHOWN: the charger may reach 4.263 V")
    assert "is not shown to bear this charger" in answer.err and "--measured-float" in answer.err


@pytest.mark.parametrize(
    ("recorded", "lacks"),
    [
        ("", "a look and its voltage of this cell are not recorded"),
        ("--look clean", "its voltage of this cell is not recorded"),
        ("--as-found-voltage 3.5V", "a look of this cell is not recorded"),
        ("--look clean --as-found-voltage 3.5V", None),
    ],
)
def test_a_cell_that_nobody_looked_at_or_measured_gets_no_yes(
    bench: Bench, recorded: str, lacks: str | None
) -> None:
    """However gentle the charger: a dent or a deep discharge may hide."""
    code = added(bench, "--marking 'INR18650 2600mAh'")
    if recorded:
        bench.do(f"reading add {code} {recorded}")
    found = asked(bench, f"{code} --current 50mA {FLOAT}", 0 if lacks is None else 1)
    assert found["ok"] is (True if lacks is None else None)
    assert lacks is None or any(lacks in text for text in found["advice"])


BAD = [
    ("", 2, "no charge current given"),
    ("--current 0.1A --programming-resistor 10kohm", 2, "two settings"),
    ("--current 0.1A --meter blue", 2, "needs --measured-float"),
    ("--current 0.1A --measured-float 4.2V --meter red", 3, "red"),
    ("--current 0A", 3, "cannot be right"),
    ("--current 0.1", 3, "has no unit"),
    ("--current 0.1V", 3, "is a voltage, not a current"),
    ("--current nanA", 3, "not a number"),
    ("--programming-resistor 0ohm", 3, "cannot be right for a programming resistor"),
    ("--programming-resistor 1.2", 3, "has no unit"),
    ("--current 0.1A --supply 400V", 3, "cannot be right for a supply"),
    ("--current 0.1A --supply-rated 24V", 2, "needs --supply"),
    ("--current 0.1A --supply 9V --supply-rated 24", 3, "has no unit"),
    ("--current 0.1A --supply-limit 0A", 3, "cannot be right"),
    ("--current 0.1A --voltage 12V", 3, "cannot be right for one cell's charger"),
    ("--current 0.1A --tolerance 90%", 3, "cannot be right"),
    ("--current 0.1A --load -5mA", 3, "negative"),
    ("--current 0.1A --temperature 20", 3, "has no unit"),
]


@pytest.mark.parametrize(("line", "code", "words"), BAD)
def test_a_bad_line_is_refused_in_its_own_words(line: str, code: int, words: str, bench: Bench) -> None:
    """Never exit 1: that is an answer, these are not."""
    assert words in bench.refused(f"charging {held(bench)} {line}", code)


def test_a_cell_or_a_store_that_is_not_there_is_refused(bench: Bench) -> None:
    """3 and 4."""
    bench.refused("charging A00002M --current 0.1A", 4)
    held(bench)
    bench.refused("charging A00003K --current 0.1A", 3)
