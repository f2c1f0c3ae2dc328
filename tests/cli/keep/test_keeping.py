"""due, stock, incident, handover, meter compare, build inspect: from the command line, with a pinned clock."""

from __future__ import annotations

import io
from pathlib import Path
from typing import Any

import pypdfium2
import pytest
import vobject
from tests.cli.bench import START, Bench

LATER = "2026-09-01T09:00:00+00:00"
ADD = "cell add --form 18650 --chemistry nmc --rated-capacity 2600mAh --marking INR18650"


@pytest.fixture
def shop(bench: Bench) -> Bench:
    """Three cells: one swollen, one measured once, one never."""
    bench.prepare("box add tin --kind 'metal box' --limit-wh 28")
    bench.prepare("box add drum --kind 'hand-over drum'")
    bench.prepare("meter add blue --like hand-held-multimeter")
    bench.codes = [cell["code"] for cell in bench.prepare(f"{ADD} --count 3")]  # type: ignore[attr-defined]
    bad, good, _ = codes(bench)
    bench.prepare(f"reading add {bad} --look swollen")
    bench.prepare(
        f"reading add {good} --look clean --voltage 3.80V --rested 24h --temperature 22C --meter blue"
    )
    return bench


def codes(bench: Bench) -> list[str]:
    return list(bench.codes)  # type: ignore[attr-defined]


def kinds(document: dict[str, Any], code: str) -> list[str]:
    return [item["kind"] for item in document["due"] if item["code"] == code]


# --- due -------------------------------------------------------------------------------------------


def test_due_tells_the_worst_first_with_why_and_what_to_do(shop: Bench) -> None:
    """The swollen cell that lies in no box is on top."""
    found = shop.do("due")
    top = found["due"][0]
    assert (top["kind"], top["code"], top["danger"]) == ("isolate", codes(shop)[0], True)
    assert "swollen" in top["why"] and f"cell move {top['code']} BOX" in top["todo"] and top["source"]
    assert [i["rank"] for i in found["due"]] == sorted(i["rank"] for i in found["due"])


def test_due_page_names_each_cell_under_its_kind(shop: Bench) -> None:
    """What, do, which; the talk about safety goes to stderr."""
    board = shop.run("due")
    assert board.code == 0 and "! isolate" in board.out and "Damaged and not set apart" in board.out
    assert "straycell due isolate" in board.err and "caution:" in board.err
    answer = shop.run("due isolate")
    assert "! Damaged and not set apart (1)" in answer.out and "do: " in answer.out
    assert codes(shop)[0] in answer.out and "nearest: isolate" in shop.refused("due isolat", 2)


def test_due_grows_as_time_goes_by(shop: Bench) -> None:
    """Half a year later: the good one is late, the swollen one waits too long, the third is forgotten."""
    bad, good, third = codes(shop)
    shop.do(f"cell move {bad} drum")
    assert kinds(shop.do("due"), bad) == []
    shop.now = LATER
    found = shop.do("due")
    assert kinds(found, bad) == ["handover-damaged"]
    assert "recheck-late" in kinds(found, good)
    assert "first-recheck" in kinds(found, third)
    late = next(i for i in found["due"] if i["kind"] == "recheck-late")
    assert late["days_over"] > 90 and late["due_at"].startswith("2026-05-30")


def test_due_ahead_shows_what_comes(shop: Bench) -> None:
    """Nothing of it is due today."""
    later = shop.do("due --ahead 30")["later"]
    assert {item["kind"] for item in later} >= {"first-recheck"}
    assert shop.do("due")["later"] == []


def test_due_writes_a_calendar_that_another_library_reads(shop: Bench, tmp_path: Path) -> None:
    """Every subject is in it, today's work on today."""
    target = tmp_path / "due.ics"
    found = shop.do(f"due --ics {target}")
    assert found["ics"] == str(target)
    events = vobject.readOne(target.read_bytes().decode("utf-8")).vevent_list
    text = "\n".join(event.description.value for event in events)
    assert all(item["subject"] in text for item in found["due"])
    assert min(event.dtstart.value for event in events).isoformat() == START[:10]


def test_due_on_an_empty_store_is_calm(bench: Bench) -> None:
    """Exit 0, nothing on stdout."""
    bench.do("store init")
    answer = bench.run("due")
    assert (answer.code, answer.out) == (0, "") and "nothing is due" in answer.err


