"""The due list on paper: everything that the screen names, ready to be ticked off, the same bytes each time."""

from __future__ import annotations

import re
import shutil
from pathlib import Path

import pypdfium2
import pytest
from tests.cli.bench import Bench
from tests.sample.conftest import Built


@pytest.fixture
def bench(built: Built, tmp_path: Path) -> Bench:
    """A copy of the workshop on its day."""
    shutil.copy(built.path, tmp_path / "shop.sqlite")
    return Bench(tmp_path / "shop.sqlite", built.sample.now.isoformat())


def words_of(path: Path) -> str:
    """All text of a PDF, one blank between words."""
    document = pypdfium2.PdfDocument(path)
    text = " ".join(page.get_textpage().get_text_range() for page in document)
    document.close()
    return re.sub(r"\s+", " ", text.replace("\ufffe", ""))


def test_the_paper_names_every_cell_that_is_due_and_why(bench: Bench, tmp_path: Path) -> None:
    """As `due --json` lists them; the danger first, with its cautions and who made the list when."""
    out = tmp_path / "due.pdf"
    found = bench.do(f"due --out {out}")
    assert found["files"] == [str(out)]
    words = words_of(out)
    for item in found["due"]:
        assert item["subject"] in words
        assert re.sub(r"\s+", " ", item["why"])[:40] in words
    titles = [words.index(f"{title} (") for title in dict.fromkeys(item["title"] for item in found["due"])]
    assert titles == sorted(titles) and len(titles) > 5
    assert "never charge" in words and "Due list, bench H, printed 2026-11-20" in words


def test_one_kind_alone_is_printed_and_an_empty_list_says_so(bench: Bench, tmp_path: Path) -> None:
    """`due warm` prints two cells; a new store has nothing due."""
    out = tmp_path / "due.pdf"
    bench.do(f"due warm --out {out}")
    assert "Due on 2026-11-20: 2 things" in words_of(out)
    bench.store.unlink()
    bench.do("store init")
    bench.do(f"due --out {out}")
    assert "0 things" in words_of(out)


def test_the_same_list_gives_the_same_bytes_and_another_suffix_is_refused(
    bench: Bench, tmp_path: Path
) -> None:
    """Looking changes nothing."""
    before = bench.store.read_bytes()
    first, again = tmp_path / "a.pdf", tmp_path / "b.pdf"
    bench.do(f"due --out {first}")
    bench.do(f"due --out {again}")
    assert first.read_bytes() == again.read_bytes()
    assert "due.pdf" in bench.refused(f"due --out {tmp_path / 'due.jpg'}", 2)
    assert bench.store.read_bytes() == before
