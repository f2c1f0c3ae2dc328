"""Labels at the command line: which cells, on which stock, what was printed before, and codes read back."""

from __future__ import annotations

import io
import os
import sys
from pathlib import Path

import pypdfium2
import pytest
import qrcode
import zxingcpp
from PIL import Image
from tests.cli.bench import Answer, Bench

from straycell.cells import next_codes

STRANGER = next_codes("B", 40, 1)[0]
OWN = """
[mine]
text = "a sheet of ours"
source = "measured"
where = "along"
forms = ["18650"]
page = "A4"
width_mm = 60
height_mm = 18
inset_mm = 1
module_mm = 0.44
"""


@pytest.fixture
def shop(bench: Bench) -> Bench:
    """Two 18650 and a 10440 in a box, a pouch outside, an 18650 that is condemned."""
    bench.prepare("box add drawer --limit-wh 100")
    bench.prepare("teardown add 'old torch' --kind torch")
    bench.prepare("cell add --form 18650 --chemistry nmc --count 2 --box drawer")
    bench.prepare("cell add --form 10440 --chemistry nmc --box drawer")
    bench.prepare("cell add --form pouch --chemistry lco")
    (bad,) = bench.prepare("cell add --form 18650 --chemistry nmc")
    bench.prepare(f"discard {bad['code']} --because swollen")
    return bench


def codes(shop: Bench) -> list[str]:
    """All cells, in the order in which they were logged."""
    return [cell["code"] for cell in shop.do("cell list")]


def read_back(path: Path) -> list[str]:
    """The symbols on all pages, by a reader of its own."""
    document = pypdfium2.PdfDocument(path)
    pages = [document[n].render(scale=250 / 72, grayscale=True).to_pil() for n in range(len(document))]
    document.close()
    return [symbol.text for page in pages for symbol in zxingcpp.read_barcodes(page)]


def type_in(shop: Bench, monkeypatch: pytest.MonkeyPatch, line: str, *typed: str) -> Answer:
    """A command with lines on its standard input."""
    monkeypatch.setattr("sys.stdin", io.StringIO("\n".join(typed) + "\n"))
    return shop.run(line)


# --- which cells, on which stock -------------------------------------------------------------------


def test_a_sheet_picks_the_stock_by_form_and_prints_every_cell(shop: Bench, tmp_path: Path) -> None:
    """Three forms, three stocks, in one file; every code is read back."""
    out = tmp_path / "a.pdf"
    done = shop.do(f"label sheet --out {out}")
    assert (done["count"], done["stocks"]) == (5, ["plain-wrap", "plain-10", "plain-flat"])
    assert sorted(read_back(out)) == sorted(codes(shop))


def test_a_stock_that_does_not_fit_names_the_cell_and_those_that_do(shop: Bench, tmp_path: Path) -> None:
    """Nothing is written."""
    thin = codes(shop)[2]
    said = shop.refused(f"label sheet {thin} --stock plain-wrap --out {tmp_path / 'a.pdf'}", 2)
    assert thin in said and "plain-10" in said and not (tmp_path / "a.pdf").exists()


@pytest.mark.parametrize(
    ("choice", "wanted"),
    [
        ("--box drawer", [0, 1, 2]),
        ("--outcome discard", [4]),
        ("--purpose discard", [4]),
        ("--outcome hold", [0, 1, 2, 3]),
    ],
)
def test_cells_are_chosen_by_box_and_outcome(
    shop: Bench, tmp_path: Path, choice: str, wanted: list[int]
) -> None:
    """Without codes: those in the house that the choice leaves."""
    known = codes(shop)
    out = tmp_path / "a.pdf"
    shop.do(f"label sheet {choice} --out {out}")
    assert sorted(read_back(out)) == sorted(known[n] for n in wanted)


