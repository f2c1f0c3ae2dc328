"""What a phone records is what the command line would have recorded, once, and nothing typed is lost."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from tests.cli.bench import Bench
from tests.web.rig import Page, fields_of, text_of

from straycell.acceptance.reasons import Outcome
from straycell.bench.verdict_words import SIGNS
from straycell.errors import BadData
from straycell.readings.fields import OF_READING
from straycell.store.reader import open_reader
from straycell.web.entry import FORMS, number


def later(bench: Bench, hours: float) -> None:
    bench.now = (datetime.fromisoformat(bench.now) + timedelta(hours=hours)).isoformat()


def readings(bench: Bench, code: str) -> list[tuple[str, float | None]]:
    return [(r["quantity"], r["value"]) for r in bench.do(f"cell show {code}")["readings"]]


def test_a_rest_voltage_from_the_page_is_the_one_of_the_command_line(
    page: Page, bench: Bench, code: str
) -> None:
    """Value, rest, temperature, meter and uncertainty, each as `reading add` records it."""
    bench.do(f"reading add {code} --voltage 3.712V --rested 12h --temperature 21C --meter hand")
    answer = page.send(
        f"/cell/{code}/record/rest", voltage_v="3.712", rested_s="12h", temperature_c="21", meter="hand"
    )
    assert answer.url.path == f"/cell/{code}"
    typed, sent = (
        {key: value for key, value in reading.items() if key not in ("id", "event_id")}
        for reading in bench.do(f"cell show {code}")["readings"]
    )
    assert sent == typed
    assert "voltage 3.712" in text_of(answer.text)


FILLED: dict[str, dict[str, Any]] = {
    "look": {"look": "clean"},
    "found": {"as_found_voltage_v": "3.61"},
    "rest": {"voltage_v": "3.7", "rested_s": "other", "rested_s_other": "36h"},
    "capacity": {"capacity_ah": "2010", "discharge_current_a": "0.5", "cutoff_v": "3.0"},
    "resistance": {"resistance_ohm": "48", "method": "dc-pulse"},
    "warmth": {"temperature_c": "24", "surroundings_c": "21"},
    "mass": {"mass_g": "45.5"},
    "charge": {"current_a": "0.5", "until_v": "4.20", "temperature_c": "21"},
}


@pytest.mark.parametrize("name", FORMS)
def test_every_form_records_what_it_asks_for(page: Page, bench: Bench, code: str, name: str) -> None:
    """In the units that stand beside its fields."""
    answer = page.send(f"/cell/{code}/record/{name}", **FILLED[name])
    assert answer.url.path == f"/cell/{code}", text_of(answer.text)
    (recorded,) = bench.do(f"cell show {code}")["readings"]
    expected = {
        "capacity": 2.01,
        "resistance": 0.048,
        "temperature": 24.0,
        "mass": 45.5,
        "charge": 4.2,
        "look": None,
    }
    voltages = {"found": 3.61, "rest": 3.7}
    assert recorded["value"] == pytest.approx(voltages.get(name, expected.get(recorded["quantity"])))


def test_all_faults_of_a_form_are_shown_at_once_and_what_was_typed_stays(page: Page, code: str) -> None:
    """Each beside its field, to a browser without the page's script."""
    answer = page.send(
        f"/cell/{code}/record/rest", voltage_v="37", rested_s="other", rested_s_other="3 moons"
    )
    assert answer.status_code == 422
    said = text_of(answer.text)
    assert "voltage: '37' cannot be right" in said.replace("&#39;", "'") and "moons" in said
    kept = fields_of(answer.text)
    assert kept["voltage_v"] == "37" and kept["rested_s_other"] == "3 moons"


def test_a_refused_figure_can_be_typed_again_with_its_unit(page: Page, bench: Bench, code: str) -> None:
    """A phone's number keys have no C: who measured a cell of 65 C must be able to say so."""
    path = f"/cell/{code}/record/warmth"

    def letters(text: str) -> list[bool]:
        return [
            keys == "text"
            for keys in re.findall(r'name="(?:temperature|surroundings)_c"[^>]* inputmode="(\w+)"', text)
        ]

    assert letters(page.get(path).text) == [False, False]
    refused = page.send(path, temperature_c="65", surroundings_c="22")
    assert refused.status_code == 422 and "65C" in text_of(refused.text)
    assert letters(refused.text) == [True, False]
    assert page.send(path, temperature_c="65C", surroundings_c="22").url.path == f"/cell/{code}"
    assert readings(bench, code) == [("temperature", 65.0)]


def test_the_script_of_the_page_gets_the_faults_by_field(page: Page, code: str) -> None:
    """As JSON, so that the page need not be left."""
    path = f"/cell/{code}/record/mass"
    said = fields_of(page.get(path).text) | {"mass_g": "heavy"}
    answer = page.client.post(path, data=said, headers={"accept": "application/json"})
    assert answer.status_code == 422 and list(answer.json()["faults"]) == ["mass_g"]


