"""Codes back from pictures, as `label read` gets them."""

import sys
from pathlib import Path

import pytest
import qrcode
from PIL import Image, ImageFilter
from tests.labels.label_bench import CODES, a_label, blanks_of, find_stock, pages, png, sheet_of

from straycell.acceptance.reasons import Outcome
from straycell.errors import BadData, UsageFault
from straycell.labels.picture import single_png
from straycell.labels.reading import Found, is_ghost, read_codes

ROLL = find_stock("roll-50x20")


def saved(picture: Image.Image, folder: Path, name: str = "photo.png") -> Path:
    path = folder / name
    picture.save(path)
    return path


def test_a_label_made_here_is_read(tmp_path: Path) -> None:
    """From the file as written."""
    path = tmp_path / "label.png"
    path.write_bytes(single_png(a_label(Outcome.PACK), 203, ROLL))
    assert read_codes(path) == [CODES[0]]
    assert read_codes(str(path)) == [CODES[0]]


def test_a_scanned_sheet_gives_every_code_once_and_sorted(tmp_path: Path) -> None:
    """A page with one label printed twice."""
    (page,) = pages(blanks_of([*reversed(CODES[:20]), CODES[3]], find_stock("plain-wrap")), 200)
    assert read_codes(saved(page, tmp_path)) == sorted(CODES[:20])


@pytest.mark.parametrize("degrees", [0, 7, 90, 180, 200])
def test_a_photograph_that_is_turned_blurred_and_grey_is_read(tmp_path: Path, degrees: int) -> None:
    """A bench photograph: turned, soft, of low contrast, saved as JPEG."""
    label = (
        png(single_png(a_label(Outcome.SOLO), 300, ROLL))
        .convert("L")
        .point(lambda level: 60 + level * 120 // 255)
    )
    photo = Image.new("L", (900, 900), 150)
    photo.paste(label, (150, 330))
    photo = photo.rotate(degrees, fillcolor=150).filter(ImageFilter.GaussianBlur(1.2))
    assert read_codes(saved(photo, tmp_path, "photo.jpg")) == [CODES[0]]


@pytest.mark.parametrize("modules", [1, 2])
def test_a_scratched_label_is_read(tmp_path: Path, modules: int) -> None:
    """Level H restores up to 30 % of the code words: a scratch down the whole symbol does not stop it."""
    label = png(single_png(a_label(Outcome.SOLO), 300, ROLL)).convert("L")
    left, dots = 36 + 11 * 6, 6
    label.paste(255, (left, 0, left + modules * dots, label.height))
    assert read_codes(saved(label, tmp_path)) == [CODES[0]]


def test_a_picture_without_a_symbol_says_what_to_do(tmp_path: Path) -> None:
    """White paper."""
    with pytest.raises(BadData, match="no QR symbol") as fault:
        read_codes(saved(Image.new("L", (200, 200), 255), tmp_path))
    assert fault.value.remedy


def test_a_foreign_symbol_is_named_as_such(tmp_path: Path) -> None:
    """Somebody else's QR code, however long, is no cell."""
    symbol = qrcode.make("a parcel's number " + "9" * 90).get_image()
    with pytest.raises(BadData, match="is foreign, not a cell"):
        read_codes(saved(symbol, tmp_path))


def test_a_foreign_symbol_beside_ours_is_passed_over(tmp_path: Path) -> None:
    """Only cell codes come back."""
    picture = Image.new("L", (1200, 600), 255)
    picture.paste(png(single_png(a_label(Outcome.PACK), 300, ROLL)).convert("L"), (0, 0))
    picture.paste(qrcode.make("hello").get_image().convert("L"), (700, 50))
    assert read_codes(saved(picture, tmp_path)) == [CODES[0]]


def test_a_misread_code_is_refused_not_taken_for_another_cell(tmp_path: Path) -> None:
    """A symbol whose text has a wrong check character."""
    wrong = CODES[0][:-1] + ("A" if CODES[0][-1] != "A" else "B")
    with pytest.raises(BadData, match=wrong):
        read_codes(saved(qrcode.make(wrong).get_image(), tmp_path))


@pytest.mark.parametrize("data", [b"", b"\x89PNG\r\n\x1a\n", b"%PDF-1.4\n", b"not a picture" * 50])
def test_a_file_that_is_no_picture_is_refused(tmp_path: Path, data: bytes) -> None:
    """Empty, cut off, a PDF, a text."""
    path = tmp_path / "odd.png"
    path.write_bytes(data)
    with pytest.raises(BadData) as fault:
        read_codes(path)
    assert str(path) in fault.value.what
    assert fault.value.remedy


def test_a_picture_cut_off_half_way_is_refused(tmp_path: Path) -> None:
    """A download that broke off."""
    whole = single_png(a_label(Outcome.PACK), 300, ROLL)
    path = tmp_path / "half.png"
    path.write_bytes(whole[: len(whole) // 2])
    with pytest.raises(BadData):
        read_codes(path)


def test_a_missing_file_and_a_folder_are_refused(tmp_path: Path) -> None:
    """Each with a word on what to do."""
    for path in (tmp_path / "none.png", tmp_path):
        with pytest.raises(BadData) as fault:
            read_codes(path)
        assert fault.value.remedy


def test_a_pdf_is_to_be_made_a_picture_first(tmp_path: Path) -> None:
    """The sheet that straycell itself wrote, whatever the file is called."""
    path = tmp_path / "sheet.png"
    path.write_bytes(sheet_of([a_label(Outcome.PACK)], find_stock("plain-wrap")))
    with pytest.raises(BadData, match="is a PDF") as fault:
        read_codes(path)
    assert "make a picture of the page first" in fault.value.remedy


def test_without_the_reader_the_remedy_names_what_to_install(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """An installation without zxing-cpp is broken, but must not end in a traceback; no extra is named."""
    monkeypatch.setitem(sys.modules, "zxingcpp", None)
    with pytest.raises(UsageFault) as fault:
        read_codes(tmp_path / "any.png")
    assert "zxing-cpp" in fault.value.what
    assert "pip install zxing-cpp" in fault.value.remedy and "[" not in fault.value.remedy


@pytest.mark.parametrize(
    ("broken", "corners", "ghost"),
    [
        (True, ((0, 0), (200, 0), (200, 18), (0, 18)), True),  # a row of letters taken for finders
        (True, ((0, 0), (200, 0), (400, 130), (200, 130)), True),  # leaning, as no symbol does
        (True, ((0, 0), (200, 0), (200, 170), (0, 170)), False),  # seen at a slant of 30 degrees
        (True, ((0, 0),) * 4, False),  # the reader gives no place
        (False, ((0, 0), (200, 0), (200, 18), (0, 18)), False),  # what was read is a symbol
    ],
)
def test_what_is_far_from_square_and_not_read_is_no_symbol(
    broken: bool, corners: tuple[tuple[int, int], ...], ghost: bool
) -> None:
    """A symbol is square; neither a slant nor a cell's round takes four tenths of it away."""
    a, b, c, d = corners
    assert is_ghost(Found("", None, broken, (a, b, c, d))) is ghost