def test_cells_are_chosen_by_tear_down(shop: Bench, tmp_path: Path) -> None:
    """One more cell, that came out of the torch."""
    torch = shop.do("teardown list")[0]["code"]
    (cell,) = shop.do(f"cell add --form 18650 --chemistry nmc --teardown {torch}")
    shop.do(f"label sheet --teardown {torch} --out {tmp_path / 'a.pdf'}")
    assert read_back(tmp_path / "a.pdf") == [cell["code"]]


def test_everything_named_narrows_the_choice(shop: Bench, tmp_path: Path) -> None:
    """A code that lies in the box named is printed, one that does not is refused with what was named."""
    inside = shop.do("cell list --box drawer")[0]["code"]
    outside = next(
        code for code in codes(shop) if code not in {c["code"] for c in shop.do("cell list --box drawer")}
    )
    shop.do(f"label sheet {inside} {outside} --box drawer --out {tmp_path / 'a.pdf'}")
    assert read_back(tmp_path / "a.pdf") == [inside]
    refused = shop.run(f"label sheet {outside} --box drawer --out {tmp_path / 'b.pdf'}")
    assert refused.code == 2 and "no cell fits CODE and --box" in refused.err


REFUSED = (
    "--box attic|--teardown T-999|--stock none|--purpose build|--purpose wall|--copies 0|--start 0|--start 400"
    "|--scale 0.5|--link ftp://x|--printer desk|--outcome light --box drawer|--purpose box --link http://bench.lan"
    "|--purpose box --new|--purpose box --outcome pack|--purpose box --outcome discard|--purpose box H00001K"
    "|--purpose box --teardown T"
    "|--purpose box --box drawer --project x"
)


@pytest.mark.parametrize("line", REFUSED.split("|"))
def test_what_cannot_be_is_refused_and_nothing_is_written(shop: Bench, tmp_path: Path, line: str) -> None:
    """A box, tear-down, stock, purpose, number, scale, address or printer that is not there."""
    answer = shop.run(f"label sheet {line} --out {tmp_path / 'a.pdf'}")
    assert answer.code in (2, 3) and len(answer.err.splitlines()) <= 3, answer.err
    assert not list(tmp_path.glob("*.pdf"))


def test_copies_lie_side_by_side_and_a_begun_sheet_is_used_up(shop: Bench, tmp_path: Path) -> None:
    """Three copies of each of two, from the 64th of 65 places: two on the first page, four on the next."""
    first, second = codes(shop)[:2]
    out = tmp_path / "a.pdf"
    done = shop.do(f"label sheet {first} {second} --copies 3 --stock sticker-65 --start 64 --out {out}")
    assert done["count"] == 6
    document = pypdfium2.PdfDocument(out)
    assert len(document) == 2
    document.close()
    assert sorted(read_back(out)) == sorted([first, second] * 3)


def test_us_letter_paper_gets_the_letter_stocks(shop: Bench, tmp_path: Path) -> None:
    """Chosen by form as on A4."""
    done = shop.do(f"label sheet --page letter --out {tmp_path / 'a.pdf'}")
    assert done["stocks"] == ["plain-wrap-letter", "plain-10-letter", "plain-flat-letter"]


def test_box_labels_carry_kind_limit_and_count(shop: Bench, tmp_path: Path) -> None:
    """Of one box, or of all; no code, so nothing is remembered of cells."""
    done = shop.do(f"label sheet --purpose box --out {tmp_path / 'a.pdf'}")
    assert (done["count"], done["stocks"]) == (1, ["plain-box"])
    document = pypdfium2.PdfDocument(tmp_path / "a.pdf")
    text = document[0].get_textpage().get_text_bounded()
    document.close()
    assert "drawer" in text and "at most 100 Wh" in text and "3 cells" in text
    shop.refused(f"label sheet --purpose box --stock plain-wrap --out {tmp_path / 'b.pdf'}", 2)


