"""Boxes by scanning, picking the cells of a build, and the papers, from a phone."""

from __future__ import annotations

from pathlib import Path

import pytest
from tests.cli.bench import Bench
from tests.web.rig import Page, fields_of, text_of


@pytest.fixture
def three(bench: Bench) -> list[str]:
    """The cell of the store and two more."""
    made = bench.prepare("cell add --teardown AT1 --pack 2 --form 18650 --chemistry nmc --count 2")
    return [bench.prepare("cell list")[0]["code"], *(cell["code"] for cell in made)]


def scan(page: Page, opened: str, path: str, **said: str) -> str:
    """What the page says to a typed code, its form taken from an opened page."""
    filled = fields_of(page.get(opened).text)
    return text_of(page.client.post(path, data={**filled, **said}).text)


def test_cells_go_into_a_box_scan_after_scan(
    page: Page, bench: Bench, three: list[str], tmp_path: Path
) -> None:
    """Typed or photographed; a photograph of two labels moves both."""
    assert "now lies in tin" in scan(page, "/box?name=tin", "/box/scan/move", code=three[0])
    sheet = tmp_path / "two.png"
    labels = []
    for code in three[1:]:
        bench.do(f"label single {code} --dpi 200 --out {tmp_path / code}.png")
        labels.append(tmp_path / f"{code}.png")
    from PIL import Image

    first, second = (Image.open(label).convert("L") for label in labels)
    both = Image.new("L", (first.width + second.width + 80, max(first.height, second.height) + 80), 255)
    both.paste(first, (20, 40))
    both.paste(second, (first.width + 60, 40))
    both.save(sheet)
    filled = fields_of(page.get("/box?name=tin").text)
    said = {"token": filled["token"], "name": "tin"}
    page.client.post("/box/scan/move", data=said, files={"photo": ("two.png", sheet.read_bytes())})
    assert {cell["code"] for cell in bench.do("cell list --box tin")} == set(three)


def test_a_code_that_is_none_moves_nothing(page: Page, bench: Bench, three: list[str]) -> None:
    """And says what to do; so does an empty form."""
    before = bench.store.read_bytes()
    assert "check character" in scan(page, "/box?name=tin", "/box/scan/move", code=three[0][:-1] + "9")
    assert "take a photograph" in scan(page, "/box?name=tin", "/box/scan/move", code="")
    assert bench.store.read_bytes() == before


def test_a_box_is_compared_with_the_store(page: Page, bench: Bench, three: list[str]) -> None:
    """Here, missing and not expected, as `scan --check` says; nothing is written."""
    for code in three[:2]:
        bench.do(f"cell move {code} tin")
    before = bench.store.read_bytes()
    assert "0 here, 2 missing" in scan(page, "/box?name=tin", "/box/scan/check", begin="yes")
    assert "1 here, 1 missing" in scan(page, "/box?name=tin", "/box/scan/check", code=three[0], begin="")
    said = scan(
        page, "/box?name=tin", "/box/scan/check", seen=",".join([three[0], three[2]]), code=three[1], begin=""
    )
    assert "2 here, 0 missing" in said and f"{three[2]} is recorded elsewhere: in no box" in said
    assert bench.store.read_bytes() == before


def test_the_boxes_hold_what_stock_says(page: Page, bench: Bench, three: list[str]) -> None:
    """Counts and energy."""
    bench.do(f"cell move {three[0]} tin")
    shown = text_of(page.get("/boxes").text)
    assert "tin 1 cells" in shown and "in no box 2 cells" in shown
    assert page.get("/box", params={"name": "nowhere"}).status_code == 404


@pytest.fixture
def reserved(sample_copy: Bench) -> tuple[Bench, str, list[list[str]]]:
    """A bench over the sample workshop, a project that has its cells, and their codes by group."""
    build = sample_copy.do("build reserve 'bird-box camera'")
    assert len(build["groups"]) == 2
    return sample_copy, build["project"], build["groups"]


def test_a_pick_list_takes_the_right_cell_and_refuses_any_other(
    reserved: tuple[Bench, str, list[list[str]]],
) -> None:
    """Green with a sign at its position, else where the cell belongs; looking writes nothing."""
    bench, name, groups = reserved
    page = Page(bench)
    page.pair()
    codes, before = [code for group in groups for code in group], bench.store.read_bytes()
    stranger = next(c["code"] for c in bench.do("cell list") if c["code"] not in codes)
    opened = f"/pick?name={name}"
    assert codes[0] in text_of(page.get(opened).text)
    said = scan(page, opened, "/pick/scan", code=stranger)
    assert f"✕ 1a: {stranger} is refused here" in said and "not in this build at all" in said
    if len(codes) > 1:
        assert "it belongs at" in scan(page, opened, "/pick/scan", code=codes[1])
    for at, code in enumerate(codes):
        said = scan(page, opened, "/pick/scan", code=code, at=str(at))
        assert f": {code} is right here" in said
    assert "All cells are picked" in said
    assert bench.store.read_bytes() == before


