"""`load`: what a device draws, what a resistor's colours say, and which resistor gives the hours wanted."""

from __future__ import annotations

import math
from pathlib import Path

import pytest
from tests.cli.bench import Bench
from tests.cli.device_bench import graded, held

STRING = "--drop 0.67V --across 5.2ohm --lamps 60"


# --- from-drop -------------------------------------------------------------------------------------


def test_a_drop_says_what_the_device_and_each_lamp_draw(bench: Bench) -> None:
    """0.67 V over 5.2 ohm is about 130 mA, about 2 mA for each of 60 lamps (common practice). No store is needed."""
    found = bench.do(f"load from-drop {STRING}")
    assert found["current_a"] == pytest.approx(0.67 / 5.2)
    assert found["per_lamp_a"] == pytest.approx(0.67 / 5.2 / 60)
    assert not bench.store.exists()


def test_without_lamps_there_is_no_share(bench: Bench) -> None:
    """null, not a guess."""
    assert bench.do("load from-drop --drop 0.67V --across 5.2ohm")["per_lamp_a"] is None


def test_the_resistor_is_held_against_what_one_can_buy(bench: Bench) -> None:
    """5.2 ohm is no E24 value, the nearest is 5.1 (IEC 60063)."""
    resistor = bench.do(f"load from-drop {STRING}")["resistor"]
    assert (resistor["is_e24"], resistor["nearest_e24_ohm"]) == (False, pytest.approx(5.1))
    assert resistor["nearest_e24_bands"] == ["green", "brown", "gold", "gold"]


def test_three_bands_mean_a_fifth_either_way(bench: Bench) -> None:
    """green red gold: 5.2 ohm, 20 % (IEC 60062); the current is uncertain by as much."""
    found = bench.do("load from-drop --drop 0.67V --bands green,red,gold --lamps 60")
    assert found["current_a"] == pytest.approx(0.67 / 5.2)
    assert (found["low_a"], found["high_a"]) == (pytest.approx(0.67 / 6.24), pytest.approx(0.67 / 4.16))
    assert found["resistor"]["tolerance"] == 0.2


def test_bands_alone_read_a_resistor(bench: Bench) -> None:
    """With commas or blanks; nothing was measured, so nothing is drawn."""
    for bands in ("yellow,violet,red,gold", "yellow violet red gold", "Yellow, Violet, Red, Gold"):
        found = bench.do(f"load from-drop --bands '{bands}'")
        assert found["current_a"] is None
        resistor = found["resistor"]
        assert (resistor["ohm"], resistor["tolerance"]) == (pytest.approx(4700.0), 0.05)
        assert resistor["is_e24"] is True
    page = bench.run("load from-drop --bands green,red,gold").out
    assert page.startswith("5.2 ohm ± 20%") and "4.16 ohm to 6.24 ohm" in page and "5.1 ohm" in page


def test_a_measured_resistor_outside_its_bands_is_told(bench: Bench) -> None:
    """Read from the wrong end, or burnt."""
    line = "load from-drop --drop 0.67V --bands green,red,gold --across"
    assert bench.do(f"{line} 6ohm")["resistor"]["within_bands"] is True
    assert bench.do(f"{line} 7ohm")["resistor"]["within_bands"] is False
    assert "lies outside" in bench.run(f"{line} 7ohm").out


def test_lamps_draw_another_current_on_a_lithium_cell(bench: Bench) -> None:
    """The measured supply gives the measured current; a fuller one more, at least by what the resistor alone says."""
    found = bench.do(f"load from-drop {STRING} --supply 3.0V")
    by_supply = {row["supply_v"]: row["current_a"] for row in found["on_supply"]}
    assert by_supply[3.0] == pytest.approx(found["current_a"])
    assert found["current_a"] * 2 < by_supply[4.2] < (0.67 + 1.2) / 5.2
    assert found["lamp_v"] == pytest.approx(2.33)


def test_the_page_of_a_drop_reads_at_eighty_columns(bench: Bench) -> None:
    """With the cautions of measuring in a running device, and none of a capacity run."""
    answer = bench.run(f"load from-drop {STRING} --supply 3.0V")
    assert answer.out.startswith("draws 128.8 mA") and "2.147 mA" in answer.out
    assert "does not halve it" in " ".join(answer.out.split())
    assert max(map(len, answer.out.splitlines())) <= 80
    assert "volt sockets" in answer.err and "mains or a" in answer.err
    assert "capacity run" not in answer.err


