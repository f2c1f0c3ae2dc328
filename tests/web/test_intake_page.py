"""The guided intake on a page: the dialogue of the terminal, one question a screen."""

from __future__ import annotations

from pathlib import Path

import pytest
from tests.cli.bench import Bench
from tests.web.rig import Page, fields_of, text_of


@pytest.fixture
def bench(tmp_path: Path) -> Bench:
    """A store with a meter and a box, and no cell that waits."""
    made = Bench(tmp_path / "bench.sqlite")
    made.prepare("meter add hand --like hand-held-multimeter")
    made.prepare("box add tin")
    return made


BEGINNING = ["garden lamp", "lamp", "", "hand", "tin", "INR18650-25"]
A_CELL = ["", "3.61", "c", ""]


def begin(page: Page) -> str:
    """Begin an evening; what the page says."""
    token = fields_of(page.get("/intake").text)["token"]
    return text_of(page.client.post("/intake/begin", data={"token": token}).text)


def say(page: Page, *lines: str) -> str:
    """Answer one question after the other; what the page says at the end."""
    shown = ""
    for line in lines:
        opened = page.get("/intake").text
        said = fields_of(opened.partition('action="/intake/answer"')[2].partition("</form>")[0])
        shown = page.client.post("/intake/answer", data={**said, "text": line}).text
    return text_of(shown)


def test_an_evening_on_the_page_is_in_the_store(page: Page, bench: Bench) -> None:
    """A tear-down and two cells with their marking, look, voltage, meter and box; then the summary."""
    assert "what did you open?" in begin(page)
    assert "write " in say(page, *BEGINNING)
    assert "kept: 3.61 V, clean" in say(page, *A_CELL)
    assert "kept: 3.58 V, clean" in say(page, "", "3.58", "", "")
    assert "Recorded" in say(page, "q")
    cells = [cell for cell in bench.do("cell list") if cell["teardown"] == "AT1"]
    assert [(c["marking"], c["chemistry"], c["form"], c["box"]) for c in cells] == [
        ("INR18650-25", "nmc", "18650", "tin")
    ] * 2
    readings = bench.do(f"cell show {cells[0]['code']}")["readings"]
    assert sorted((r["quantity"], r["value"], r["meter"]) for r in readings if r["value"]) == [
        ("as-found-voltage", 3.61, "hand")
    ]
    assert bench.run("store check").code == 0


def test_a_slip_is_asked_again_and_the_last_answer_is_corrected(page: Page) -> None:
    """The refusal above the question; < goes back one; ? explains."""
    begin(page)
    say(page, *BEGINNING)
    assert "cannot be right" in say(page, "", "36").replace("&#39;", "'")
    assert "it can never be measured again" in say(page, "?")
    say(page, "3.61")
    assert "as found, V" in say(page, "<")


def test_an_answer_that_is_sent_twice_is_taken_once(page: Page) -> None:
    """The second is about a question that was answered; the dialogue stays where it is."""
    begin(page)
    opened = page.get("/intake").text
    said = fields_of(opened.partition('action="/intake/answer"')[2].partition("</form>")[0])
    answers = [
        page.client.post("/intake/answer", data={**said, "text": "garden lamp"}).text for _ in range(2)
    ]
    assert all("what kind of object?" in answer for answer in answers)


def test_an_evening_that_is_stopped_keeps_what_was_finished(page: Page, bench: Bench) -> None:
    """The cell in hand is dropped and named; a new evening can begin."""
    begin(page)
    say(page, *BEGINNING, *A_CELL, "", "3.7")
    token = fields_of(page.get("/intake").text)["token"]
    assert "Open a tear-down" in text_of(page.client.post("/intake/end", data={"token": token}).text)
    assert len([cell for cell in bench.do("cell list") if cell["teardown"] == "AT1"]) == 1
    assert "what did you open?" in begin(page), "not asked again what was chosen on the page"


def test_what_a_cell_looks_like_is_said_as_danger(page: Page, bench: Bench) -> None:
    """A swollen cell: the cautions on the page, nothing more asked of it."""
    begin(page)
    assert "Swollen, leaking" in say(page, *BEGINNING, "", "3.61", "s")
    assert any(cell["outcome"] == "discard" for cell in bench.do("cell list"))


@pytest.mark.parametrize("step", ["", "-1", "999999999999", "x"])
def test_an_answer_without_its_question_changes_nothing(page: Page, step: str) -> None:
    """A page from before, or none of ours."""
    begin(page)
    token = fields_of(page.get("/intake").text)["token"]
    page.client.post("/intake/answer", data={"token": token, "step": step, "text": "x"})
    assert "what did you open?" in page.get("/intake").text


def test_the_evenings_labels_are_a_sheet_that_is_remembered(page: Page, bench: Bench, tmp_path: Path) -> None:
    """The bytes of `label sheet`; afterwards no label is outdated. Before a cell is kept there is nothing to print."""
    begin(page)
    token = fields_of(page.get("/intake").text)["token"]
    assert page.client.post("/intake/labels", data={"token": token}).status_code == 422
    say(page, *BEGINNING, *A_CELL, "q")
    bench.do(f"label sheet --teardown AT1 --out {tmp_path / 'typed.pdf'}")
    answer = page.client.post("/intake/labels", data={"token": token})
    assert answer.headers["content-type"] == "application/pdf"
    assert answer.content == (tmp_path / "typed.pdf").read_bytes()
    printed = [event for event in bench.do("cell history A00002M") if event["verb"] == "labels-printed"]
    assert len(printed) == 2