def test_a_cell_that_failed_since_it_was_reserved_is_refused(
    reserved: tuple[Bench, str, list[list[str]]],
) -> None:
    """The right one, and no longer a good one."""
    bench, name, groups = reserved
    bench.do(f"incident add --kind drop {groups[0][0]} --note 'off the bench'")
    page = Page(bench)
    page.pair()
    said = scan(page, f"/pick?name={name}", "/pick/scan", code=groups[0][0])
    assert "is refused here" in said and "HOLD" in said


@pytest.mark.parametrize(("finished", "told"), [(False, "Do not build it so"), (True, "Stop using it")])
def test_a_cell_that_must_not_stay_is_told_by_what_is_to_be_done(
    reserved: tuple[Bench, str, list[list[str]]], finished: bool, told: str
) -> None:
    """Nothing is to be taken apart that was never joined."""
    bench, name, groups = reserved
    if finished:
        bench.do(f"build finish '{name}' --yes")
    page = Page(bench)
    page.pair()
    assert "✕" not in text_of(page.get("/project", params={"name": name}).text)
    bench.do(f"incident add --kind drop {groups[0][0]}")
    shown = text_of(page.get("/project", params={"name": name}).text)
    assert told in shown and f"{groups[0][0]} ✕ hold" in shown
    assert [words in shown for words in ("Do not build it so", "Stop using it")] == [not finished, finished]


def test_papers_and_pictures_are_what_the_command_line_writes(
    reserved: tuple[Bench, str, list[list[str]]], tmp_path: Path
) -> None:
    """Byte for byte where a paper bears no chance: build sheet, hand-over list; the picture is one."""
    bench, name, _ = reserved
    page = Page(bench)
    page.pair()
    bench.do(f"build sheet '{name}' --out {tmp_path / 'sheet.pdf'}")
    assert page.get("/sheet.pdf", params={"name": name}).content == (tmp_path / "sheet.pdf").read_bytes()
    number = bench.do("handover add 'collection point'")["id"]
    bench.do(f"handover show {number} --out {tmp_path / 'list.pdf'}")
    assert page.get(f"/handover/{number}.pdf").content == (tmp_path / "list.pdf").read_bytes()
    assert page.get("/picture/stock").content.startswith(b"\x89PNG")
    assert page.get("/sheet.pdf", params={"name": "nothing"}).status_code == 404


def test_a_project_without_cells_shows_what_the_stock_gives(
    reserved: tuple[Bench, str, list[list[str]]],
) -> None:
    """The same answer as `match`."""
    bench, _, _ = reserved
    page = Page(bench)
    page.pair()
    listed = text_of(page.get("/projects").text)
    pending = [each for each in bench.do("project list") if each["state"] == "pending"]
    for each in pending[:2]:
        assert each["name"] in listed
        shown = text_of(page.get("/project", params={"name": each["name"]}).text)
        found = bench.run(["match", each["name"], "--json"]).json
        assert ("The stock serves it" in shown) is found["served"]
        assert all(code in shown for group in found["groups"] for code in group)


def test_the_plan_that_was_read_is_reserved_and_no_other(
    reserved: tuple[Bench, str, list[list[str]]],
) -> None:
    """As `build reserve --plan`; a plan that is no longer true reserves nothing and says so."""
    bench, _, _ = reserved
    page = Page(bench)
    page.pair()
    name = next(
        each["name"]
        for each in bench.do("project list")
        if each["state"] == "pending" and bench.run(["match", each["name"], "--json"]).json["served"]
    )
    found = bench.run(["match", name, "--json"]).json
    opened, before = f"/project?name={name}", bench.store.read_bytes()
    filled = fields_of(page.get(opened).text)
    assert filled["plan"] == found["plan"]
    old = page.client.post("/project/reserve", data={**filled, "plan": "0" * 12})
    assert old.status_code == 422 and "is no longer true" in text_of(old.text)
    assert bench.store.read_bytes() == before
    page.client.post("/project/reserve", data=filled)
    (build,) = (each for each in bench.do("build list") if each["project"] == name)
    assert build["groups"] == found["groups"] and build["state"] == "reserved"


