"""`runtime`: hours with a low end, what forbids the use on top, the picture, and every kind of bad line."""

from __future__ import annotations

import io
import re
from pathlib import Path

import pytest
from PIL import Image
from tests.cli.bench import Bench
from tests.cli.device_bench import LATER, START, added, graded, held, iron, small

KEYS = {"runtime_h", "basis", "forbidden", "stop", "load", "outcome", "notes"}


def test_it_answers_with_the_keys_of_the_interface(bench: Bench) -> None:
    """expected, low and high in hours, and what it was counted from."""
    found = bench.do(f"runtime {graded(bench)} --current 35mA --until 3.2V --temperature 5C")
    assert set(found) >= KEYS
    hours = found["runtime_h"]
    assert set(hours) == {"expected", "low", "high"}
    assert 0 < hours["low"] <= hours["expected"] <= hours["high"]
    assert found["basis"] == "chemistry curve" and found["forbidden"] == []
    assert found["load"] == {"kind": "current", "current_a": 0.035}
    assert (found["until_v"], found["stop_v"], found["stop"]) == (3.2, 3.2, "device cut-off")


def test_half_an_ampere_hour_at_26_milliampere_runs_less_than_a_division_says(bench: Bench) -> None:
    """480 mAh / 26 mA is 18.5 h down to the capacity's own cut-off; a device that stops at 3.3 V gets less."""
    code = small(bench)
    deep = bench.do(f"runtime {code} --current 26mA --until 2.8V")["runtime_h"]
    assert deep["low"] < 480 / 26 < deep["high"] * 1.05
    assert bench.do(f"runtime {code} --current 26mA --until 3.3V")["runtime_h"]["expected"] < deep["expected"]


def test_all_kinds_of_load_are_taken(bench: Bench) -> None:
    """50 mA by any other name: power through a regulator, a resistance, lamps measured once."""
    code = graded(bench)
    lines = {
        "power": "--power 0.157W --efficiency 85%",
        "resistance": "--resistance 74ohm",
        "lamps": "--drop 2.6V --across 52ohm --supply 3.7V --lamps 24",
    }
    base = bench.do(f"runtime {code} --current 50mA --until 3.0V")["runtime_h"]["expected"]
    for kind, line in lines.items():
        found = bench.do(f"runtime {code} {line} --until 3.0V")
        assert found["load"]["kind"] == kind
        assert found["runtime_h"]["expected"] == pytest.approx(base, rel=0.1)


def test_why_explains_each_part_of_the_margin_and_they_add_up(bench: Bench) -> None:
    """The shares on the page make up all that lies between expected and low, to the printed digit; JSON has them whole."""
    line = f"runtime {graded(bench)} --current 0.42A --until 3.0V --temperature 10C --peak 0.9A"
    found = bench.do(line)
    hours, parts = found["runtime_h"], found["margin_h"]
    assert sum(parts.values()) == pytest.approx(hours["expected"] - hours["low"])
    assert min(parts.values()) >= 0 and {"curves", "capacity", "resistance", "cold", "model"} <= set(parts)
    answer = bench.run(f"{line} --why")
    told = " ".join(answer.out.split("are kept for")[1].split())
    shares = [float(x) for x in re.findall(r"([\d.]+) %, [\d.]+ (?:h|min):", told)]
    margin = 100 * (1 - hours["low"] / hours["expected"])
    assert sum(shares) == pytest.approx(margin, abs=0.1 * len(parts)) and shares == sorted(
        shares, reverse=True
    )
    assert "at 10 C" in told and "the peaks take" in told
    assert "are kept for" not in bench.run(line).out


def test_a_current_that_is_refused_names_the_option_for_the_makers_figure(bench: Bench) -> None:
    """Steady and in peaks; with the sheet's figure recorded the refusal is gone, and with it the hint."""
    code = graded(bench)
    for line in ("--current 2A", "--current 0.2A --peak 5A"):
        against = bench.do(f"runtime {code} {line} --until 3.0V")["forbidden"]
        assert f"straycell cell correct {code} --maker-discharge-current" in against[1], against
    bench.do(f"cell correct {code} --maker-discharge-current 6A --because 'the sheet came'")
    assert bench.do(f"runtime {code} --current 2A --until 3.0V")["forbidden"] == []