def test_a_letter_that_the_face_lacks_is_named_and_printed_as_its_number(shop: Bench, tmp_path: Path) -> None:
    """On stderr with what to do; Latin and Cyrillic pass without a word."""
    shop.do("box add 容器")
    said = shop.run(f"label sheet --purpose box --box 容器 --out {tmp_path / 'a.pdf'}").err
    assert "容 U+5BB9 CJK UNIFIED IDEOGRAPH-5BB9" in " ".join(said.split())
    shop.do("box add 'Łódź Жук'")
    said = shop.run(f"label sheet --purpose box --box 'Łódź Жук' --out {tmp_path / 'b.pdf'}").err
    assert "U+" not in said


# --- what was printed ------------------------------------------------------------------------------


def test_new_prints_what_was_never_printed_or_says_something_else_since(shop: Bench, tmp_path: Path) -> None:
    """First all, then none, then the one that was condemned meanwhile; the same sheet twice is the same bytes."""
    first, again = tmp_path / "a.pdf", tmp_path / "b.pdf"
    assert shop.do(f"label sheet --new --out {first}")["count"] == 5
    assert shop.do(f"label sheet --new --out {again}") == {"files": [], "count": 0}
    assert not again.exists()
    changed = codes(shop)[0]
    shop.do(f"discard {changed} --because leaking")
    shop.do(f"label sheet --new --out {again}")
    assert read_back(again) == [changed]
    shop.do(f"label sheet --out {tmp_path / 'c.pdf'}")
    shop.do(f"label sheet --out {tmp_path / 'd.pdf'}")
    assert (tmp_path / "c.pdf").read_bytes() == (tmp_path / "d.pdf").read_bytes()


def test_a_printed_label_is_in_the_history_of_its_cell(shop: Bench, tmp_path: Path) -> None:
    """When, and what for."""
    code = codes(shop)[0]
    shop.do(f"label sheet {code} --purpose tiny --out {tmp_path / 'a.pdf'}")
    events = [event for event in shop.do(f"cell history {code}") if event["verb"] == "labels-printed"]
    assert [event["subject"] for event in events] == ["tiny"]


def test_a_printer_is_measured_once_and_known_by_its_name(shop: Bench, tmp_path: Path) -> None:
    """152.3 mm for 150 mm: drawn by 0.985 from then on; another measurement takes its place."""
    assert shop.do(f"label calibrate --out {tmp_path / 'page.pdf'}")["files"]
    assert shop.do("label calibrate --printer desk --measured 152.3mm")["scale"] == pytest.approx(
        150 / 152.3, abs=1e-4
    )
    code, named, typed = codes(shop)[0], tmp_path / "a.pdf", tmp_path / "b.pdf"
    shop.do("label calibrate --printer desk --scale 0.985")
    shop.do(f"label sheet {code} --printer desk --out {named}")
    shop.do(f"label sheet {code} --scale 0.985 --out {typed}")
    assert named.read_bytes() == typed.read_bytes()
    assert "desk" in shop.refused(f"label sheet {code} --printer attic --out {tmp_path / 'c.pdf'}", 3)
    for line in ("", "--printer desk", "--printer desk --measured 150mm --scale 1", "--measured 150mm"):
        shop.refused(f"label calibrate {line}", 2)
    shop.refused("label calibrate --printer desk --measured 200mm", 3)


# --- own stocks ------------------------------------------------------------------------------------


def test_own_stocks_lie_beside_the_store_or_where_the_variable_points(shop: Bench, tmp_path: Path) -> None:
    """They come first, so they are chosen; the faults of a broken file are all named."""
    folder = shop.store.parent / "labels"
    folder.mkdir()
    (folder / "mine.toml").write_text(OWN)
    code = codes(shop)[0]
    assert shop.do(f"label sheet {code} --out {tmp_path / 'a.pdf'}")["stocks"] == ["mine"]
    assert shop.do("label stocks")[0]["name"] == "mine"
    other = tmp_path / "other.toml"
    other.write_text(OWN.replace("[mine]", "[other]"))
    shop.env["STRAYCELL_LABELS"] = str(other)
    assert shop.do("label stocks")[0]["name"] == "other"
    other.write_text(
        OWN.replace("module_mm = 0.44", "module_mm = 0.2\nhue = 1").replace(
            "height_mm = 18", 'height_mm = "x"'
        )
    )
    refused = shop.run("label stocks --json")
    assert refused.code == 3 and "2 faults" in refused.err
    faults = refused.json["faults"]
    assert [fault.split(": ")[2] for fault in faults] == ["hue", "height_mm"]
    assert "hue" in shop.refused(f"label sheet {code} --out {tmp_path / 'b.pdf'}", 3)
    shop.env["STRAYCELL_LABELS"] = str(tmp_path / "none.toml")
    assert "none.toml" in shop.refused("label stocks", 3)


