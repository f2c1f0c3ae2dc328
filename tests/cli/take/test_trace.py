"""Traces on the command line: a real cell's recorded curves, what comes of them, and what is refused."""

from __future__ import annotations

import gzip
import io
import tomllib
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any
from unittest import mock

import pytest
from tests.cli.bench import Bench

from straycell.cells import make_code
from straycell.cli.app import options as session
from straycell.cli.app import output

ROOT = Path(__file__).parents[2]
ONE_C = ROOT / "reference" / "traces" / "pouch-33ah-1c-discharge.csv.gz"
HPPC = ROOT / "reference" / "traces" / "pouch-33ah-hppc-25c.csv.gz"
BROKEN = ROOT / "broken" / "traces"
SECOND = make_code("A", 2)
MESSAGES: dict[str, dict[str, list[str]]] = tomllib.loads((BROKEN / "messages.toml").read_text())


@pytest.fixture
def pouch(bench: Bench) -> Bench:
    """A 33.1 Ah pouch cell of the kind the reference traces are of, and the cycler's meter."""
    bench.prepare("meter add cycler --voltage-accuracy 0.05%+1mV --capacity-accuracy 0.1%+1mAh")
    bench.prepare("cell add --form pouch --chemistry lmo --rated-capacity 33.1Ah --code A00001O")
    return bench


@pytest.fixture
def round_cell(bench: Bench) -> Bench:
    """A 2.5 Ah 18650 without any reading."""
    bench.prepare("cell add --form 18650 --chemistry nmc --rated-capacity 2500mAh --code A00001O")
    return bench


def curve(folder: Path, *, rest_v: float | None = 4.18, end_v: float = 2.9, name: str = "run.csv") -> Path:
    """0.5 A for four hours and a bit, in plain columns; an hour of straight fall per quarter of the way down."""
    lines = ["time_s,voltage_v,current_a"]
    if rest_v is not None:
        lines += [f"{t},{rest_v},0" for t in range(0, 300, 10)]
    rows = 1440
    lines += [f"{300 + 10 * k},{4.10 - (4.10 - end_v) * k / rows:.5f},-0.5" for k in range(rows + 1)]
    file = folder / name
    file.write_text("\n".join(lines) + "\n")
    return file


class Screen(io.StringIO):
    """A stream that says it is a terminal."""

    def isatty(self) -> bool:
        return True


def readings(bench: Bench, quantity: str = "") -> list[dict[str, Any]]:
    found = bench.do("cell show A00001O")["readings"]
    return [r for r in found if quantity in ("", r["quantity"])]


# --- what comes of a trace --------------------------------------------------------------------------


def test_a_recorded_discharge_becomes_figures_readings_and_a_verdict(pouch: Bench) -> None:
    """The cycler's own counter says 30.29 Ah for the last discharge; 1C is harsher than the rule's 0.5C."""
    found = pouch.do(f"trace add A00001O {ONE_C} --meter cycler --temperature 25C")
    assert found["capacity_ah"]["value"] == pytest.approx(30.29, rel=1e-3)
    assert found["capacity_ah"]["expanded_uncertainty"] < 0.05
    assert set(found["energy_wh"]) == {"value", "expanded_uncertainty"}
    assert (found["at_least"], found["cutoff_v"], found["temperature_c"]) == (False, 3.0, 25.0)
    assert list(found)[:7] == [
        "id",
        "capacity_ah",
        "energy_wh",
        "dc_resistance_ohm",
        "pulses",
        "at_least",
        "warnings",
    ]
    (capacity,) = readings(pouch, "capacity")
    assert capacity["value"] == found["capacity_ah"]["value"]
    assert capacity["expanded_uncertainty"] == found["capacity_ah"]["expanded_uncertainty"]
    assert (capacity["trace"], capacity["from_full"], capacity["meter"]) == ("A-1", True, "cycler")
    assert [r["id"] for r in readings(pouch)] and {r["id"] for r in readings(pouch)} == set(found["readings"])
    reasons = pouch.do("verdict show A00001O")["reasons"]
    assert [r for r in reasons if r["rule"].startswith("capacity") and "at least: at 0.92" in r["text"]]