@pytest.mark.parametrize(
    ("typed", "expected"), [("3,71", 3.71), ("3.712", 3.712), ("3,712", 3.712), ("3712mV", 3.712)]
)
def test_a_comma_of_a_phone_is_taken_where_one_reading_can_be_meant(typed: str, expected: float) -> None:
    """3,712 V as thousands is no voltage of one cell."""
    assert number(typed, OF_READING["voltage_v"]) == pytest.approx(expected)


def test_a_comma_that_can_be_read_two_ways_is_refused() -> None:
    """12,600 mAh may be 12.6 mAh or 12600 mAh: a wrong guess would be a wrong capacity; nobody means 2.6 mAh by 2,600."""
    with pytest.raises(BadData, match="could be 12600 or"):
        number("12,600", OF_READING["capacity_ah"])
    assert number("2,600", OF_READING["capacity_ah"]) == pytest.approx(2.6)


def test_a_form_that_is_sent_twice_is_recorded_once(page: Page, bench: Bench, code: str) -> None:
    """The answer was lost on the way, the phone sends it again: also when something else was recorded meanwhile."""
    path = f"/cell/{code}/record/mass"
    said = fields_of(page.get(path).text) | {"mass_g": "45"}
    assert page.client.post(path, data=said).url.path == f"/cell/{code}"
    bench.do(f"reading add {code} --look clean")
    again = page.client.post(path, data=said)
    assert "was recorded" in text_of(again.text)
    assert readings(bench, code) == [("mass", 45.0), ("look", None)]
    assert bench.run("store check").code == 0


def test_a_form_that_is_filled_in_once_more_with_another_figure_is_another_reading(
    page: Page, bench: Bench, code: str
) -> None:
    """A browser without the page's script goes back to the form it sent, key and all: what is typed then counts."""
    path = f"/cell/{code}/record/rest"
    said = fields_of(page.get(path).text) | {"voltage_v": "3.71"}
    assert page.client.post(path, data=said).status_code == 200
    said.pop("basis")
    page.client.post(path, data=said | {"voltage_v": "1.2", "age_s": "60"})
    again = page.client.post(path, data=said | {"voltage_v": "1.2", "age_s": "90"})
    assert "was recorded" in text_of(again.text)
    assert sorted(value or 0.0 for _, value in readings(bench, code)) == [1.2, 3.71]


def test_a_form_based_on_something_old_is_refused_with_what_changed(
    page: Page, bench: Bench, code: str
) -> None:
    """Two people at one store: what was typed stays, and the second sending goes through."""
    path = f"/cell/{code}/record/mass"
    said = fields_of(page.get(path).text) | {"mass_g": "45"}
    bench.do(f"reading add {code} --look dented")
    answer = page.client.post(path, data=said)
    assert answer.status_code == 409 and "readings-added" in text_of(answer.text)
    assert readings(bench, code) == [("look", None)]
    filled = fields_of(answer.text)
    assert filled["mass_g"] == "45"
    assert page.client.post(path, data=filled).status_code == 200
    assert readings(bench, code) == [("look", None), ("mass", 45.0)]


def test_what_was_kept_without_network_bears_the_time_it_was_typed(
    page: Page, bench: Bench, code: str
) -> None:
    """By its age, whatever the phone's own clock says; it is sent without the state it was based on."""
    path = f"/cell/{code}/record/mass"
    said = fields_of(page.get(path).text) | {"mass_g": "45", "age_s": "5400"}
    said.pop("basis")
    bench.do(f"reading add {code} --look clean")
    later(bench, 3)
    assert page.client.post(path, data=said).status_code == 200
    (sent,) = (r for r in bench.do(f"cell show {code}")["readings"] if r["quantity"] == "mass")
    assert datetime.fromisoformat(sent["at"]) == datetime.fromisoformat(bench.now) - timedelta(minutes=90)


@pytest.mark.parametrize("age", ["-1", "nan", "1e12", "soon"])
def test_an_age_that_cannot_be_is_refused(page: Page, code: str, age: str) -> None:
    """A reading with a made-up time would be worse than none."""
    assert page.send(f"/cell/{code}/record/mass", mass_g="45", age_s=age).status_code == 422


def test_what_puts_a_cell_out_of_use_fills_the_screen_once(page: Page, code: str) -> None:
    """With the cautions in full; after it the cell's page says discard."""
    stop = page.send(f"/cell/{code}/record/look", look="swollen")
    assert 'class="danger-screen" role="alert"' in stop.text and "never charge or press it" in stop.text
    after = page.get(f"/cell/{code}").text
    assert "danger-screen" not in after and "outcome-discard" in after and "DISCARD" in after