BAD_DROPS = [
    ("", 2, "--drop is missing"),
    ("--across 5.2ohm", 2, "--drop is missing"),
    ("--drop 0.67V", 2, "series resistor is missing"),
    ("--bands green,red,gold --lamps 60", 2, "--drop is missing"),
    ("--drop 0.67V --across 0ohm", 3, "cannot be right for a resistor"),
    ("--drop 0V --across 5ohm", 3, "cannot be right"),
    ("--drop 0.67A --across 5ohm", 3, "is a current, not a voltage"),
    ("--drop 0.67V --across 5.2", 3, "has no unit"),
    ("--drop 0.67V --across 5ohm --lamps 0", 2, "out of range"),
    ("--drop 0.67V --across 5ohm --lamps many", 2, "not a whole number"),
    ("--drop 3V --across 5ohm --supply 3V", 3, "leaves nothing"),
    ("--bands green,red", 3, "2 bands"),
    ("--bands green,red,mauve", 3, "mauve"),
    ("--bands gold,red,green", 3, "gold is not a figure"),
    ("--bands black,black,red", 3, "all black"),
    ("--bands ''", 3, "empty"),
]


@pytest.mark.parametrize(("line", "code", "words"), BAD_DROPS)
def test_a_bad_drop_is_refused_in_its_own_words(line: str, code: int, words: str, bench: Bench) -> None:
    """2 for a line that does not fit together, 3 for a value that cannot be taken."""
    assert words in bench.refused(f"load from-drop {line}", code)


# --- for-runtime -----------------------------------------------------------------------------------


def test_a_resistor_for_the_lamps_that_keeps_the_promise(bench: Bench) -> None:
    """An E24 value with its bands, its rating at twice the heat, and a low end of at least what was wanted."""
    code = graded(bench)
    found = bench.do(f"load for-runtime {code} --runtime 48h --until 3V {STRING} --supply 3V")
    resistor = found["resistor"]
    assert resistor["bands"][-1] == "gold" and len(resistor["bands"]) == 4
    assert resistor["rating_w"] >= 2 * resistor["dissipated_w"]
    assert found["runtime_h"]["low"] >= 48
    assert found["per_lamp_a"] == pytest.approx(found["current_a"] / 60)
    behind = bench.do(f"load from-drop --bands {','.join(resistor['bands'])}")["resistor"]
    assert behind["ohm"] == pytest.approx(resistor["ohm"]) and behind["is_e24"]


def test_the_next_smaller_resistor_would_not_keep_it(bench: Bench) -> None:
    """33 ohm is the least: what `runtime` says of the same lamps behind 30 ohm, less 5 %, is under 48 h."""
    code = graded(bench)
    found = bench.do(f"load for-runtime {code} --runtime 48h --until 3V {STRING} --supply 3V --brighter")
    assert found["resistor"]["ohm"] == pytest.approx(33.0)
    # The same diode behind 28.5 ohm, measured at 3 V: I R + 2 kT/q ln(I / I0) fills 0.67 V (solved by halving).
    low, high = 0.0, 3.0
    for _ in range(60):
        drop = (low + high) / 2
        volts = drop + 2 * 0.02569 * math.log(drop / 28.5 / (0.67 / 5.2))
        low, high = (drop, high) if volts < 0.67 else (low, drop)
    less = bench.do(f"runtime {code} --drop {drop:.6f}V --across 28.5ohm --supply 3V --lamps 60 --until 3V")
    assert less["runtime_h"]["low"] < 48


def test_a_current_where_no_lamps_are_named(bench: Bench) -> None:
    """The largest whose low end is the hours wanted, as `runtime` says, and a plain resistor that draws no more."""
    code = graded(bench)
    found = bench.do(f"load for-runtime {code} --runtime 48h --until 3V")
    again = bench.do(f"runtime {code} --current {found['current_a']:.6f}A --until 3V")["runtime_h"]
    assert again["low"] == pytest.approx(48, rel=1e-3)
    assert 0.95 * 4.2 / found["resistor"]["ohm"] <= found["current_a"] * 4.2
    assert found["resistor"]["runtime_h"]["low"] >= 48