def test_condemned_cells_are_gathered_and_leave_once_it_was_asked_twice(
    page: Page, bench: Bench, three: list[str]
) -> None:
    """A list for a place, its paper, and the final word; as `handover add` and `handover close`."""
    for code in three[:2]:
        bench.do(f"discard {code} --because 'fell into the stove'")
    filled = fields_of(page.get("/handovers").text)
    assert "write" in text_of(page.client.post("/handovers/add", data={**filled, "place": " "}).text)
    page.client.post("/handovers/add", data={**filled, "place": "collection point"})
    (entry,) = bench.do("handover list")
    assert sorted(entry["cells"]) == sorted(three[:2]) and entry["state"] == "open"
    said = {**fields_of(page.get("/handovers").text), "number": entry["id"]}
    said.pop("sure", None)
    assert "Have they left?" in text_of(page.client.post("/handovers/close", data=said).text)
    assert bench.do("handover list")[0]["state"] == "open"
    gone = text_of(page.client.post("/handovers/close", data={**said, "sure": "yes"}).text)
    assert "2 cells were handed over to collection point" in gone
    assert bench.do("handover list")[0]["state"] == "closed"
    again = page.client.post("/handovers/close", data={**said, "sure": "yes"})
    assert again.status_code == 422 and "was closed on" in text_of(again.text)


def test_a_build_is_finished_for_the_device_as_it_was_measured(
    reserved: tuple[Bench, str, list[list[str]]],
) -> None:
    """Not before somebody says that all was done; refused where the device draws more than its cells bear; then in."""
    bench, name, _ = reserved
    page = Page(bench)
    page.pair()
    filled = fields_of(page.get("/project", params={"name": name}).text)
    before = bench.store.read_bytes()

    def state() -> str:
        found: str = next(each for each in bench.do("build list") if each["project"] == name)["state"]
        return found

    for said, words in (
        ({}, "nobody said yet"),
        ({"done": "yes", "current_a": "much"}, "What it draws at its cells"),
        ({"done": "yes", "current_a": "40"}, "cannot be finished"),
        ({"done": "yes", "current_a": "0.1", "peak_current_a": "60A"}, "cannot be finished"),
        ({"done": "yes", "temperature_c": "80C"}, "no lithium cell is meant to work there"),
        ({"done": "yes", "fuse_a": "50"}, "does not guard it"),
        # The whole string's: of two cells in series it is no slip.
        ({"done": "yes", "measured_float_v": "8,36"}, "voltage is missing"),
    ):
        answer = page.client.post("/project/finish", data={**filled, **said})
        assert answer.status_code == 422 and words in text_of(answer.text), text_of(answer.text)
        assert f'value="{said.get("current_a", "")}"' in answer.text, "what was typed is kept"
        assert ('inputmode="text"' in answer.text) is (len(said) > 1), (
            "number keys have no letters for a unit"
        )
    assert bench.store.read_bytes() == before and state() == "reserved"
    words = text_of(page.get("/project", params={"name": name}).text)
    assert "as its project says: it draws" in words and "Parallel only at equal rest voltage" in words
    answer = page.client.post("/project/finish", data={**filled, "done": "yes", "current_a": "0,1"})
    assert answer.status_code == 200, text_of(answer.text)
    assert state() == "finished"


def test_pictures_are_drawn_for_the_stock_and_for_a_cell(
    reserved: tuple[Bench, str, list[list[str]]],
) -> None:
    """Each is a picture; a name or a cell that is none has no page; they are shown where they belong."""
    bench, _, groups = reserved
    page = Page(bench)
    page.pair()
    code = groups[0][0]
    shown = page.get(f"/cell/{code}").text + page.get("/pictures").text
    paths = ["stock", "boxes", "yield", f"rest/{code}", f"limits/{code}"]
    runs = [each["trace"] for each in bench.do(f"cell show {code}")["readings"] if each.get("trace")]
    for path in [*paths, *(f"run/{number}" for number in dict.fromkeys(runs))]:
        assert f'src="/picture/{path}"' in shown, path
        answer = page.get(f"/picture/{path}")
        kind = "image/png" if path == "stock" else "image/svg+xml"
        assert answer.headers["content-type"] == kind and len(answer.content) > 2000, path
    for path in ("nothing", "rest/A00000A", "nothing/A00000A", "run/A-999999"):
        assert page.get(f"/picture/{path}").status_code == 404
