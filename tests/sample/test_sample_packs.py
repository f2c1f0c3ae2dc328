"""The camera's pack in the sample workshop, through the commands: match, reserve, sheet, finish, dismantle."""

from __future__ import annotations

import re
import shutil
from pathlib import Path

import pypdfium2
import pytest
from tests.cli.bench import Bench
from tests.sample.conftest import Built

from straycell.cli.app import prompts
from straycell.errors import UsageFault

CAMERA = "'bird-box camera'"


@pytest.fixture
def bench(built: Built, tmp_path: Path) -> Bench:
    """A copy of the workshop on its day."""
    shutil.copy(built.path, tmp_path / "shop.sqlite")
    return Bench(tmp_path / "shop.sqlite", built.sample.now.isoformat())


def test_the_camera_gets_four_alike_cells_and_every_key(bench: Bench) -> None:
    """Two groups of two of one marking, 8 h at the low end, with charging and protection answers."""
    found = bench.do(f"match {CAMERA}")
    assert found["served"] and [len(group) for group in found["groups"]] == [2, 2]
    assert {"spread_ah", "bound_spread_ah", "gap", "runtime_h", "why", "not_chosen", "plan"} <= set(found)
    assert found["runtime_h"]["low"] >= 8 and found["spread_ah"] <= 0.005
    assert found["protection"]["ok"] is True and found["charging"]["ok"] is None
    assert found["joining"]["order"]
    markings = {bench.do(f"cell show {code}")["marking"] for group in found["groups"] for code in group}
    assert markings == {"INR18650 2000mAh"}


def test_looking_changes_nothing(bench: Bench) -> None:
    """`match` and `match --all` write no byte."""
    before = bench.store.read_bytes()
    bench.run(f"match {CAMERA}")
    bench.run("match --all")
    assert bench.store.read_bytes() == before


def test_a_pack_is_reserved_drawn_finished_and_taken_apart(bench: Bench, tmp_path: Path) -> None:
    """The whole way; afterwards its cells are received, on hold, and the project waits again."""
    plan = bench.do(f"match {CAMERA}")["plan"]
    made = bench.do(f"build reserve {CAMERA} --plan {plan}")
    codes = [code for group in made["groups"] for code in group]
    assert made["state"] == "reserved" and len(codes) == 4
    out = tmp_path / "sheet.pdf"
    assert bench.do(f"build sheet {CAMERA} --out {out}")["labels"] == codes
    text = "".join(page.get_textpage().get_text_range() for page in pypdfium2.PdfDocument(out))
    assert all(code in text for code in codes)
    for words in (
        "group 1",
        "in this order: 1a",
        "one fuse right at PACK PLUS",
        "10 s between the plus end behind the fuse",
        "every group at rest, after 7 days",
        "balance leads",
        "before the first charge",
    ):
        assert words in text
    assert "Stop" not in text and "label sheet" in text
    assert bench.do(f"build finish {CAMERA} --yes")["state"] == "finished"
    assert bench.do(f"build dismantle {CAMERA}")["state"] == "dismantled"
    for code in codes:
        cell = bench.do(f"cell show {code}")
        assert (cell["stage"], cell["verdict"]["outcome"]) == ("received", "hold")
    assert bench.run(f"match {CAMERA}").code == 1


def test_the_sheet_of_one_cell_counts_one_cell(bench: Bench, tmp_path: Path) -> None:
    """One is no plural, on the line and on the page."""
    bench.do("build reserve 'greenhouse vent opener'")
    out = tmp_path / "one.pdf"
    assert (
        bench.run(f"build sheet 'greenhouse vent opener' --out {out}").out == f"{out}  1 cell, 1 in series\n"
    )
    text = "".join(page.get_textpage().get_text_range() for page in pypdfium2.PdfDocument(out))
    assert "1 cells" not in text
    spoken = text.lower()
    for word in ("group", "link", "pack plus", "bars", "side by side", "in parallel", "every cell"):
        assert word not in spoken


