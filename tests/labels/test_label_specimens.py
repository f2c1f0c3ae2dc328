"""The specimens in labels/ show what the package prints now."""

import runpy
from pathlib import Path

import pytest
from tests.labels.label_bench import codes_in, pages, png

from straycell.labels.content import Purpose
from straycell.labels.reading import read_codes
from straycell.labels.stocks.files import shipped
from straycell.labels.stocks.stock import Where

FOLDER = Path(__file__).parents[2] / "labels"


SINGLE = sorted(FOLDER.glob("single-*.png"))
SHEETS = sorted(FOLDER.glob("stock-*.pdf")) + [
    FOLDER / f"{name}.pdf" for name in ("purpose-blank", "purpose-build")
]


@pytest.mark.parametrize("path", SINGLE, ids=lambda path: path.name)
def test_every_single_label_is_read_back(path: Path) -> None:
    """One label, one code."""
    assert len(read_codes(path)) == 1


@pytest.mark.parametrize("path", SHEETS, ids=lambda path: path.name)
def test_every_sheet_is_read_back(path: Path) -> None:
    """Scanned at 300 dpi: every label of its pages."""
    found = codes_in(pages(path.read_bytes(), 300))
    assert len(found) == len(set(found)) == (65 if "blank" in path.name else 6 if "build" in path.name else 7)


def test_the_us_letter_sheets_have_that_size_and_are_read_back() -> None:
    """A full page for every stock: 8.5 by 11 inches at 300 dpi, every label's symbol in its place."""
    letter = [stock for name, stock in shipped().items() if name.endswith("-letter")]
    sheets = pages((FOLDER / "us-letter.pdf").read_bytes(), 300)
    assert len(sheets) == len(letter)
    for stock, sheet in zip(letter, sheets, strict=True):
        assert sheet.width == 2550 and sheet.height in (3300, 3301), "a part of a dot is rounded up"
        symbols = 0 if stock.where is Where.BOX else stock.per_page
        assert len(codes_in([sheet])) == symbols, stock.name


def test_every_stock_and_purpose_has_its_specimen_and_its_place_on_the_page() -> None:
    """A stock that is added is shown."""
    page = (FOLDER / "README.md").read_text(encoding="utf-8")
    wanted = [f"stock-{name}" for name, stock in shipped().items() if stock.where is not Where.BOX]
    wanted = [name for name in wanted if not name.endswith("-letter")]
    wanted += [f"purpose-{purpose}" for purpose in Purpose if purpose is not Purpose.SHELF]
    for name in wanted:
        assert (FOLDER / f"{name}.pdf").exists(), name
        assert f"({name}.png)" in page and (FOLDER / f"{name}.png").exists(), name


def test_the_script_makes_the_specimens_that_lie_there(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Sheets with the same pixels, single labels of the same size and code: a specimen cannot go stale."""
    runpy.run_path(str(FOLDER / "make_specimens.py"))["main"](tmp_path)
    made = sorted(tmp_path.iterdir())
    assert [str(path) for path in made] == sorted(capsys.readouterr().out.split())
    # Beside them lie a picture of each stock's sheet and how they were made.
    assert {path.name for path in made} <= {path.name for path in FOLDER.iterdir()}
    for path in made:
        old, new = (FOLDER / path.name).read_bytes(), path.read_bytes()
        if path.suffix == ".pdf":
            before, now = pages(old, 100), pages(new, 100)
            assert [page.tobytes() for page in now] == [page.tobytes() for page in before]
        else:  # letters may differ by a dot between versions of the font library
            assert png(new).size == png(old).size
            assert codes_in([png(new)]) == codes_in([png(old)])