# --- reading back ----------------------------------------------------------------------------------


def picture_of(sheet: Path, out: Path) -> Path:
    """The sheet's first page as a scanner sees it."""
    document = pypdfium2.PdfDocument(sheet)
    document[0].render(scale=300 / 72, grayscale=True).to_pil().save(out)
    document.close()
    return out


@pytest.mark.parametrize("link", ["", "--link http://b.lan", "--link https://B.LAN:8000"])
def test_a_scan_gives_the_codes_and_with_cells_the_stores_answer(
    shop: Bench, tmp_path: Path, link: str
) -> None:
    """Bare codes and addresses alike; a code of another store is said to be one."""
    first, second = codes(shop)[:2]
    shop.do(f"label sheet {first} {second} {link} --out {tmp_path / 'a.pdf'}")
    scan = picture_of(tmp_path / "a.pdf", tmp_path / "scan.png")
    assert shop.do(f"label read {scan}") == sorted([first, second])
    answers = shop.do(f"label read {scan} --cells --out {tmp_path / 'found.png'}")
    assert [(a["code"], a["known"], a["outcome"], a["box"]) for a in answers] == [
        (code, True, "hold", "drawer") for code in sorted([first, second])
    ]
    with Image.open(tmp_path / "found.png") as marked, Image.open(scan) as plain:
        assert marked.size == plain.size
        assert b"\x00\x6e\x00" in marked.convert("RGB").tobytes(), "every symbol has its frame"