def test_the_first_of_the_cut_offs_ends_it(bench: Bench) -> None:
    """Device, cell (2.5 V for nmc in the rules) or protection."""
    code = graded(bench)
    for line, stop, volts in (
        ("--until 1V", "cell cut-off", 2.5),
        ("--until 1V --protection-cutoff 2.9V", "protection cut-off", 2.9),
        ("--until 3V --protection-cutoff 2.9V", "device cut-off", 3.0),
    ):
        found = bench.do(f"runtime {code} --current 50mA {line}")
        assert (found["stop"], found["stop_v"]) == (stop, volts)


def test_the_page_reads_at_eighty_columns(bench: Bench) -> None:
    """The low end first, what it rests on, and the caution of a cell that goes to work."""
    code = graded(bench)
    answer = bench.run(f"runtime {code} --drop 0.55V --across 10ohm --supply 3V --lamps 24 --until 3V")
    assert answer.out.startswith(f"{code}  count on ")
    for words in ("expected", "at best", "stops at", "published curves of nmc", "2500 ± 31 mAh", "one diode"):
        assert words in " ".join(answer.out.split()), words
    assert max(map(len, answer.out.splitlines())) <= 80
    assert "protection" in answer.err


DAY = "time_s,current_a\n0,0.005\n50,0.4\n60,0\n"
"""60 s: 5 mA, and 0.4 A for ten of them: 70.8 mA on average."""


def recorded(bench: Bench, text: str) -> Path:
    path = bench.store.with_name("day.csv")
    path.write_text(text, encoding="utf-8")
    return path


def test_a_recorded_profile_is_taken_from_its_file(bench: Bench) -> None:
    """Near what its mean would give (50 s x 5 mA + 10 s x 0.4 A over 60 s), and less, as its worst moment stops it."""
    code, path = graded(bench), recorded(bench, DAY)
    found = bench.do(f"runtime {code} --profile {path} --until 3.2V")
    mean_a = (50 * 0.005 + 10 * 0.4) / 60
    assert found["load"]["kind"] == "profile" and found["load"]["mean_current_a"] == pytest.approx(mean_a)
    assert (found["load"]["period_s"], found["load"]["most_current_a"]) == (60.0, 0.4)
    steady = bench.do(f"runtime {code} --current {mean_a:.6f}A --until 3.2V")["runtime_h"]["expected"]
    assert 0.85 * steady < found["runtime_h"]["expected"] < steady
    answer = bench.run(f"runtime {code} --profile {path} --until 3.2V")
    assert "70.83 mA on average, up to 400 mA" in " ".join(answer.out.split())


def test_a_profile_runs_as_long_on_the_command_line_as_in_a_match(bench: Bench) -> None:
    """The same file beside a project file: one model behind both."""
    code, path = graded(bench), recorded(bench, DAY)
    project = path.with_name("water.toml")
    project.write_text(
        'name = "water"\n[load]\nprofile = "day.csv"\n[need]\nruntime = "10h"\ncutoff = "3.2V"\n'
        "[protection]\nfitted = true\n",
        encoding="utf-8",
    )
    bench.do(f"project add {project}")
    matched = bench.do("match water")["runtime_h"]
    alone = bench.do(f"runtime {code} --profile {path} --until 3.2V")["runtime_h"]
    assert matched["expected"] == pytest.approx(alone["expected"])


def test_a_profile_of_power_too(bench: Bench) -> None:
    """0.292 W on average are 78 mA at 3.73 V or so."""
    path = recorded(bench, "time_s,power_w\n0,0.05\n3000,1.5\n3600,0\n")
    found = bench.do(f"runtime {graded(bench)} --profile {path} --until 3.2V")
    assert found["load"]["mean_power_w"] == pytest.approx((3000 * 0.05 + 600 * 1.5) / 3600)
    assert 2.5 / 0.09 < found["runtime_h"]["expected"] < 2.5 / 0.07
    assert found["steady_a"] == pytest.approx(1.5 / 3.2)