def test_a_discard_is_asked_twice(page: Page, bench: Bench, code: str) -> None:
    """The first answer writes nothing; without a reason it is not even asked."""
    path = f"/cell/{code}/discard"
    before = bench.store.read_bytes()
    assert page.send(path, because="").status_code == 422
    asked = page.send(path, because="fell into the stove")
    assert "for good?" in asked.text and bench.store.read_bytes() == before
    done = page.client.post(path, data=fields_of(asked.text))
    assert "danger-screen" in done.text
    assert bench.do(f"cell show {code}")["stage"] == "condemned"
    assert "fell into the stove" in bench.run(f"cell history {code}").out


def test_an_incident_holds_or_condemns(page: Page, bench: Bench, code: str) -> None:
    """As `incident add`: a drop holds, water condemns and fills the screen."""
    held = page.send(f"/cell/{code}/incident", kind="drop")
    assert "held until look, rest voltage, resistance" in text_of(held.text)
    assert "danger-screen" in page.send(f"/cell/{code}/incident", kind="water", note="puddle").text
    assert bench.do(f"cell show {code}")["outcome"] == "discard"


def test_a_cell_is_moved(page: Page, bench: Bench, code: str) -> None:
    """Into a box that is there; a box that is not is refused in words."""
    assert "now lies in tin" in text_of(page.send(f"/cell/{code}/move", box="tin").text)
    assert bench.do(f"cell show {code}")["box"] == "tin"
    assert page.send(f"/cell/{code}/move", box="nowhere").status_code == 422


def test_the_cautions_of_a_step_are_in_full_on_the_first_use_of_the_day(
    page: Page, bench: Bench, code: str
) -> None:
    """Then short, never gone; the next day in full again."""
    path = f"/cell/{code}/record/charge"

    def shown() -> str:
        return page.get(path).text.partition('class="cautions"')[2].partition("</aside>")[0]

    first, second = shown(), shown()
    assert len(first) > len(second) > 0
    later(bench, 24)
    assert shown() == first


def test_a_photograph_of_a_label_leads_to_its_cell(
    page: Page, bench: Bench, code: str, tmp_path: Path
) -> None:
    """Read by the server, as `label read` does."""
    label = tmp_path / "label.png"
    bench.do(f"label single {code} --dpi 300 --out {label}")
    token = fields_of(page.get("/").text)["token"]
    answer = page.client.post(
        "/scan", data={"token": token}, files={"photo": ("IMG.png", label.read_bytes())}
    )
    assert answer.url.path == f"/cell/{code}"


def test_a_label_s_address_leads_to_its_cell(page: Page, code: str) -> None:
    """As `label sheet --link` prints it: in capitals, with or without a part before the code."""
    for path in (f"/{code}", f"/CELL/{code}", f"/cell/{code.lower()}"):
        assert (
            page.get(path).url.path.lower() == f"/cell/{code}".lower() and page.get(path).status_code == 200
        )
    assert page.get("/boiler/x").status_code == 404


def test_find_takes_codes_words_and_slips(page: Page, bench: Bench, code: str) -> None:
    """A code leads on; words list the cells; a misread code is answered with the nearest."""
    assert page.get("/find", params={"q": code.lower()}).url.path == f"/cell/{code}"
    assert code in page.get("/find", params={"q": "vacuum"}).text
    assert code in page.get("/find", params={"q": code[:-1] + "9"}).text
    assert "No cell found" not in page.get("/find", params={"q": ""}).text


def test_the_next_step_is_a_button_that_records_it(page: Page, code: str) -> None:
    """A new cell asks for a look; the step of another program stands as its command."""
    assert f'class="button main" href="/cell/{code}/record/look"' in page.get(f"/cell/{code}").text


def test_an_outcome_is_never_shown_by_colour_alone() -> None:
    """Each has a sign of its own beside its word."""
    assert len(set(SIGNS.values())) == len(Outcome)


def test_the_page_knows_what_is_newer_than_it(page: Page, bench: Bench, code: str) -> None:
    """The last event of a cell, asked by the page's script."""
    first = page.get("/alive", params={"cell": code}).json()["event"]
    bench.do(f"reading add {code} --look clean")
    assert page.get("/alive", params={"cell": code}).json()["event"] > first


def test_the_due_board_names_what_is_due_with_its_cells(page: Page, bench: Bench, code: str) -> None:
    """The same as `straycell due`."""
    page.send(f"/cell/{code}/record/look", look="swollen")
    shown = page.get("/due").text
    for item in bench.do("due")["due"]:
        assert item["title"] in shown and item["subject"] in shown


def test_a_page_reads_its_own_cell_of_an_event_about_many(bench: Bench, code: str) -> None:
    """The same events as the whole history, each naming this cell alone; the newest is the one a form is based on."""
    other = bench.do("cell add --form 18650 --chemistry nmc")[0]["code"]
    bench.do(f"cell move {code} {other} tin")
    bench.do(f"incident add --kind drop {code} {other} --note 'both fell'")
    with open_reader(bench.store) as reader:
        whole, own = reader.history(code), reader.history(code, others=False)
        assert [replace(event, cells=(code,)) for event in whole] == own
        assert any(len(event.cells) > 1 for event in whole)
        assert reader.last_event(code) == own[-1].id