def test_a_letter_that_the_sheet_cannot_print_is_named(bench: Bench, tmp_path: Path) -> None:
    """A project in Chinese letters: the sheet is written, each letter is on stderr once and on the page as its number."""
    file, out = tmp_path / "pond.toml", tmp_path / "pond.pdf"
    file.write_text(
        'name = "池 gauge"\n[load]\ncurrent = "20mA"\n[need]\nruntime = "10h"\ncutoff = "3.2V"\n[pack]\nforms = ["18650"]\n',
        encoding="utf-8",
    )
    bench.do(f"project add {file}")
    bench.do("build reserve '池 gauge'")
    said = " ".join(bench.run(f"build sheet '池 gauge' --out {out}").err.split())
    assert said.count("池 U+6C60 CJK UNIFIED IDEOGRAPH-6C60") == 1
    text = "".join(page.get_textpage().get_text_range() for page in pypdfium2.PdfDocument(out))
    assert "[U+6C60] gauge" in text and "\ufffd" not in text


def test_what_the_sheet_prints_is_what_the_match_answers(bench: Bench, tmp_path: Path) -> None:
    """Run time, positions, fuse and charge currents read back from the paper, against the answer's own numbers."""
    found = bench.do(f"match {CAMERA}")
    bench.do(f"build reserve {CAMERA}")
    out = tmp_path / "sheet.pdf"
    bench.do(f"build sheet {CAMERA} --out {out}")
    pages = [page.get_textpage().get_text_range() for page in pypdfium2.PdfDocument(out)]
    text = " ".join(" ".join(pages).split())
    run = re.search(r"runs ([\d.]+) h at the low end, ([\d.]+) h expected", text)
    assert run is not None
    assert float(run[1]) == pytest.approx(found["runtime_h"]["low"], abs=0.05)
    assert float(run[2]) == pytest.approx(found["runtime_h"]["expected"], abs=0.05)
    listed = dict(re.findall(r"\b(\d[a-z]) (H\w{6}) \d+ mAh", text))
    assert {code: place for place, code in listed.items()} == found["positions"]
    assert f"{found['pack']['fuse']['rated_a']:g} A time-lag" in text
    spans = re.findall(r"([\d.]+) (m?A) at (\d+) to (\d+) C", text)
    told = [(float(a) * (0.001 if unit == "mA" else 1), int(low), int(high)) for a, unit, low, high in spans]
    quoted = found["pack"]["currents"]["charge"]
    assert [(low, high) for _, low, high in told] == [(s["from_c"], s["to_c"]) for s in quoted]
    for (most_a, _, _), span in zip(told, quoted, strict=True):
        assert 0.9 * span["most_a"] < most_a <= span["most_a"]


def test_a_build_for_which_no_fuse_exists_is_not_finished(bench: Bench) -> None:
    """A maker's 400 mA: a fuse that holds the device's 300 mA would let more through than the cell bears."""
    vent = "'greenhouse vent opener'"
    (code,) = bench.do(f"build reserve {vent}")["groups"][0]
    bench.do(f"cell correct {code} --maker-discharge-current 400mA --because 'the sheet came'")
    told = bench.refused(f"build finish {vent} --yes", 1)
    assert "no standard fuse" in told


def test_named_cells_become_a_pack_when_they_make_one(bench: Bench) -> None:
    """Four that fit; three are too few, five are one too many, and one of another kind is named."""
    six = ["H00001K", "H00003G", "H00004E", "H00005C", "H00006A", "H000078"]
    assert "missing for" in bench.refused(f"build reserve {CAMERA} --cells {' '.join(six[:3])}", 1)
    assert "does not need" in bench.refused(f"build reserve {CAMERA} --cells {' '.join(six[:5])}", 1)
    other = bench.refused(f"build reserve {CAMERA} --cells {' '.join(six[:3])} H00081P", 1)
    assert "H00081P" in other or "missing for" in other
    made = bench.do(f"build reserve {CAMERA} --cells {' '.join(six[2:])}")
    assert sorted(code for group in made["groups"] for code in group) == sorted(six[2:])


def test_a_plan_that_is_no_longer_true_is_refused(bench: Bench) -> None:
    """Another hash, or a cell that was discarded since."""
    plan = bench.do(f"match {CAMERA}")["plan"]
    assert "no longer true" in bench.refused(f"build reserve {CAMERA} --plan 0123456789abcdef", 1)
    bench.do("discard H00005C --because 'fell on the floor'")
    assert "no longer true" in bench.refused(f"build reserve {CAMERA} --plan {plan}", 1)