def test_a_withdrawn_cell_is_known_and_called_so(
    shop: Bench, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Its label may still be on something: read, it is no stranger, and in a box it is not expected."""
    code = codes(shop)[0]
    shop.do(f"label single {code} --dpi 300 --out {tmp_path / 'one.png'}")
    shop.do(f"cell withdraw {code} --because 'label without a cell'")
    (answer,) = shop.do(f"label read {tmp_path / 'one.png'} --cells")
    assert (answer["known"], answer["stage"], answer["set_aside"]) == (True, "withdrawn", False)
    assert f"{code}  withdrawn" in shop.run(f"label read {tmp_path / 'one.png'} --cells").out
    found = type_in(shop, monkeypatch, "scan --check drawer --json", code).json
    assert found["not_expected"] == [{"code": code, "box": None}] and found["not_known"] == []


def test_several_pictures_are_read_as_one_and_a_foreign_symbol_is_named(shop: Bench, tmp_path: Path) -> None:
    """A parcel's code beside a label: the code of the cell on stdout, the foreign one on stderr."""
    code = codes(shop)[0]
    shop.do(f"label single {code} --dpi 300 --out {tmp_path / 'one.png'}")
    qrcode.make("parcel 4711").get_image().save(tmp_path / "parcel.png")
    answer = shop.run(f"label read {tmp_path / 'one.png'} {tmp_path / 'parcel.png'} --json")
    assert (answer.code, answer.json) == (0, [code])
    assert "foreign" in answer.err and "parcel 4711" in answer.err
    assert "foreign" in shop.refused(f"label read {tmp_path / 'parcel.png'}", 3)


# --- scan ------------------------------------------------------------------------------------------


def test_an_inventory_says_here_missing_and_not_expected(
    shop: Bench, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Scanned: one of three, a cell of no box, a stranger's code, rubbish. Nothing is changed by it."""
    first, second, thin, pouch, _ = codes(shop)
    before = shop.store.read_bytes()
    answer = type_in(
        shop,
        monkeypatch,
        "scan --check drawer --json",
        first,
        f"http://b.lan/{pouch}",
        STRANGER,
        "rubbish",
        first,
        "",
        thin,
    )
    assert answer.code == 0 and answer.json == {
        "box": "drawer",
        "here": [first],
        "missing": sorted([second, thin]),
        "not_expected": [{"code": pouch, "box": None}],
        "not_known": [STRANGER],
        "agrees": False,
    }
    assert "rubbish" in answer.err
    assert shop.store.read_bytes() == before


def test_scanned_cells_move_print_and_leave(
    shop: Bench, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    """Moved one by one, printed on one sheet, taken into a hand-over; what cannot be is named and the rest goes on."""
    first, _, _, pouch, bad = codes(shop)
    shop.do("box add shelf")
    moved = type_in(shop, monkeypatch, "scan --move shelf --json", first, "A99999", pouch)
    assert moved.json == {"box": "shelf", "moved": [first, pouch]} and "not taken" in moved.err
    assert {cell["code"] for cell in shop.do("cell list --box shelf")} == {first, pouch}
    out = tmp_path / "a.pdf"
    printed = type_in(shop, monkeypatch, f"scan --print {out} --json", pouch, first, pouch)
    assert printed.json["count"] == 2 and sorted(read_back(out)) == sorted([first, pouch])
    left = type_in(shop, monkeypatch, "scan --handover depot --json", bad, first)
    assert left.json == {"place": "depot", "handover": "A-1", "taken": [bad]} and "not condemned" in left.err


def test_a_scan_without_an_option_says_what_each_is(shop: Bench, monkeypatch: pytest.MonkeyPatch) -> None:
    """At once on stderr, at the end as data."""
    first = codes(shop)[0]
    answer = type_in(shop, monkeypatch, "scan --json", first, STRANGER)
    assert [(a["code"], a["known"]) for a in answer.json] == [(first, True), (STRANGER, False)]
    assert f"{first}  hold  nmc 18650" in answer.err


@pytest.mark.parametrize(
    ("stream", "code"),
    [
        (None, 2),  # closed: scan <&-
        (io.TextIOWrapper(io.FileIO(os.open(os.devnull, os.O_WRONLY), "w")), 2),
        (io.TextIOWrapper(io.BytesIO(b"\xff\xfe\n"), encoding="utf-8"), 3),
    ],
    ids=["closed", "not readable", "not text"],
)
def test_a_scan_whose_input_cannot_be_read_is_refused(
    shop: Bench, monkeypatch: pytest.MonkeyPatch, stream: io.TextIOBase | None, code: int
) -> None:
    """With what to do instead, and nothing is moved."""
    monkeypatch.setattr("sys.stdin", stream)
    before = shop.store.read_bytes()
    assert "scan" in shop.refused("scan --move drawer", code)
    assert shop.store.read_bytes() == before


def test_a_file_that_cannot_take_the_labels_is_refused_before_the_first_scan(
    shop: Bench, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    """A folder, one that does not exist, another kind of file: nothing is read, nothing is left beside it."""
    (other := tmp_path / "notes.pdf").write_bytes(b"my notes")
    for target in (tmp_path, tmp_path / "nowhere" / "a.pdf", other):
        answer = type_in(shop, monkeypatch, f"scan --print {target}", codes(shop)[0])
        assert answer.code == 3 and sys.stdin.read().strip() == codes(shop)[0]
    assert list(tmp_path.glob("*.pdf*")) == [other] and other.read_bytes() == b"my notes"


def test_a_scan_does_one_thing_at_a_time_and_needs_its_box(
    shop: Bench, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Two options are wrong usage, a box that is not there is named; no scan prints nothing."""
    for line, code in (
        ("scan --check drawer --move drawer", 2),
        ("scan --check attic", 3),
        ("scan --move attic", 3),
    ):
        answer = type_in(shop, monkeypatch, line, "")
        assert answer.code == code and answer.out == ""
    assert type_in(shop, monkeypatch, "scan --print x.pdf", "").code == 2