def test_a_profile_is_judged_by_its_minute_and_its_moment(bench: Bench) -> None:
    """Steady at most 1.23 A of 2500 mAh, moments twice that: 2 A for 2 s of a minute may be, 3 A or 30 s may not."""
    code = graded(bench)
    for seconds, amps, words in ((2, 2.0, ""), (2, 3.0, "its peaks draw"), (50, 2.0, "draws up to")):
        path = recorded(bench, f"time_s,current_a\n0,{amps}\n{seconds},0\n60,0\n")
        against = bench.do(f"runtime {code} --profile {path} --until 3V")["forbidden"]
        assert (words in against[0]) if words else against == []


def test_peaks_stop_the_device_earlier(bench: Bench) -> None:
    """1 A more over 60 mohm and more pull at least 60 mV: the run ends that much higher, and is shorter."""
    code = graded(bench)
    base = bench.do(f"runtime {code} --current 35mA --until 3.3V")
    peaky = bench.do(f"runtime {code} --current 35mA --peak 1.035A --until 3.3V")
    assert base["dip_v"] == 0 and 0.06 < peaky["dip_v"] < 0.2
    assert peaky["stop_v"] == pytest.approx(3.3 + peaky["dip_v"]) and peaky["until_v"] == 3.3
    assert peaky["runtime_h"]["expected"] < base["runtime_h"]["expected"]
    assert any("between the peaks" in note for note in peaky["notes"])
    assert bench.do(f"runtime {code} --current 1A --peak 0.5A --until 3.3V")["dip_v"] == 0
    assert (
        "its peaks draw" in bench.do(f"runtime {code} --current 35mA --peak 2.6A --until 3V")["forbidden"][0]
    )


def test_lamps_by_the_colours_of_their_resistor(bench: Bench) -> None:
    """green red gold is 5.2 ohm; what a full cell gives them stands beside what they were measured at."""
    code = graded(bench)
    line = f"runtime {code} --drop 0.67V --supply 3V --lamps 60 --until 2.9V"
    by_bands = bench.do(f"{line} --bands green,red,gold")
    assert by_bands["runtime_h"] == bench.do(f"{line} --across 5.2ohm")["runtime_h"]
    page = " ".join(bench.run(f"{line} --across 5.2ohm").out.split())
    assert "128.8 mA when measured" in page and "from a full cell" in page


# --- what forbids the use --------------------------------------------------------------------------


def test_a_verdict_that_forbids_the_use_stands_on_top_and_the_answer_is_still_given(bench: Bench) -> None:
    """Exit 0: it says so, and says how long it would run."""
    code = graded(bench)
    bench.do(f"discard {code} --because 'fell into water'")
    answer = bench.run(f"runtime {code} --current 35mA --until 3.2V")
    assert answer.code == 0 and answer.out.startswith(f"NOT ALLOWED  {code}: DISCARD")
    assert "count on" in answer.out and "collection point" not in answer.out
    assert "No bin: collection point." in answer.err.replace("\n ", "")
    found = bench.do(f"runtime {code} --current 35mA --until 3.2V")
    assert found["forbidden"] and found["runtime_h"]["low"] > 0


def test_a_held_cell_with_a_capacity_is_answered_as_held(bench: Bench) -> None:
    """On hold: not decided yet."""
    code = held(bench)
    bench.do(
        f"charge add {code} --current 0.5A --until 4.2V --end-current 50mA --temperature 21C --peak-temperature 25C"
    )
    bench.now = "2026-03-01T18:00:00+00:00"
    bench.do(f"reading add {code} --capacity 2.4Ah --discharge-current 0.5A --cutoff 2.8V --temperature 21C")
    found = bench.do(f"runtime {code} --current 35mA --until 3.2V")
    assert found["outcome"] == "hold" and "not decided" in found["forbidden"][0]
    assert "resistance not measured" in " ".join(found["notes"])


def test_a_load_above_what_the_outcome_allows_is_forbidden(bench: Bench) -> None:
    """0.5C of the low end of 2500 mAh is 1.23 A."""
    code = graded(bench)
    assert bench.do(f"runtime {code} --current 1.2A --until 3V")["forbidden"] == []
    against = bench.do(f"runtime {code} --current 1.3A --until 3V")["forbidden"]
    assert "1.3 A" in against[0] and "pack cell" in against[0]