def test_all_projects_at_once_and_each_plan_can_be_reserved(bench: Bench) -> None:
    """The vent opener and the camera are served, the lamp and the clock say why not."""
    answer = bench.run("match --all --json")
    assert answer.code == 1
    found = answer.json
    assert {p["project"] for p in found["plans"]} == {"greenhouse vent opener", "bird-box camera"}
    assert {p["project"] for p in found["unserved"]} == {"bench lamp", "tide clock"}
    assert found["gap"] == 0 and found["objective"] == found["bound"]
    used = [code for p in found["plans"] for group in p["groups"] for code in group]
    assert len(used) == len(set(used)) == 5
    for plan in found["plans"]:
        bench.do(f"build reserve '{plan['project']}' --plan {plan['plan']}")


def test_what_was_wrongly_asked_is_told(bench: Bench, tmp_path: Path) -> None:
    """Both, neither, a project that is not there, a sheet without a build."""
    assert "name one project" in bench.refused("match", 2)
    assert "name one project" in bench.refused(f"match {CAMERA} --all", 2)
    bench.refused("match 'no such thing'", 3)
    assert "has no build" in bench.refused(f"build sheet {CAMERA} --out {tmp_path / 'x.pdf'}", 3)


def test_a_project_without_protection_is_not_served_yet_can_be_planned_and_not_finished(bench: Bench) -> None:
    """It says what to fit; its cell can wait for it; finishing is refused."""
    answer = bench.run("match 'tide clock' --json")
    assert answer.code == 1 and not answer.json["served"] and answer.json["plan"] is None
    assert "fitted = true" in answer.json["missing"][0] and answer.json["protection"]["ok"] is False
    bench.do("build reserve 'tide clock'")
    assert "protection" in bench.refused("build finish 'tide clock'", 1)


def test_project_show_says_what_its_charger_asks_and_what_to_change(bench: Bench) -> None:
    """The bench lamp's charger would over-charge its cells; the vent opener's is gentle enough from 658 mAh."""
    lamp, vent = (bench.do(f"project show {n}") for n in ("'bench lamp'", "'greenhouse vent opener'"))
    assert lamp["charging"]["ok"] is False and any("use a charger" in a for a in lamp["charging"]["advice"])
    assert vent["charging"]["ok"] is True
    # At 18 degC a straight line from 0.2C at 15 to 0.5C at 20 leaves 0.38C of its 250 mA.
    assert vent["charging"]["least_capacity_ah"]["solo"] == pytest.approx(0.25 / 0.38)
    assert vent["protection"]["ok"] is True and vent["protection"]["fitted"] is True


def test_at_a_terminal_finishing_asks_first(bench: Bench, monkeypatch: pytest.MonkeyPatch) -> None:
    """What it draws, where it works, what charges it; not confirmed, nothing is built; `--yes` does not ask."""
    bench.do(f"build reserve {CAMERA}")
    asked: list[str] = []

    def kept(question: str, dimension: object) -> None:
        asked.append(question)

    def no(yes: bool, question: str) -> None:
        raise UsageFault("not confirmed: nothing was changed", "answer y, or add --yes")

    monkeypatch.setattr(prompts, "at_terminal", lambda: True)
    monkeypatch.setattr(prompts, "quantity", kept)
    monkeypatch.setattr(prompts, "confirm", no)
    answer = bench.run(f"build finish {CAMERA}")
    assert answer.code == 2 and "no solder" not in answer.out and "Do not solder" in answer.err
    assert bench.do("build list")[-1]["state"] == "reserved"
    assert [word in " ".join(asked) for word in ("draw", "work", "charger give")] == [True] * 3
    # What the cells were chosen for is held against the thing itself, before the cautions.
    told = " ".join(answer.err.split())
    assert told.index("it draws") < told.index("Do not solder") and "is charged:" in told
    assert bench.do(f"build finish {CAMERA} --yes")["state"] == "finished"