def test_looking_creates_and_changes_nothing(bench: Bench, shop: Bench) -> None:
    """due, stock, handover list, and a missing store."""
    before = shop.store.read_bytes()
    for line in ("due", "stock", "handover list", "due --ahead 400"):
        assert shop.run(line).code == 0
    assert shop.store.read_bytes() == before
    nowhere = Bench(shop.store.with_name("nowhere.sqlite"))
    for line in ("due", "stock", "handover list", "handover show 1"):
        nowhere.refused(line, 4)
    assert not nowhere.store.exists()


@pytest.mark.parametrize(
    ("line", "code"),
    [
        ("due --ics /no/such/folder/x.ics", 3),
        ("due --ics .", 3),
        ("due --ahead -1", 2),
        ("due --ahead soon", 2),
        ("due now", 2),
    ],
)
def test_due_refuses_what_cannot_be_meant(shop: Bench, line: str, code: int) -> None:
    """One clear error each."""
    shop.refused(line, code)


# --- stock -----------------------------------------------------------------------------------------


def test_stock_counts_cells_energy_and_what_needs_attention(shop: Bench) -> None:
    """Per box, and the cells that lie in none."""
    bad, good, third = codes(shop)
    shop.do(f"cell move {good} tin")
    shop.do(f"cell move {third} tin")
    found = {box["box"]: box for box in shop.do("stock")}
    assert list(found) == ["drum", "tin", None]
    assert (found["tin"]["cells"], found["tin"]["limit_wh"]) == (2, 28.0)
    assert found["tin"]["energy_wh"] == pytest.approx(2 * 2.6 * 3.6) and not found["tin"]["estimated"]
    assert found["tin"]["never_checked"] == 1 and found["tin"]["oldest_check"].startswith("2026-03-01")
    assert found[None]["condemned"] == 1
    assert found[None]["attention"] == [{"title": "Damaged and not set apart", "count": 1}]
    assert bad not in shop.run("stock").out and "(no box)" in shop.run("stock").out


# --- moving ----------------------------------------------------------------------------------------


def test_move_refuses_to_mix_and_to_overfill(shop: Bench) -> None:
    """Exit 3, the box and the reason, what to do instead."""
    bad, good, third = codes(shop)
    shop.do(f"cell move {good} tin")
    assert "holds good cells" in shop.refused(f"cell move {bad} tin", 3)
    assert "for condemned cells only" in shop.refused(f"cell move {third} drum", 3)
    shop.do(f"cell move {third} tin")
    (more,) = shop.do(ADD)
    told = shop.refused(f"cell move {more['code']} tin", 3)
    assert "28.1 Wh" in told and "its limit is 28 Wh" in told


# --- incidents -------------------------------------------------------------------------------------


def test_an_incident_holds_every_cell_it_names(shop: Bench) -> None:
    """Until look, rest voltage, resistance and a self-discharge check are recorded again."""
    _, good, third = codes(shop)
    found = shop.do(f"incident add --kind drop {good} {third} --note 'off the bench'")
    assert not found["severe"] and found["retest"] == [
        "look",
        "rest voltage",
        "resistance",
        "self-discharge check",
    ]
    assert {c["outcome"] for c in found["cells"]} == {"hold"}
    assert "incident" in kinds(shop.do("due"), good)
    verdict = shop.do(f"verdict show {good}")
    assert any(r["rule"] == "upset" and r["status"] == "unmeasured" for r in verdict["reasons"])


def test_a_severe_incident_condemns_at_once(shop: Bench) -> None:
    """Whatever the figures say; the cautions for a discard are shown in full."""
    good = codes(shop)[1]
    answer = shop.run(f"incident add --kind 'short circuit' {good}")
    assert answer.code == 0 and "condemned" in answer.out and "condemned at once" in answer.err
    assert "Tape both terminals" in answer.err
    assert shop.do(f"cell show {good}")["stage"] == "condemned"


def test_a_kind_of_ones_own_holds_and_may_be_called_severe(shop: Bench) -> None:
    """The person was there."""
    _, good, third = codes(shop)
    assert not shop.do(f"incident add --kind 'sat on' {good}")["severe"]
    assert shop.do(f"incident add --kind 'run over' --severe {third}")["cells"][0]["stage"] == "condemned"