def test_a_slow_discharge_that_shows_its_full_start_counts_without_a_recorded_charge(pouch: Bench) -> None:
    """The pulse trace: charged, then 30.48 Ah net by the cycler's counter; pulses from the file's own rows (pandas)."""
    found = pouch.do(f"trace add A00001O {HPPC} --meter cycler --temperature 25C")
    assert found["capacity_ah"]["value"] == pytest.approx(30.48, rel=5e-3)
    first = {p["pulse_s"]: p for p in found["pulses"] if p["pulse"] == 1}
    for pulse_s, mohm in ((0.5, 1.767), (10.0, 2.600), (29.5, 3.333)):
        assert first[pulse_s]["resistance_ohm"] == pytest.approx(mohm / 1000, rel=0.01)
        assert first[pulse_s]["soc"] == pytest.approx(1.0, abs=0.01)
    figures = pouch.do("cell show A00001O")["figures"]
    assert figures["capacity_at_least"] is False
    assert figures["capacity_ah"]["value"] == found["capacity_ah"]["value"]
    (ohms,) = readings(pouch, "resistance")
    assert (ohms["method"], ohms["pulse_s"], ohms["temperature_c"]) == ("dc-pulse", 1.0, 25.0)
    assert ohms["value"] == found["dc_resistance_ohm"]["value"]
    assert ohms["soc"] == pytest.approx(found["dc_resistance_ohm"]["soc"])


def test_without_a_meter_the_cautious_default_is_said(round_cell: Bench, tmp_path: Path) -> None:
    """5 % for the current, as the rules have it."""
    found = round_cell.do(f"trace add A00001O {curve(tmp_path)} --temperature 22C")
    assert any("no meter is named: the cautious default holds" in w for w in found["warnings"])
    u = found["capacity_ah"]["expanded_uncertainty"] / found["capacity_ah"]["value"]
    assert 2 * 0.05 / 3**0.5 < u < 0.065  # the cut-off as such a meter sees it comes on top
    assert all(r["cautious_default"] for r in readings(round_cell))


def test_the_default_cut_off_is_the_highest_that_counts_for_the_chemistry(
    round_cell: Bench, tmp_path: Path
) -> None:
    """3.0 V here, 2.5 V for lfp, or what was said."""
    assert round_cell.do(f"trace add A00001O {curve(tmp_path)}")["cutoff_v"] == 3.0
    other = curve(tmp_path, end_v=2.7, name="other.csv")
    assert round_cell.do(f"trace add A00001O {other} --cutoff 2.8V")["cutoff_v"] == 2.8
    round_cell.do(f"cell add --form 26650 --chemistry lfp --code {SECOND}")
    lfp = curve(tmp_path, rest_v=3.6, end_v=2.3, name="lfp.csv")
    assert round_cell.do(f"trace add {SECOND} {lfp}")["cutoff_v"] == 2.5


def test_a_trace_that_stopped_early_is_only_a_lower_bound(round_cell: Bench, tmp_path: Path) -> None:
    """And stays one with a full charge on record before it."""
    round_cell.do("charge add A00001O --current 1A --until 4.20V --end-current 50mA")
    found = round_cell.do(f"trace add A00001O {curve(tmp_path, end_v=3.4)} --temperature 22C")
    assert found["at_least"] is True
    assert any("above the cut-off of 3 V" in w for w in found["warnings"])
    shown = round_cell.do("cell show A00001O")
    assert shown["figures"]["capacity_at_least"] is True
    (capacity,) = readings(round_cell, "capacity")
    assert (capacity["at_least"], capacity["from_full"]) == (True, True)


def test_charge_then_trace_in_their_order_is_a_capacity_from_full(round_cell: Bench, tmp_path: Path) -> None:
    """Both recorded at once afterwards: the charge came first, and the tool says that it took it so."""
    file = curve(tmp_path, rest_v=None)
    charged = round_cell.do("charge add A00001O --current 1A --until 4.20V --end-current 50mA")
    answer = round_cell.run(f"trace add A00001O {file} --temperature 22C")
    assert f"charge {charged['id']} is taken to have come before this trace" in " ".join(answer.err.split())
    assert round_cell.do("trace show 1")["at_least"] is False
    assert round_cell.do("cell show A00001O")["figures"]["capacity_at_least"] is False


