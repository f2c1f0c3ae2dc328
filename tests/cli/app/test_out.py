"""`--out` of every command destroys nothing, and a code that is printed is known to the store."""

from __future__ import annotations

import os
import re
from pathlib import Path

import pytest
from tests.cli.bench import Bench

from straycell.errors import BadData
from straycell.files.write import Part

WRITERS = """
label sheet --out {out}
label single {code} --out {out}
label blank --count 3 --out {out}
due --ics {out}
runtime {code} --current 0.1A --until 3.0V --out {out}
handover show 1 --out {out}
"""


@pytest.fixture
def shop(bench: Bench) -> Bench:
    """A cell with a capacity, one that is condemned and waits in a hand-over."""
    bench.prepare("cell add --form 18650 --chemistry nmc --rated-capacity 2600mAh --count 2")
    codes = [cell["code"] for cell in bench.prepare("cell list")]
    bench.prepare(f"reading add {codes[0]} --capacity 2400mAh --discharge-current 0.5A --cutoff 2.75V")
    bench.prepare(f"discard {codes[1]} --because swollen --yes")
    bench.prepare("handover add depot")
    return bench


@pytest.mark.parametrize("line", WRITERS.strip().splitlines())
def test_no_command_writes_over_the_store_or_a_stranger(shop: Bench, line: str) -> None:
    """The store, its journal, another kind of file, a pipe, a folder."""
    folder = shop.store.parent
    code = shop.do("cell list")[0]["code"]
    (folder / "notes.txt").write_text("mine")
    os.mkfifo(folder / "pipe")
    before = shop.store.read_bytes()
    for name in ("bench.sqlite", "bench.sqlite-journal", "notes.txt", "pipe", "."):
        said = shop.refused(line.format(out=folder / name, code=code), 3)
        assert re.search("belongs to the store|is there already|a device or a pipe|is a folder", said), said
    assert shop.store.read_bytes() == before
    assert (folder / "notes.txt").read_text() == "mine"
    assert sorted(path.name for path in folder.iterdir()) == ["bench.sqlite", "notes.txt", "pipe"]
    done = shop.run([*line.format(out=folder / "notes.txt", code=code).split(), "--force"])
    assert done.code == 0, done.err
    assert (folder / "notes.txt").read_bytes()[:4] in (b"%PDF", b"\x89PNG", b"BEGI")


def blanks(bench: Bench) -> set[str]:
    """Codes that are set aside, as the shell's completion offers them."""
    found = bench.run(["completion", "words", "--", "cell", "add", "--code", ""]).out.split()
    return set(found)


def test_a_sheet_that_is_refused_sets_no_codes_aside(shop: Bench) -> None:
    """The transaction ends with it."""
    shop.refused(f"label blank --count 3 --out {shop.store.parent}", 3)
    first = shop.do(f"label blank --count 1 --out {shop.store.parent / 'a.pdf'}")["codes"]
    assert blanks(shop) == set(first)


def test_codes_whose_sheet_found_no_place_are_named_and_not_given_again(
    shop: Bench, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The rename fails after the commit."""
    out = shop.store.with_name("a.pdf")
    with monkeypatch.context() as broken:

        def fail(self: Part) -> None:
            raise BadData(f"{self.target} cannot be written: disk gone", "check the folder")

        broken.setattr(Part, "place", fail)
        said = shop.refused(f"label blank --count 3 --out {out}", 3)
    lost = blanks(shop)
    assert len(lost) == 3 and {min(lost), max(lost)} <= set(said.split()) and "not handed out again" in said
    assert not out.exists()
    again = shop.do(f"label blank --count 3 --out {out}")["codes"]
    assert not lost & set(again) and out.exists()


def test_no_sheet_shows_codes_before_the_store_has_them(shop: Bench, monkeypatch: pytest.MonkeyPatch) -> None:
    """When the sheet takes its place, another reader finds its codes set aside."""
    seen: list[set[str]] = []
    real = Part.place

    def place(self: Part) -> None:
        if self.target.suffix == ".pdf":
            seen.append(blanks(shop))
        real(self)

    monkeypatch.setattr(Part, "place", place)
    codes = shop.do(f"label blank --count 2 --out {shop.store.with_name('a.pdf')}")["codes"]
    assert seen == [set(codes)]


def test_a_link_to_a_sheet_is_followed(shop: Bench, tmp_path: Path) -> None:
    """The link stays one."""
    real, link = tmp_path / "real.pdf", tmp_path / "link.pdf"
    real.write_bytes(b"%PDF old")
    link.symlink_to(real)
    shop.do(f"label sheet --out {link}")
    assert link.is_symlink() and real.read_bytes().startswith(b"%PDF-")
    assert len(real.read_bytes()) > 1000