@pytest.mark.parametrize(
    ("words", "meant"),
    [
        ("it caught fire", "fire"),
        ("short circuit by a screw", "short-circuit"),
        ("got very hot", "hot"),
        ("fell into water", "water"),
        ("a hissing noise", "smoke"),
    ],
)
def test_words_of_ones_own_that_name_what_condemns_are_asked_about(
    shop: Bench, words: str, meant: str
) -> None:
    """As words they would only hold the cell: a kind is chosen, or said to be severe."""
    _, good, third = codes(shop)
    said = shop.refused(f"incident add --kind '{words}' {good}", 3)
    assert f"'{meant}'" in said and "--severe" in said
    assert shop.do(f"cell show {good}")["stage"] != "condemned"
    assert shop.do(f"incident add --kind '{words}' --severe {third}")["cells"][0]["stage"] == "condemned"
    assert shop.do(f"incident add --kind {meant} {good}")["cells"][0]["stage"] == "condemned"


def test_incident_kinds_are_listed_with_their_sources(bench: Bench) -> None:
    """Needs no store."""
    listed = {entry["kind"]: entry for entry in bench.do("incident kinds")}
    assert set(listed) >= {
        "short-circuit",
        "drop",
        "reversed",
        "over-charged",
        "hot",
        "water",
        "charger-failed",
    }
    assert all(entry["source"] and entry["why"] for entry in listed.values())


@pytest.mark.parametrize(
    ("line", "code"),
    [
        ("incident add --kind drop", 2),
        ("incident add {good}", 2),
        ("incident add --kind '' {good}", 3),
        ("incident add --kind drop A00001X", 3),
        ("incident add --kind drop {good} --note ''", 3),
    ],
)
def test_incident_refuses_what_cannot_be_taken(shop: Bench, line: str, code: int) -> None:
    """And holds nothing."""
    shop.refused(line.format(good=codes(shop)[1]), code)


@pytest.mark.parametrize(
    "sign",
    [
        "reading add {bad} --look leaking",
        "incident add --kind leak {bad}",
        "incident add --kind swelling {bad}",
    ],
)
def test_the_pack_of_a_leaking_cell_is_checked_once_more(bench: Bench, sign: str) -> None:
    """Told as a look or as an incident: every sibling is held until looked at and checked again; others are not."""
    source = bench.do("teardown add pack --kind pack")["code"]
    add = f"{ADD} --teardown {source}"
    bad, near = (cell["code"] for cell in bench.do(f"{add} --pack 1 --count 2"))
    (far,) = (cell["code"] for cell in bench.do(f"{add} --pack 2"))
    bench.do(sign.format(bad=bad))
    found = bench.do("due")
    assert "sibling" in kinds(found, near) and "sibling" not in kinds(found, far)
    rules = {r["rule"]: r["status"] for r in bench.do(f"verdict show {near}")["reasons"]}
    assert rules["sibling-look-first"] == "unmeasured"
    assert "sibling-look-first" not in {r["rule"] for r in bench.do(f"verdict show {far}")["reasons"]}
    assert bench.do("store check")["faults"] == []


# --- discard ---------------------------------------------------------------------------------------


def test_a_second_discard_says_so_and_writes_nothing(shop: Bench) -> None:
    """Exit 0: it is out of use, as asked for; the first reason stands, also with another one given."""
    good = codes(shop)[1]
    first = shop.do(f"discard {good} --because 'fell into water'")
    assert (first["discarded_before"], first["because"]) == (False, "fell into water")
    history, kept = shop.do(f"cell history {good}"), shop.store.read_bytes()
    shop.now = LATER
    answer = shop.run(f"discard {good} --because 'too old'")
    assert answer.code == 0
    assert answer.out == f"{good}  was discarded on 2026-03-01 already: fell into water\n"
    assert "nothing was written" in answer.err and "Tape both terminals" in answer.err
    again = shop.do(f"discard {good} --because 'too old'")
    assert (again["discarded_before"], again["because"]) == (True, "fell into water")
    assert again["discarded_at"].startswith("2026-03-01") and again["outcome"] == "discard"
    assert shop.store.read_bytes() == kept and shop.do(f"cell history {good}") == history