def test_a_constant_power_is_judged_where_it_draws_most(bench: Bench) -> None:
    """4 W are 0.95 A at 4.2 V and 1.33 A at 3 V."""
    code = graded(bench)
    assert bench.do(f"runtime {code} --power 4W --until 3V")["forbidden"]


# --- which capacity --------------------------------------------------------------------------------


def test_a_cell_without_a_capacity_is_refused(bench: Bench) -> None:
    """Exit 3, and what to measure."""
    assert "has no capacity" in bench.refused(f"runtime {held(bench)} --current 35mA --until 3.2V", 3)


def test_an_old_capacity_still_answers_and_says_so(bench: Bench) -> None:
    """Any cell with a capacity; 13 months later no verdict counts it."""
    code = graded(bench)
    bench.now = "2027-04-20T10:00:00+00:00"
    found = bench.do(f"runtime {code} --current 35mA --until 3.2V")
    assert found["forbidden"] and "counts for no verdict (too old)" in " ".join(found["notes"])


def test_an_unknown_chemistry_is_answered_by_the_worst_of_all_curves(bench: Bench) -> None:
    """Wider than for the same cell with a known chemistry, and forbidden."""
    bench.now = START
    code = added(bench, "--form 18650 --rated-capacity 2.6Ah")
    bench.do(f"reading add {code} --capacity 2.5Ah --discharge-current 0.5A --cutoff 2.8V --temperature 21C")
    bench.now = LATER
    found = bench.do(f"runtime {code} --current 35mA --until 3.2V")
    assert found["forbidden"] and "unknown" in " ".join(found["notes"])
    assert found["runtime_h"]["low"] < 0.7 * found["runtime_h"]["expected"]


def test_a_lower_bound_is_named_as_one(bench: Bench) -> None:
    """No full charge on record before the run: it may hold more."""
    code = held(bench)
    bench.do(f"reading add {code} --capacity 2.4Ah --discharge-current 0.5A --cutoff 2.8V --temperature 21C")
    found = bench.do(f"runtime {code} --current 35mA --until 3.2V")
    assert "lower bound" in " ".join(found["notes"])


# --- the picture -----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "line",
    ["--current 35mA --until 3.2V", "--power 0.4W --until 2.5V", "--current 35mA --until 4.4V"],
    ids=["current", "power", "nothing to run"],
)
def test_a_picture_is_written(line: str, bench: Bench) -> None:
    """A PNG that opens, with something drawn on it; its name is in the JSON."""
    code, out = graded(bench), bench.store.with_name("run.png")
    assert bench.do(f"runtime {code} {line} --out {out}")["picture"] == str(out)
    with Image.open(io.BytesIO(out.read_bytes())) as picture:
        assert picture.format == "PNG" and picture.size == (1500, 900)
        colours = picture.convert("RGB").getcolors(1 << 20)
        assert colours is not None and (0xB0, 0x00, 0x20) in {colour for _, colour in colours}


def test_a_picture_of_an_lfp_cell_too(bench: Bench) -> None:
    """The flat curve."""
    out = bench.store.with_name("run.png")
    bench.do(f"runtime {iron(bench)} --resistance 30ohm --until 2.5V --out {out}")
    assert out.read_bytes().startswith(b"\x89PNG")


def test_a_picture_that_cannot_be_written_is_refused(bench: Bench) -> None:
    """Exit 3, nothing on stdout."""
    line = f"runtime {graded(bench)} --current 35mA --until 3.2V --out"
    assert "does not exist" in bench.refused(f"{line} {bench.store.with_name('no')}/such/run.png", 3)
    assert "is a folder" in bench.refused(f"{line} {Path(bench.store).parent}", 3)


# --- bad lines -------------------------------------------------------------------------------------

