"""Photographs kept with a cell: scaled, stripped, named in the store, and along wherever the store goes."""

from __future__ import annotations

import errno
import hashlib
import io
import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from PIL import Image
from tests.cli.bench import Bench

from straycell.errors import BadData
from straycell.labels.picture import LONGEST_PX, small_photograph
from straycell.store.photograph_files import MOST_BYTES, bring, file_of, folder_of, keep, read

PLACE = "52.000000N-secret-place"


def picture(path: Path, *, size: tuple[int, int] = (2400, 1800), grey: int = 90, **more: Any) -> Path:
    """A camera's picture: its left half dark, with a place and a device written beside the pixels."""
    made = Image.new("RGB", size, (220, 220, 220))
    made.paste((grey, 20, 20), (0, 0, size[0] // 2, size[1]))
    exif = Image.Exif()
    exif[0x010F], exif[0x9286] = "Secret Camera", PLACE
    exif.get_ifd(0x8825)[2] = (52.0, 0.0, 0.0)
    made.save(path, exif=exif, comment=PLACE.encode(), icc_profile=PLACE.encode() * 4, **more)
    return path


@pytest.fixture
def bench(tmp_path: Path) -> Bench:
    """A store with one cell."""
    made = Bench(tmp_path / "bench.sqlite")
    made.prepare("cell add --form 18650 --chemistry nmc")
    return made


@pytest.fixture
def code(bench: Bench) -> str:
    found: str = bench.do("cell list")[0]["code"]
    return found


@pytest.fixture
def kept(bench: Bench, code: str, tmp_path: Path) -> Any:
    """One photograph in the store; the camera's own file is gone."""
    file = picture(tmp_path / "dent.jpg")
    document = bench.do(f"cell photo {code} {file}")
    file.unlink()
    return document


def test_a_photograph_is_scaled_and_holds_nothing_that_the_camera_added(kept: Any) -> None:
    """Place, device, comment and profile are gone; the picture is there, under its own hash, for its owner alone."""
    raw = Path(kept["file"]).read_bytes()
    assert hashlib.sha256(raw).hexdigest() == kept["sha256"] and len(raw) == kept["bytes"]
    assert b"secret" not in raw.lower() and b"Exif" not in raw and b"ICC_PROFILE" not in raw
    with Image.open(io.BytesIO(raw)) as shown:
        assert shown.format == "JPEG" and shown.size == (LONGEST_PX, LONGEST_PX * 3 // 4)
        assert shown.getpixel((10, 10))[0] < 120 < shown.getpixel((1500, 10))[0]  # type: ignore[index]
    assert Path(kept["file"]).stat().st_mode & 0o777 == 0o600
    assert Path(kept["file"]).parent.stat().st_mode & 0o777 == 0o700


@pytest.mark.parametrize("turn", [1, 3, 6, 8])
def test_it_is_upright_however_the_phone_was_held(tmp_path: Path, turn: int) -> None:
    """What the camera noted of how it was held (Exif 2.32, orientation) is done to the pixels before it is dropped."""
    exif = Image.Exif()
    exif[0x0112] = turn
    made = Image.new("RGB", (400, 200), "white")
    made.paste("black", (0, 0, 100, 100))
    made.save(tmp_path / "held.jpg", exif=exif)
    with Image.open(io.BytesIO(small_photograph(tmp_path / "held.jpg"))) as shown:
        width, height = shown.size
        dark = {1: (0, 0), 3: (1, 1), 6: (1, 0), 8: (0, 1)}[turn]
        spot = (20 + dark[0] * (width - 40), 20 + dark[1] * (height - 40))
        assert shown.size == ((400, 200) if turn in (1, 3) else (200, 400))
        assert shown.convert("L").getpixel(spot) < 60  # type: ignore[operator]


def test_a_clear_picture_lies_on_white_and_a_small_one_stays_small(tmp_path: Path) -> None:
    """JPEG knows no clear pixels: black would hide what was photographed."""
    Image.new("RGBA", (40, 30), (0, 0, 0, 0)).save(tmp_path / "clear.png")
    with Image.open(io.BytesIO(small_photograph(tmp_path / "clear.png"))) as shown:
        assert shown.size == (40, 30) and min(shown.convert("L").getextrema()) > 250  # type: ignore[operator]


def broken(folder: Path) -> Iterator[tuple[str, str]]:
    """A file and the words of its fault."""
    whole = picture(folder / "whole.jpg").read_bytes()
    (folder / "cut.jpg").write_bytes(whole[: len(whole) // 2])
    (folder / "text.jpg").write_text("no picture")
    (folder / "paper.jpg").write_bytes(b"%PDF-1.7")
    (folder / "empty.jpg").touch()
    # 90,000,001 pixels announced in 33 bytes of header: refused before anything is unpacked.
    (folder / "bomb.png").write_bytes(
        b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR\0\x01_\x90\0\0\x03\xe9\x08\x02\0\0\0\xa0\xa0\xa0\xa0"
    )
    yield from (("cut.jpg", "not a picture"), ("text.jpg", "not a picture"), ("paper.jpg", "a PDF"))
    yield from (("empty.jpg", "empty.jpg"), ("bomb.png", "bomb.png"), ("absent.jpg", "absent.jpg"))


def test_what_is_no_picture_is_refused_and_nothing_is_kept(bench: Bench, code: str, tmp_path: Path) -> None:
    """Each kind of bad file: what, which one; no record, no folder."""
    before = bench.store.read_bytes()
    for name, words in broken(tmp_path):
        answer = bench.run(f"cell photo {code} {tmp_path / name}")
        assert answer.code == 3 and words in answer.err, answer
    assert bench.store.read_bytes() == before and not folder_of(bench.store).exists()


def test_it_is_shown_with_its_cell_and_in_its_history(kept: Any, bench: Bench, code: str) -> None:
    """And it decides nothing."""
    shown = bench.do(f"cell show {code}")
    assert [each["sha256"] for each in shown["photographs"]] == [kept["sha256"]]
    assert Path(kept["file"]).name in "".join(bench.run(f"cell show {code}").out.split())
    assert "photograph-added" in [event["verb"] for event in bench.do(f"cell history {code}")]
    assert shown["outcome"] == "hold" and bench.do("store check")["ok"]


def test_the_same_photograph_is_kept_once(kept: Any, bench: Bench, code: str, tmp_path: Path) -> None:
    """A second sending is refused by what is in it, whatever the file is called."""
    answer = bench.run(f"cell photo {code} {picture(tmp_path / 'other.jpg')}")
    assert answer.code == 3 and "already" in answer.err
    assert len(bench.do(f"cell show {code}")["photographs"]) == 1


def test_a_missing_or_changed_file_is_a_fault_of_the_store(kept: Any, bench: Bench, code: str) -> None:
    """The check names the cell and the photograph; the cell's page goes on."""
    file = Path(kept["file"])
    file.write_bytes(file.read_bytes() + b"x")
    assert f"{code}: the file of photograph {kept['sha256'][:12]} was changed" in (
        bench.run("store check").out
    )
    file.unlink()
    answer = bench.run("store check")
    assert answer.code == 1 and "is missing" in answer.out
    assert bench.run(f"cell show {code}").code == 0


def test_a_backup_holds_it_and_a_restore_brings_it_back(kept: Any, bench: Bench, tmp_path: Path) -> None:
    """Also when store and folder are gone."""
    copy = tmp_path / "copy.sqlite"
    bench.do(f"store backup {copy}")
    bench.store.unlink()
    shutil.rmtree(folder_of(bench.store))
    bench.do(f"store restore {copy} --yes")
    assert Path(kept["file"]).is_file() and bench.do("store check")["ok"]


@pytest.mark.parametrize("links", [True, False], ids=["links", "no links"])
def test_a_replaced_store_keeps_its_photographs_wherever_it_goes(
    kept: Any, bench: Bench, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, links: bool
) -> None:
    """Taken after the backup, unknown to it: the set-aside store is whole, also where it is moved and the folder is not."""
    if not links:
        monkeypatch.setattr(Path, "hardlink_to", _no_links)
    copy = tmp_path / "copy.sqlite"
    bench.do(f"store backup {copy}")
    code = bench.do("cell list")[0]["code"]
    later = bench.do(f"cell photo {code} {picture(tmp_path / 'later.jpg', grey=200)}")
    bench.do(f"store restore {copy} --yes")
    aside = bench.store.with_name(f"{bench.store.name}.replaced-1")
    moved = tmp_path / "elsewhere"
    moved.mkdir()
    aside.rename(moved / "was.sqlite")
    folder_of(aside).rename(folder_of(moved / "was.sqlite"))
    shutil.rmtree(folder_of(bench.store))
    was = Bench(moved / "was.sqlite", now=bench.now)
    assert was.do("store check")["ok"]
    assert {each["sha256"] for each in was.do(f"cell show {code}")["photographs"]} >= {later["sha256"]}
    bench.do(f"store restore {was.store} --yes")
    assert bench.do("store check")["ok"] and len(list(folder_of(bench.store).glob("*.jpg"))) == 2


def _no_links(self: Path, target: Path) -> None:
    raise OSError(errno.EPERM, "no links here")


def test_a_merge_brings_the_other_benchs_photographs(
    kept: Any, bench: Bench, code: str, tmp_path: Path
) -> None:
    """Once, and the same one kept on both benches is shown once; a missing file is named and stops nothing."""
    other = Bench(tmp_path / "other.sqlite")
    other.do("store init --bench B")
    (second,) = other.do("cell add --form 18650 --chemistry nmc")
    there = other.do(f"cell photo {second['code']} {picture(tmp_path / 'rust.jpg', grey=30)}")
    lost = other.do(f"cell photo {second['code']} {picture(tmp_path / 'more.jpg', grey=10)}")
    Path(lost["file"]).unlink()
    merged = bench.do(f"store merge {other.store}")
    assert [note for note in merged["notes"] if "missing" in note and lost["sha256"][:12] in note]
    shown = bench.do(f"cell show {second['code']}")["photographs"]
    assert [each["sha256"] for each in shown] == [there["sha256"], lost["sha256"]]
    assert file_of(folder_of(bench.store), there["sha256"]).read_bytes() == Path(there["file"]).read_bytes()
    other.do(f"store merge {bench.store}")
    assert other.do(f"cell show {code}")["photographs"][0]["sha256"] == kept["sha256"]
    assert bench.do(f"store merge {other.store}")["events"] == 0


def test_an_export_holds_it_and_an_import_of_its_cells_takes_it(
    kept: Any, bench: Bench, code: str, tmp_path: Path
) -> None:
    """The list names it by its hash, the file lies in a folder beside; the moment is the one it was kept at."""
    bench.do(f"export {tmp_path / 'out'}")
    fresh = Bench(tmp_path / "fresh.sqlite", now="2026-04-01T09:00:00+00:00")
    fresh.do(f"import cells {tmp_path / 'out' / 'cells.csv'}")
    (shown,) = fresh.do(f"cell show {code}")["photographs"]
    assert (shown["sha256"], shown["at"]) == (kept["sha256"], kept["at"])
    assert fresh.do("store check")["ok"]


@pytest.mark.parametrize("name", ["../../bench.sqlite", "/etc/hostname", "0" * 63, ""])
def test_an_import_takes_no_path_for_a_photograph(kept: Any, bench: Bench, tmp_path: Path, name: str) -> None:
    """What stands in the list is a hash or refused: all of the import, as any bad line."""
    bench.do(f"export {tmp_path / 'out'}")
    listed = tmp_path / "out" / "photographs.csv"
    listed.write_text(listed.read_text().replace(kept["sha256"], name))
    fresh = Bench(tmp_path / "fresh.sqlite")
    answer = fresh.run(f"import cells {tmp_path / 'out' / 'cells.csv'}")
    assert answer.code == 3 and not folder_of(fresh.store).exists()
    assert fresh.do("cell list") == []


def test_a_salvaged_store_has_the_photographs_of_the_damaged_one(
    kept: Any, bench: Bench, tmp_path: Path
) -> None:
    """They lie beside it, undamaged."""
    raw = bytearray(bench.store.read_bytes())
    raw[-200:] = bytes(200)
    bench.store.write_bytes(raw)
    bench.do(f"store salvage {bench.store} {tmp_path / 'new.sqlite'}")
    assert file_of(folder_of(tmp_path / "new.sqlite"), kept["sha256"]).is_file()


def test_a_full_disk_leaves_no_record_and_no_half_file(
    bench: Bench, code: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The file comes first, so that a record without one cannot be."""
    before = bench.store.read_bytes()

    def full(handle: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("straycell.store.photograph_files.os.fsync", full)
    answer = bench.run(f"cell photo {code} {picture(tmp_path / 'dent.jpg')}")
    assert answer.code == 4 and "No space left on device" in answer.err
    assert bench.store.read_bytes() == before and not list(folder_of(bench.store).iterdir())


def test_only_a_photograph_within_bounds_goes_into_the_folder(tmp_path: Path) -> None:
    """At the bound, beyond it, and what is no JPEG."""
    head = b"\xff\xd8\xff"
    name = keep(tmp_path / "in", head + bytes(MOST_BYTES - 3))
    assert read(tmp_path / "in", name)[:3] == head
    assert bring(tmp_path / "in", tmp_path / "out") == [] and read(tmp_path / "out", name)[:3] == head
    for content in (head + bytes(MOST_BYTES - 2), b"GIF89a", b""):
        with pytest.raises(BadData):
            keep(tmp_path / "in", content)
    assert len(list((tmp_path / "in").iterdir())) == 1