def test_a_cell_condemned_by_its_readings_can_be_discarded_by_hand_once(shop: Bench) -> None:
    """The person's reason is added to what the readings said."""
    bad = codes(shop)[0]
    assert not shop.do(f"discard {bad} --because 'seen by two'")["discarded_before"]
    assert shop.do(f"discard {bad} --because again")["discarded_before"]


@pytest.mark.parametrize(
    ("line", "code"),
    [
        ("discard A99999X --because old", 3),
        ("discard {good}", 2),
        ("discard {good} --because ''", 3),
        ("discard --because old", 2),
    ],
)
def test_discard_refuses_what_cannot_be_meant(shop: Bench, line: str, code: int) -> None:
    """An unknown code is a slip, whatever else is said."""
    shop.refused(line.format(good=codes(shop)[1]), code)


def test_a_cell_that_has_left_the_house_is_not_discarded(shop: Bench) -> None:
    """Its code was mistyped: the one meant lies on the bench still."""
    shop.do("handover add yard")
    shop.do("handover close 1")
    assert "handed over" in shop.refused(f"discard {codes(shop)[0]} --because old", 3)


def test_discard_asks_for_a_look_first_and_then_says_where_the_cell_goes(shop: Bench) -> None:
    """Without a look after the discard its list calls it damaged, so that comes before the box."""
    good = codes(shop)[1]
    shop.now = LATER
    told = " ".join(shop.run(f"discard {good} --because weak").err.split())
    assert f"next: straycell reading add {good} --look" in told and "cell move" not in told
    shop.do(f"reading add {good} --look clean")
    again = " ".join(shop.run(f"discard {good} --because weak").err.split())
    assert f"next: straycell cell move {good} BOX" in again and "--look" not in again


# --- hand-over -------------------------------------------------------------------------------------


