"""A photograph of a dent, taken with the phone: on the cell's page, and nowhere for a stranger."""

from __future__ import annotations

import errno
from pathlib import Path

import pytest
from tests.cli.bench import Bench
from tests.store.book.test_photographs import picture
from tests.web.rig import Page, fields_of, text_of

from straycell.store.photograph_files import folder_of


def send(page: Page, code: str, file: Path, **said: str) -> str:
    """The words of the page that comes after sending one."""
    path = f"/cell/{code}/photograph"
    filled = {**fields_of(page.get(path).text), **said}
    filled.pop("photo", None)
    answer = page.client.post(path, data=filled, files={"photo": ("../../dent.jpg", file.read_bytes())})
    return text_of(answer.text)


def test_a_photograph_is_kept_and_shown_on_the_page_of_its_cell(
    page: Page, bench: Bench, code: str, tmp_path: Path
) -> None:
    """As an own address that a stranger does not get; the camera's own name of it is never used."""
    assert "A photograph is kept with" in send(page, code, picture(tmp_path / "dent.jpg"))
    (kept,) = bench.do(f"cell show {code}")["photographs"]
    address = f"/photograph/{kept['sha256']}.jpg"
    assert f'src="{address}"' in page.get(f"/cell/{code}").text
    shown = page.get(address)
    assert shown.headers["content-type"] == "image/jpeg" and len(shown.content) == kept["bytes"]
    assert page.fresh_client().get(address, follow_redirects=False).status_code == 303
    assert [each.name for each in folder_of(bench.store).iterdir()] == [f"{kept['sha256']}.jpg"]


def test_a_photograph_sent_again_is_kept_once(page: Page, bench: Bench, code: str, tmp_path: Path) -> None:
    """The same form, as after a lost answer, and a new form with the same picture."""
    file, key = picture(tmp_path / "dent.jpg"), "k" * 16
    send(page, code, file, key=key)
    assert "recorded for" in send(page, code, file, key=key)
    assert "already" in send(page, code, file)
    assert len(bench.do(f"cell show {code}")["photographs"]) == 1


def test_what_is_no_photograph_is_refused_with_its_form(page: Page, code: str, tmp_path: Path) -> None:
    """Nothing of where the bench put it is shown."""
    (tmp_path / "text.jpg").write_text("no picture")
    words = send(page, code, tmp_path / "text.jpg")
    assert "the photograph is not a picture that can be read" in words and "/tmp" not in words
    assert page.send(f"/cell/{code}/photograph").status_code == 422


def test_no_address_leads_out_of_the_folder(page: Page, bench: Bench, code: str, tmp_path: Path) -> None:
    """A file that no record names is not shown, whatever it is called."""
    send(page, code, picture(tmp_path / "dent.jpg"))
    stray = folder_of(bench.store) / f"{'a' * 64}.jpg"
    stray.write_bytes(b"\xff\xd8\xff")
    for name in ("a" * 64, "..%2fbench.sqlite", "..%2f..%2fetc%2fpasswd%00", "0" * 63):
        assert page.get(f"/photograph/{name}.jpg").status_code == 404


def test_a_full_disk_is_said_and_the_same_photograph_is_taken_afterwards(
    page: Page, bench: Bench, code: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A fault of the bench and not of the photograph, so that a page that keeps it sends it again; no path is shown."""
    file, path = picture(tmp_path / "dent.jpg"), f"/cell/{code}/photograph"
    filled = fields_of(page.get(path).text)
    filled.pop("photo")

    def full(handle: int) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    with monkeypatch.context() as patched:
        patched.setattr("straycell.store.photograph_files.os.fsync", full)
        answer = page.client.post(path, data=filled, files={"photo": ("a", file.read_bytes())})
        assert (
            answer.status_code == 503 and "No space left" in answer.text and str(tmp_path) not in answer.text
        )
    # Meanwhile somebody measured it: a photograph is true all the same.
    bench.do(f"reading add {code} --mass 45g")
    page.client.post(path, data=filled, files={"photo": ("a", file.read_bytes())})
    assert len(bench.do(f"cell show {code}")["photographs"]) == 1