def test_the_current_never_passes_what_the_cell_may_give(bench: Bench) -> None:
    """0.5C of the low end, however short the time; one piece that bears the heat is not sold."""
    found = bench.do(f"load for-runtime {graded(bench)} --runtime 30min --until 3V")
    assert found["current_a"] <= found["allowed_a"] * (1 + 1e-6)
    assert found["resistor"] is None
    assert any("may give" in note for note in found["notes"])


def test_lamps_never_draw_more_than_the_cell_may_give(bench: Bench) -> None:
    """A light cell of 1400 mAh: 0.2C is some 270 mA, and these lamps would draw 350 mA when it is full."""
    code = graded(bench, capacity="1.4Ah")
    found = bench.do(f"load for-runtime {code} --runtime 1h --until 3V {STRING} --supply 3V")
    assert found["outcome"] == "light" and found["current_a"] <= found["allowed_a"]
    assert found["resistor"]["ohm"] > 5.2


def test_what_cannot_be_had_is_an_answer_and_no_failure(bench: Bench) -> None:
    """Exit 0 with nulls and why: only match, build, checks and charging end with 1."""
    code = graded(bench)
    line = f"load for-runtime {code} --runtime 7000d --until 4.19V --temperature -30C"
    found = bench.do(line)
    assert found["current_a"] is None and found["resistor"] is None and found["runtime_h"] is None
    assert "no current lasts" in found["why_not"]
    assert bench.run(line).out.startswith(f"{code}  NO: ")


def test_a_forbidden_cell_is_named_on_top(bench: Bench) -> None:
    """Discarded: the answer is given, the verdict before it."""
    code = graded(bench)
    bench.do(f"discard {code} --because 'fell into water'")
    answer = bench.run(f"load for-runtime {code} --runtime 48h --until 3V")
    assert answer.code == 0 and answer.out.startswith(f"NOT ALLOWED  {code}: DISCARD")


@pytest.mark.parametrize("line", ["", f"{STRING} --supply 3V"], ids=["current", "lamps"])
def test_the_page_for_a_runtime_reads_at_eighty_columns(line: str, bench: Bench) -> None:
    """What to fit first, then how long, what to buy and how sure."""
    code = graded(bench)
    answer = bench.run(f"load for-runtime {code} --runtime 48h --until 3V {line}")
    assert answer.out.startswith(f"{code}  {'33 ohm in series' if line else 'up to '}")
    for words in ("count on", "gold)", "or more", "48 h"):
        assert words in answer.out
    assert max(map(len, answer.out.splitlines())) <= 80
    assert "protection" in answer.err


BAD_WISHES = [
    ("--until 3V", 2, "--runtime"),
    ("--runtime 48h", 2, "--until"),
    ("--runtime 48 --until 3V", 3, "has no unit"),
    ("--runtime 0h --until 3V", 3, "cannot be right for a run time"),
    ("--runtime 48mAh --until 3V", 3, "not a duration"),
    ("--runtime 48h --until 3V --drop 0.5V", 2, "--across and --supply is missing"),
    ("--runtime 48h --until 3V --drop 0.5V --bands green,red,blue,blue,mauve --supply 3V", 3, "mauve"),
    ("--runtime 48h --until 3V --temperature 80C", 3, "no lithium cell"),
]


@pytest.mark.parametrize(("line", "code", "words"), BAD_WISHES)
def test_a_bad_wish_is_refused_in_its_own_words(line: str, code: int, words: str, bench: Bench) -> None:
    """Usage and values apart."""
    assert words in bench.refused(f"load for-runtime {graded(bench)} {line}", code)


def test_a_wish_needs_a_cell_with_a_capacity(bench: Bench) -> None:
    """And a store, and a cell."""
    bench.refused("load for-runtime A00002M --runtime 48h --until 3V", 4)
    assert "has no capacity" in bench.refused(f"load for-runtime {held(bench)} --runtime 48h --until 3V", 3)
    bench.refused("load for-runtime A00003K --runtime 48h --until 3V", 3)


def test_lamps_that_one_cell_does_not_light_get_no_and_no_failure(bench: Bench) -> None:
    """Exit 0 with nulls and why: three 1.5 V cells fed them, one lithium cell leaves a glow."""
    code = graded(bench)
    line = (
        f"load for-runtime {code} --runtime 24h --until 3V --drop 0.5V --across 10ohm --supply 5V --lamps 20"
    )
    found = bench.do(line)
    assert found["runtime_h"] is None and found["resistor"] is None
    assert "the lamps go dark on one cell" in found["why_not"]
    assert "NO: the lamps go dark" in bench.run(line).out