def test_at_a_terminal_the_final_word_of_a_hand_over_is_asked_for(
    shop: Bench, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A trigger keeps it closed for good, so a slip of the keys must not close it; --yes answers beforehand."""
    shop.do("handover add yard")
    monkeypatch.setattr("straycell.cli.app.prompts.at_terminal", lambda: True)
    answers = iter([False, True])
    monkeypatch.setattr("straycell.cli.app.prompts.agrees", lambda question: next(answers))
    assert "nothing was changed" in shop.refused("handover close 1", 2)
    assert shop.do("handover show 1")["state"] == "open"
    assert shop.do("handover close 1")["state"] == "closed"
    shop.do(f"discard {codes(shop)[1]} --because weak")
    shop.do("handover add yard")
    assert shop.do("handover close 2 --yes")["state"] == "closed"


def test_a_cell_that_came_onto_the_list_at_the_question_stays_in_the_house(
    shop: Bench, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What was asked about is what is closed; the next answer is about all of it."""
    shop.do("handover add yard")
    late = codes(shop)[1]

    def agrees(question: str) -> bool:
        if late not in shop.do("handover show 1")["cells"]:
            shop.do(f"discard {late} --because weak")
            shop.do("handover add yard")
        return True

    monkeypatch.setattr("straycell.cli.app.prompts.at_terminal", lambda: True)
    monkeypatch.setattr("straycell.cli.app.prompts.agrees", agrees)
    assert f"{late} came onto hand-over" in shop.refused("handover close 1", 3)
    assert shop.do("handover show 1")["state"] == "open"
    assert late in shop.do("handover close 1")["cells"]


def test_a_hand_over_from_gathering_to_closing(shop: Bench, tmp_path: Path) -> None:
    """Add, print, close; the cell is gone from `due` and stays in the book."""
    bad = codes(shop)[0]
    made = shop.do("handover add 'recycling yard'")
    assert (made["id"], made["cells"], made["state"]) == ("A-1", [bad], "open")
    (line,) = made["lines"]
    assert line["condition"] == "damaged or defective" and line["un"] == "UN 3480"
    target = tmp_path / "list.pdf"
    assert shop.do(f"handover show 1 --out {target}")["file"] == str(target)
    page = pypdfium2.PdfDocument(io.BytesIO(target.read_bytes()))[0].get_textpage().get_text_range()
    assert bad in page and "recycling yard" in page and "seen: swollen" in page
    closed = shop.do("handover close 1")
    assert closed["state"] == "closed" and closed["left_out"] == []
    assert shop.do(f"cell show {bad}")["stage"] == "handed-over"
    assert kinds(shop.do("due"), bad) == []
    assert [entry["state"] for entry in shop.do("handover list")] == ["closed"]
    assert any(event["verb"] == "handed-over" for event in shop.do(f"cell history {bad}"))


def test_the_same_list_can_be_printed_again_after_closing(shop: Bench, tmp_path: Path) -> None:
    """What went with the cells, not what would go now."""
    shop.do("handover add yard")
    assert shop.run("handover close 1").out == "hand-over A-1 closed: 1 cell handed over to yard\n"
    shop.now = LATER
    found = shop.do(f"handover show 1 --out {tmp_path / 'again.pdf'}")
    assert found["closed_at"].startswith("2026-03-01") and found["count"] == 1


def test_a_place_in_letters_that_the_list_cannot_print_is_named(shop: Bench, tmp_path: Path) -> None:
    """The paper shows their numbers; the command says which they are."""
    shop.do("handover add 容器")
    said = " ".join(shop.run(f"handover show 1 --out {tmp_path / 'list.pdf'}").err.split())
    assert "容 U+5BB9" in said and "器 U+5668" in said


def test_naming_the_cells_of_a_hand_over(shop: Bench) -> None:
    """Only these; the rest wait."""
    bad, good, _ = codes(shop)
    shop.do(f"discard {good} --because 'too weak'")
    assert shop.do(f"handover add yard {good}")["cells"] == [good]
    assert shop.do("handover add 'shop counter'")["cells"] == [bad]


@pytest.mark.parametrize(
    ("line", "code"),
    [
        ("handover add ''", 3),
        ("handover add yard {good}", 3),
        ("handover show 7", 3),
        ("handover show one", 3),
        ("handover close 7", 3),
        ("handover show 1 --out /no/such/folder/x.pdf", 3),
        ("handover", 0),
    ],
)
def test_handover_refuses_what_cannot_be(shop: Bench, line: str, code: int) -> None:
    """Each with its reason."""
    shop.do("handover add yard")
    if code:
        shop.refused(line.format(good=codes(shop)[1]), code)
    else:
        assert shop.run(line).code in (0, 2)


def test_nothing_to_hand_over_is_said(bench: Bench) -> None:
    """Exit 3 and where to look."""
    bench.do("store init")
    assert "cell list --stage condemned" in bench.refused("handover add yard", 3)


# --- what closes the other items -------------------------------------------------------------------


def test_a_meter_is_due_after_a_year_until_it_is_compared(shop: Bench) -> None:
    """`meter compare` takes it off the list for another year."""
    shop.now = "2027-03-02T09:00:00+00:00"
    assert "blue" in [i["subject"] for i in shop.do("due")["due"] if i["kind"] == "meter"]
    assert shop.do("meter compare blue --on 2027-03-01")["compared_on"] == "2027-03-01"
    assert "meter" not in [i["kind"] for i in shop.do("due")["due"]]
    shop.refused("meter compare red", 3)
    shop.refused("meter compare blue --on 2027-04-01", 3)


def test_build_inspect_needs_a_finished_build_and_a_look(shop: Bench) -> None:
    """No build, no inspection."""
    shop.refused("build inspect lamp --look clean", 3)
    shop.refused("build inspect lamp", 2)


def test_a_damaged_store_is_salvaged_by_one_command(shop: Bench) -> None:
    """The page says what came along and what was lost; the new store works, the old file stays as it was."""
    code, folder = shop.do("cell list")[0]["code"], shop.store.parent
    raw = shop.store.read_bytes()
    shop.store.write_bytes(raw[: len(raw) // 8192 * 4096])
    assert "salvage" in shop.refused(f"cell show {code}", 4)
    done = shop.do(f"store salvage {shop.store} {folder}/new.sqlite")
    assert done["cells"] > 0 and any("cut off" in line for line in done["lost"])
    page = shop.run(f"store salvage {shop.store} {folder}/newer.sqlite").out
    assert "cut off" in page and "lost:" in page
    shop.refused(f"store salvage {shop.store} {folder}/new.sqlite", 3)
    assert "name the damaged file" in shop.refused(f"store salvage missing.sqlite {folder}/other.sqlite", 4)
    shop.env["STRAYCELL_STORE"] = f"{folder}/new.sqlite"
    assert shop.do("verdict show " + code)["outcome"] in ("hold", "discard")