def test_a_charge_after_the_said_end_of_the_trace_shows_nothing(round_cell: Bench, tmp_path: Path) -> None:
    """With --at the clock decides: the trace began four hours before, the charge an hour before its end."""
    end = datetime.fromisoformat(round_cell.now)
    at = (end - timedelta(hours=1)).isoformat()
    round_cell.do(f"charge add A00001O --current 1A --until 4.20V --end-current 50mA --at {at}")
    file = curve(tmp_path, rest_v=None)
    found = round_cell.do(f"trace add A00001O {file} --temperature 22C --at {end.isoformat()}")
    assert found["at_least"] is True
    assert any("nothing shows that it started full" in w for w in found["warnings"])


def test_a_full_charge_recorded_later_makes_a_capacity_of_it(round_cell: Bench, tmp_path: Path) -> None:
    """The trace only lacked the proof of its start; its own word of "at least" is then history."""
    end = datetime.fromisoformat(round_cell.now)
    file = curve(tmp_path, rest_v=None)
    assert round_cell.do(f"trace add A00001O {file} --temperature 22C --at {end.isoformat()}")["at_least"]
    at = (end - timedelta(hours=6)).isoformat()
    round_cell.do(f"charge add A00001O --current 1A --until 4.20V --end-current 50mA --at {at}")
    assert round_cell.do("cell show A00001O")["figures"]["capacity_at_least"] is False


def test_its_own_discharge_is_the_best_basis_for_a_run_time(round_cell: Bench, tmp_path: Path) -> None:
    """The same current to the same voltage gives the trace's own hours back."""
    line = "runtime A00001O --current 500mA --until 3.0V --temperature 22C"
    found = round_cell.do(f"trace add A00001O {curve(tmp_path)} --temperature 22C")
    told = round_cell.do(line)
    assert told["basis"] == "own trace"
    assert told["runtime_h"]["expected"] == pytest.approx(found["capacity_ah"]["value"] / 0.5, rel=0.02)
    typed = "--capacity 1.5Ah --discharge-current 0.5A --cutoff 3.0V --temperature 22C"
    round_cell.do(f"reading add A00001O {typed}")
    assert round_cell.do(line)["basis"] == "chemistry curve"


def test_a_typed_energy_that_does_not_go_with_its_capacity_holds(round_cell: Bench) -> None:
    """5 Wh and 2 Ah are 2.5 V on average: one of the two is wrong; a capacity is needed beside it."""
    round_cell.do("charge add A00001O --current 1A --until 4.20V --end-current 50mA")
    line = "reading add A00001O --capacity 2Ah --discharge-current 0.5A --cutoff 2.8V --temperature 22C"
    round_cell.refused("reading add A00001O --energy 7Wh", 2)
    (made,) = round_cell.do(f"{line} --energy 5Wh")
    assert made["energy_wh"] == 5.0
    reasons = {r["rule"]: r for r in round_cell.do("verdict show A00001O")["reasons"]}
    assert reasons["capacity-energy"]["observed"] == pytest.approx(2.5)
    round_cell.do(f"reading supersede {made['id']} --mistake mistyped --energy 7.4Wh --because slip")
    assert "capacity-energy" not in {r["rule"] for r in round_cell.do("verdict show A00001O")["reasons"]}


# --- looking at it ----------------------------------------------------------------------------------


def test_show_tells_where_the_uncertainty_comes_from_line_by_line(pouch: Bench) -> None:
    """Each figure's budget adds up in squares to its u; the page has the curve with its cut-off."""
    pouch.do(f"trace add A00001O {HPPC} --meter cycler --temperature 25C")
    shown = pouch.do("trace show 1")
    for key in ("capacity_ah", "energy_wh", "dc_resistance_ohm"):
        squares = sum(line["u"] ** 2 for line in shown["budget"] if line["figure"] == key)
        assert 2 * squares**0.5 == pytest.approx(shown[key]["expanded_uncertainty"])
    page = pouch.run("trace show 1").out
    for words in ("gain of the current", "two rows of voltage", "cut-off 3 V", "U = 2u", "negative current"):
        assert words in page
    assert all(len(line) <= 80 for line in page.splitlines())