def test_a_supply_that_leaves_only_a_glow_is_called_dark(bench: Bench) -> None:
    """4 V over the lamps: 3.3 V let through less than a hundredth (e to the 14th less, by the diode law)."""
    line = "load from-drop --drop 0.5V --across 10ohm --supply 4.5V --lamps 20"
    lit = {row["supply_v"]: row["lit"] for row in bench.do(line)["on_supply"]}
    assert lit == {4.2: True, 3.7: False, 3.3: False, 3.0: False}
    assert bench.run(line).out.count("next to nothing: dark") == 3


def test_lamps_that_get_more_than_was_measured_are_told(bench: Bench) -> None:
    """At 3 V they drew 129 mA; behind the same resistor a full cell gives more."""
    line = f"load for-runtime {graded(bench)} --runtime 1h --until 3V {STRING} --supply 3V"
    found = bench.do(f"{line} --brighter")
    assert found["current_a"] > 0.67 / 5.2 and any("burn out" in note for note in found["notes"])
    gentle = bench.do(line)
    assert gentle["current_a"] <= 0.67 / 5.2 and not any("burn out" in note for note in gentle["notes"])


def test_lamps_that_fade_on_the_cell_stop_when_they_are_dark(bench: Bench) -> None:
    """`runtime` counts to the voltage at which they are dark, not to the device's cut-off."""
    code = graded(bench)
    found = bench.do(f"runtime {code} --until 3V --drop 0.5V --across 10ohm --supply 4V --lamps 20")
    assert found["stop"] == "lamps too dark" and 3.3 < found["stop_v"] < 3.5
    assert found["runtime_h"]["high"] < 200


# --- from-log --------------------------------------------------------------------------------------

LOG = """Zeit;Spannung [V];Strom (mA)
2026-03-01 10:00:00;5,02;-12,5
2026-03-01 10:00:30;5,01;-250,0
2026-03-01 10:01:00;5,02;-12,5
2026-03-01 11:00:00;5,02;-12,5
"""


def test_a_recorded_log_becomes_a_profile_that_runtime_takes(bench: Bench, tmp_path: Path) -> None:
    """Semicolons, decimal commas, clocks and own names, current counted as negative: (3570 x 12.5 + 30 x 250) / 3600 mA."""
    log, out = tmp_path / "log.csv", tmp_path / "day.csv"
    log.write_text(LOG, encoding="utf-8")
    found = bench.do(f"load from-log {log} --out {out} --columns 'time=Zeit,current=Strom (mA)'")
    assert found["period_s"] == 3600 and found["most"] == pytest.approx(0.25)
    assert found["mean"] == pytest.approx((3570 * 0.0125 + 30 * 0.25) / 3600)
    assert out.read_text(encoding="utf-8").splitlines()[:3] == ["time_s,current_a", "0,0.0125", "30,0.25"]
    run = bench.do(f"runtime {graded(bench)} --profile {out} --until 3.0V")
    assert run["load"]["kind"] == "profile" and run["runtime_h"]["low"] > 48
    watts = bench.do(f"load from-log {log} --out {tmp_path / 'w.csv'} --power")
    assert watts["most"] == pytest.approx(0.25 * 5.01, rel=1e-3)


@pytest.mark.parametrize(
    ("text", "options", "words"),
    [
        ("a;b\n1;2\n3;4\n", "", "names no column"),
        (LOG, "--columns 'time=Uhr,current=Strom (mA)'", "no column 'Uhr'"),
        (LOG.replace("10:01:00", "09:01:00"), "", "is not later"),
        ("time_s;voltage_v;current_a\n0;5;0\n10;5;0\n", "", "not all zero"),
    ],
)
def test_a_log_that_cannot_be_read_is_refused(
    bench: Bench, tmp_path: Path, text: str, options: str, words: str
) -> None:
    """Exit 3, what is wrong, and no file is written."""
    log, out = tmp_path / "log.csv", tmp_path / "day.csv"
    log.write_text(text, encoding="utf-8")
    assert words in bench.refused(f"load from-log {log} --out {out} {options}", 3)
    assert not out.exists()