BAD = [
    ("--until 3V", 2, "no load given"),
    ("--current 35mA", 2, "--until"),
    ("--current 35mA --power 1W --until 3V", 2, "--current and --power are two loads"),
    ("--current 35mA --drop 1V --across 1ohm --supply 3V --until 3V", 2, "two loads"),
    ("--current 35mA --efficiency 85% --until 3V", 2, "needs --power"),
    ("--drop 0.5V --across 10ohm --until 3V", 2, "--supply is missing"),
    ("--lamps 3 --until 3V", 2, "--drop and --across and --supply is missing"),
    ("--drop 3V --across 10ohm --supply 3V --until 3V", 3, "leaves nothing"),
    ("--current 35 --until 3V", 3, "has no unit"),
    ("--current 0A --until 3V", 3, "cannot be right"),
    ("--current -1A --until 3V", 3, "negative"),
    ("--current 35mA --until 3,2V", 3, "decimal comma"),
    ("--current 35mA --until 37V", 3, "cannot be right for one cell"),
    ("--current 35mA --until 3mA", 3, "is a current, not a voltage"),
    ("--power 1W --efficiency 120% --until 3V", 3, "cannot be right for a converter"),
    ("--current 35mA --until 3V --temperature 90C", 3, "no lithium cell"),
    ("--drop 0.5V --across 10ohm --supply 3V --lamps 0 --until 3V", 2, "out of range"),
    ("--current 35mA --profile no.csv --until 3V", 3, "is not there"),
    ("--profile no.csv --until 3V", 3, "check the path"),
    ("--profile . --until 3V", 3, "is a folder"),
    ("--current 35mA --peak 0.5V --until 3V", 3, "is a voltage, not a current"),
]


@pytest.mark.parametrize(("line", "code", "words"), BAD)
def test_a_bad_line_is_refused_in_its_own_words(line: str, code: int, words: str, bench: Bench) -> None:
    """2 for a line that does not fit together, 3 for a value that cannot be taken."""
    assert words in bench.refused(f"runtime {graded(bench)} {line}", code)


BAD_PROFILES = [
    ("", "not with its columns"),
    ("time_s,volts\n0,1\n", "not with its columns"),
    ("time_s,current_a\n0,0.1\n", "two times or more"),
    ("time_s,current_a\n0,0.1\n60,x\n", "no two numbers"),
    ("time_s,current_a\n0,0.1\n60,0.2\n30,0\n", "must rise"),
    ("time_s,current_a\n0,-0.1\n60,0\n", "zero or more"),
]


@pytest.mark.parametrize(("text", "words"), BAD_PROFILES)
def test_a_file_that_is_no_profile_is_refused(text: str, words: str, bench: Bench) -> None:
    """Exit 3, in the words of its own fault."""
    line = f"runtime {graded(bench)} --profile {recorded(bench, text)} --until 3V"
    assert words in bench.refused(line, 3)


def test_a_profile_beside_another_load_is_refused(bench: Bench) -> None:
    """One device, one load."""
    line = f"runtime {graded(bench)} --current 3mA --profile {recorded(bench, DAY)} --until 3V"
    assert "two loads" in bench.refused(line, 2)


def test_a_cell_that_is_not_there_is_refused(bench: Bench) -> None:
    """And a store that is not there."""
    bench.refused("runtime A00002M --current 35mA --until 3V", 4)
    held(bench)
    bench.refused("runtime A00003K --current 35mA --until 3V", 3)


def test_its_own_pulses_narrow_the_low_end(bench: Bench) -> None:
    """One of 30 s beside that of 1 s, then one in the cold where it works: low rises each time, and never passes expected."""
    code, low = graded(bench), []
    line = f"runtime {code} --current 1.2A --until 3.0V --temperature 5C"
    pulse = f"reading add {code} --resistance-method dc-pulse --meter load --resistance"
    for more in (
        "",
        f"{pulse} 64mohm --pulse 30s --temperature 21C",
        f"{pulse} 62mohm --pulse 1s --temperature 5C",
    ):
        if more:
            bench.do(more)
            bench.do(f"{pulse} 60mohm --pulse 1s --temperature 21C")
        hours = bench.do(line)["runtime_h"]
        assert hours["low"] < hours["expected"]
        low.append(hours["low"])
    assert low[0] < 0.95 * low[1] and low[1] < low[2]
