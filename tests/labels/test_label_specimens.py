"""The specimens in labels/ show what the package prints now."""

import runpy
from pathlib import Path

import pytest
from tests.labels.label_bench import codes_in, pages, png

from straycell.labels.reading import read_codes

FOLDER = Path(__file__).parents[2] / "labels"


@pytest.mark.parametrize("path", sorted(FOLDER.glob("*.png")), ids=lambda path: path.name)
def test_every_picture_is_read_back(path: Path) -> None:
    """Single labels hold one code, pictures of sheets many."""
    codes = read_codes(path)
    assert codes
    assert (len(codes) == 1) == path.name.startswith("single-")


def test_the_script_makes_the_specimens_that_lie_there(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Sheets with the same pixels, single labels of the same size and code: a specimen cannot go stale."""
    runpy.run_path(str(FOLDER / "make_specimens.py"))["main"](tmp_path)
    made = sorted(tmp_path.iterdir())
    assert [str(path) for path in made] == sorted(capsys.readouterr().out.split())
    assert len(made) == 7
    for path in made:
        old, new = (FOLDER / path.name).read_bytes(), path.read_bytes()
        if path.suffix == ".pdf":
            before, now = pages(old, 100), pages(new, 100)
            assert [page.tobytes() for page in now] == [page.tobytes() for page in before]
            assert codes_in(pages(new, 200))
        else:  # letters may differ by a dot between versions of the font library
            assert png(new).size == png(old).size
            assert codes_in([png(new)]) == codes_in([png(old)])