def test_the_curve_is_plain_where_the_screen_has_no_dots(
    round_cell: Bench, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """An ASCII terminal gets stars and bars."""
    round_cell.do(f"trace add A00001O {curve(tmp_path)}")
    monkeypatch.setattr("straycell.cli.app.output.can_show", lambda text: False)
    page = round_cell.run("trace show 1").out
    drawn = page.partition("Curve")[2].partition("this run:")[0]
    assert "*****" in drawn and "|" in drawn
    assert drawn.isascii()


def test_whether_dots_can_be_drawn_depends_on_the_screens_encoding() -> None:
    """UTF-8 has them, Latin-1 and ASCII have not."""
    for encoding, can in (("utf-8", True), ("latin-1", False), ("ascii", False)):
        screen = io.TextIOWrapper(io.BytesIO(), encoding=encoding)
        with session.use(session.Session(stdout=screen)):
            assert output.can_show("⠿┾│") is can


def test_plot_draws_a_picture_as_large_as_a_page(pouch: Bench, tmp_path: Path) -> None:
    """A PNG of 1650 x 1200 dots, the same one each time; nothing is drawn over a folder."""
    pouch.do(f"trace add A00001O {ONE_C}")
    out = tmp_path / "wall.png"
    assert pouch.do(f"trace plot 1 --out {out}") == {"id": "A-1", "files": [str(out)], "count": 1}
    first = out.read_bytes()
    assert first[:8] == b"\x89PNG\r\n\x1a\n"
    assert (int.from_bytes(first[16:20]), int.from_bytes(first[20:24])) == (1650, 1200)
    pouch.do(f"trace plot 1 --out {out}")
    assert out.read_bytes() == first
    pouch.refused(f"trace plot 1 --out {tmp_path}", 3)


def test_list_names_every_trace_or_those_of_a_cell(round_cell: Bench, tmp_path: Path) -> None:
    """Numbers, cells, figures; an empty list says how to begin."""
    assert "trace add" in round_cell.run("trace list").err
    round_cell.do(f"trace add A00001O {curve(tmp_path)}")
    round_cell.do(f"cell add --form 18650 --chemistry nmc --code {SECOND}")
    round_cell.do(f"trace add {SECOND} {curve(tmp_path, end_v=3.3, name='b.csv')}")
    assert [(t["id"], t["cell"], t["at_least"]) for t in round_cell.do("trace list")] == [
        ("A-1", "A00001O", False),
        ("A-2", SECOND, True),
    ]
    assert [t["file"] for t in round_cell.do(f"trace list {SECOND}")] == ["b.csv"]
    assert "≥ " in round_cell.run("trace list").out


@pytest.mark.parametrize(
    "line", ["trace show 9", "trace plot 9 --out x.png", "trace show 0", "trace show x", "trace list A999997"]
)
def test_what_is_not_there_is_told(round_cell: Bench, line: str) -> None:
    """By number and by code."""
    round_cell.refused(line, 3)


# --- refused, and nothing lost ----------------------------------------------------------------------


def test_the_same_file_twice_is_noticed(round_cell: Bench, tmp_path: Path) -> None:
    """Under another name too; for another cell with the way to put it right."""
    round_cell.do(f"trace add A00001O {curve(tmp_path)}")
    round_cell.do(f"cell add --form 18650 --chemistry nmc --code {SECOND}")
    copy = tmp_path / "copy.csv"
    copy.write_bytes((tmp_path / "run.csv").read_bytes())
    assert "trace A-1 of A00001O" in round_cell.refused(f"trace add A00001O {copy}", 3)
    told = round_cell.refused(f"trace add {SECOND} {copy}", 3)
    assert "another cell, A00001O" in told and "wrong-cell" in told
    assert len(round_cell.do("trace list")) == 1


@pytest.mark.parametrize("name", MESSAGES["refused"])
def test_a_damaged_file_gives_its_message_and_loses_nothing(round_cell: Bench, name: str) -> None:
    """Its words, its name, exit 3; no event, no reading, no trace."""
    before = round_cell.do("store info")
    told = " ".join(round_cell.refused(f"trace add A00001O {BROKEN / name}", 3).split())
    for words in MESSAGES["refused"][name]:
        assert words in told
    assert name in told
    assert round_cell.do("store info") == before


@pytest.mark.parametrize("name", MESSAGES["warned"])
def test_a_doubtful_file_is_taken_with_its_warning(round_cell: Bench, name: str) -> None:
    """In the JSON and on the page; the store stays sound."""
    found = round_cell.do(f"trace add A00001O {BROKEN / name}")
    told = " ".join([*found["warnings"], *found["notes"]])
    for words in MESSAGES["warned"][name]:
        assert words in told
    assert "Mind" in round_cell.run("trace show 1").out
    assert round_cell.do("store check")["faults"] == []


@pytest.mark.parametrize(
    ("options", "code", "told"),
    [
        ("--meter nosuch", 3, "nosuch"),
        ("--cutoff 9V", 3, "cutoff"),
        ("--cutoff 3", 3, "no unit"),
        ("--columns volts", 2, "'='"),
        ("--columns warmth=3", 2, "warmth"),
        ("--columns voltage=U9", 3, "U9"),
        ("--at 2999-01-01", 3, "future"),
        ("--temperature 900C", 3, "temperature"),
    ],
)
def test_what_does_not_fit_is_refused(
    round_cell: Bench, tmp_path: Path, options: str, code: int, told: str
) -> None:
    """Nothing is filed."""
    assert told in round_cell.refused(f"trace add A00001O {curve(tmp_path)} {options}", code)
    assert round_cell.do("trace list") == []


def test_a_file_that_is_not_there_or_a_folder_is_told(round_cell: Bench, tmp_path: Path) -> None:
    """With its name."""
    assert "no.csv" in round_cell.refused(f"trace add A00001O {tmp_path / 'no.csv'}", 3)
    round_cell.refused(f"trace add A00001O {tmp_path}", 3)
    round_cell.refused(f"trace add A999997 {curve(tmp_path)}", 3)


def test_columns_that_the_header_does_not_name_can_be_said(round_cell: Bench, tmp_path: Path) -> None:
    """By header or by place, with their unit; they are kept with the trace and used again for the picture."""
    plain = curve(tmp_path).read_text().splitlines()
    rows = [line.split(",") for line in plain[1:]]
    text = "ticks,u,i\n" + "".join(f"{float(t) / 60:.6f},{float(v) * 1000:.2f},{a}\n" for t, v, a in rows)
    file = tmp_path / "odd.csv.gz"
    file.write_bytes(gzip.compress(text.encode()))
    answer = round_cell.run(
        [
            "trace",
            "add",
            "A00001O",
            str(file),
            "--columns",
            "time=ticks in min, voltage=2 in mV, current=3 in A",
        ]
    )
    assert answer.code == 0, answer.err
    assert round_cell.do("trace show 1")["capacity_ah"]["value"] == pytest.approx(1.835, rel=0.01)
    round_cell.do(f"trace plot 1 --out {tmp_path / 'odd.png'}")


def test_ctrl_c_while_reading_leaves_nothing(round_cell: Bench, tmp_path: Path) -> None:
    """Interrupted in the middle of the file: told in one line, nothing is recorded."""
    before = round_cell.do("store info")
    with mock.patch("straycell.traces.read.from_file.clean", side_effect=KeyboardInterrupt):
        round_cell.refused(f"trace add A00001O {curve(tmp_path)}", 130)
    assert round_cell.do("store info") == before


def test_a_write_that_fails_at_the_end_leaves_nothing(round_cell: Bench, tmp_path: Path) -> None:
    """Interrupted after the trace's row, before its readings are in."""
    before = round_cell.do("store info")
    with mock.patch("straycell.store.book.measured.traces.insert_items", side_effect=KeyboardInterrupt):
        round_cell.refused(f"trace add A00001O {curve(tmp_path)}", 130)
    assert {**round_cell.do("store info"), "size_bytes": 0} == {**before, "size_bytes": 0}


def test_progress_is_shown_to_a_person_and_to_nobody_else(
    round_cell: Bench, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """On stderr, for long files, at a terminal; the line is wiped at the end."""
    monkeypatch.setattr("straycell.cli.nouns.take.trace._LONG_BYTES", 100)
    assert "reading the file" not in round_cell.run(f"trace add A00001O {curve(tmp_path)}").err
    other = curve(tmp_path, end_v=2.8, name="b.csv")
    monkeypatch.setattr("tests.cli.bench.io.StringIO", Screen)
    answer = round_cell.run(f"trace add A00001O {other} --json")
    assert "reading the file:" in answer.err and "100%\r\x1b[K" in answer.err
    assert answer.json["id"] == "A-2"


# --- taking it back ---------------------------------------------------------------------------------


def test_a_reading_out_of_a_trace_is_superseded_and_the_trace_stays(
    round_cell: Bench, tmp_path: Path
) -> None:
    """The person is told which others came out of the same trace."""
    made = round_cell.do(f"trace add A00001O {curve(tmp_path)} --temperature 22C")["readings"]
    (capacity,) = readings(round_cell, "capacity")
    line = f"reading supersede {capacity['id']} --mistake bad-contact --because 'the clip was warm'"
    told = " ".join(round_cell.run(line).err.split())
    assert "it came out of trace A-1, which stays" in told
    assert all(str(number) in told for number in made)
    shown = round_cell.do("trace show 1")
    assert shown["superseded_readings"] == [capacity["id"]]
    assert shown["readings"] == [n for n in made if n != capacity["id"]]
    assert round_cell.do("cell show A00001O")["figures"]["capacity_ah"] is None


def test_a_forgotten_temperature_is_put_right_and_the_rest_stays_the_traces(
    round_cell: Bench, tmp_path: Path
) -> None:
    """The same value under another temperature keeps its uncertainty, its start and its trace."""
    round_cell.do(f"trace add A00001O {curve(tmp_path)}")
    (old,) = readings(round_cell, "capacity")
    round_cell.do(f"reading supersede {old['id']} --mistake mistyped --temperature 22C --because forgotten")
    new = readings(round_cell, "capacity")[-1]
    kept = ("value", "expanded_uncertainty", "from_full", "at_least", "trace", "energy_wh", "at")
    assert {key: new[key] for key in kept} == {key: old[key] for key in kept}
    assert new["temperature_c"] == 22.0
    assert round_cell.do("cell show A00001O")["figures"]["capacity_at_least"] is False


def test_a_file_is_worked_out_anew_when_something_was_forgotten(round_cell: Bench, tmp_path: Path) -> None:
    """With the meter this time: a smaller uncertainty, in the place of the old readings; the reason stays."""
    file = curve(tmp_path)
    round_cell.do(f"trace add A00001O {file} --temperature 22C")
    round_cell.do("meter add load --voltage-accuracy 0.1%+2mV --capacity-accuracy 0.5%+1mAh")
    line = f"trace add A00001O {file} --temperature 22C --meter load"
    assert "--again" in round_cell.refused(line, 3)
    round_cell.refused(f"{line} --again", 2)
    round_cell.refused(f"{line} --because 'forgot the meter'", 2)
    found = round_cell.do(f"{line} --again --because 'forgot the meter'")
    old, new = readings(round_cell, "capacity")
    assert (old["because"], old["superseded_by"]) == ("forgot the meter", new["id"])
    assert new["expanded_uncertainty"] < old["expanded_uncertainty"] / 5
    assert (found["id"], new["trace"], old["trace"]) == ("A-2", "A-2", "A-1")
    assert round_cell.do("trace show 1")["readings"] == []


def test_a_retyped_value_is_no_longer_the_traces(round_cell: Bench, tmp_path: Path) -> None:
    """What a person types has the meter's uncertainty and shows no full start."""
    round_cell.do(f"trace add A00001O {curve(tmp_path)} --temperature 22C")
    (old,) = readings(round_cell, "capacity")
    round_cell.do(f"reading supersede {old['id']} --mistake mistyped --capacity 1.9Ah --because 'read again'")
    new = readings(round_cell, "capacity")[-1]
    assert (new["value"], new["trace"], new["from_full"]) == (1.9, None, False)


def test_a_trace_of_the_wrong_cell_moves_reading_by_reading(round_cell: Bench, tmp_path: Path) -> None:
    """Afterwards the file may be filed for the right cell."""
    file = curve(tmp_path)
    made = round_cell.do(f"trace add A00001O {file}")["readings"]
    round_cell.do(f"cell add --form 18650 --chemistry nmc --code {SECOND}")
    for number in made:
        round_cell.do(f"reading supersede {number} --mistake wrong-cell --because 'other tray'")
    assert round_cell.do(f"trace add {SECOND} {file}")["id"] == "A-2"
    assert round_cell.do("store check")["faults"] == []
