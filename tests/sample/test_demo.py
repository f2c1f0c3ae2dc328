"""`straycell demo`: short, on a store of its own, with cautions; kept or not, as a page or as JSON."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import tempfile
from pathlib import Path
from typing import Any
from unittest import mock

import pypdfium2
import pytest
from tests.cli.bench import Answer, Bench
from tests.sample.sample_store import built_already

from straycell.acceptance import load_rules
from straycell.cells import Stage
from straycell.cli.app import clock
from straycell.safety import Step, cautions_for
from straycell.store.reader import open_reader
from straycell.store.sample.text import read_sample

ROOT = Path(__file__).parents[2]
NOW = "2027-05-01T09:00:00+00:00"


@pytest.fixture(scope="module")
def kept(tmp_path_factory: pytest.TempPathFactory) -> tuple[Bench, Path, Answer]:
    """One run with --keep, by its path, on a later day and with a store of the person's own in the environment."""
    folder = tmp_path_factory.mktemp("kept")
    bench = Bench(folder / "mine.sqlite", now=NOW)
    file = folder / "shop.sqlite"

    (folder / "bin").mkdir()
    (folder / "bin" / "activate").touch()
    with (
        built_already(tmp_path_factory),
        mock.patch.dict(os.environ, {"PATH": str(folder)}),
        mock.patch.object(sys, "prefix", str(folder)),
    ):
        return bench, file, bench.run(["demo", "--keep", str(file)])


@pytest.fixture(scope="module")
def told(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Any]:
    """One run as a process of its own, with --json, and a rule file named that must not matter."""
    folder = tmp_path_factory.mktemp("told")
    env = {
        **os.environ,
        "PYTHONPATH": str(ROOT / "src"),
        "TMPDIR": str(folder),
        "STRAYCELL_RULES": "/no/such.toml",
    }
    done = subprocess.run(
        [sys.executable, "-m", "straycell", "demo", "--json"],
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
        env=env,
    )
    assert (done.returncode, done.stderr) == (0, "")
    document: dict[str, Any] = json.loads(done.stdout)
    assert Path(document["store"]).parent.parent == folder
    return document


def test_the_page_is_short_narrow_and_in_the_order_of_the_flow(kept: tuple[Bench, Path, Answer]) -> None:
    """About 90 lines of 80 columns; only a path may be longer."""
    _, file, answer = kept
    lines = answer.out.splitlines()
    assert (answer.code, answer.err) == (0, "") and len(lines) <= 96
    assert [line for line in lines if len(line) > 80 and str(file.parent) not in line] == []
    steps = [line for line in lines if line[:1].isdigit()]
    assert [line[0] for line in steps] == list("1234567")
    assert "could decide from 2026-11-29 on" in " ".join(answer.out.split())
    for command in ("teardown list", "cell show", "verdict list", "match", "label sheet", "discard"):
        assert sum(f"straycell {command}" in line for line in steps) == 1
    assert "\x1b" not in answer.out


def test_every_step_that_handles_cells_carries_its_cautions(kept: tuple[Bench, Path, Answer]) -> None:
    """The short words of each danger, those of a discard and the standing deferral in full."""
    page = " ".join(kept[2].out.split()).replace("caution: ", "")
    for step in (Step.TEARDOWN, Step.MATCH, Step.LABEL, Step.DISCARD):
        for caution in cautions_for(step, quiet=step is not Step.DISCARD):
            assert caution.text in page or caution.standing
    assert " ".join(cautions_for(Step.DISCARD)[-1].text.split()) in page


def held_on(page: str) -> int:
    """How many cells the page says are held."""
    (line,) = [line for line in page.splitlines() if line.startswith("  hold ")]
    return int(line.split()[1])


def test_it_ends_with_what_to_type_next_and_that_works(kept: tuple[Bench, Path, Answer]) -> None:
    """The store and the day it names make the next command show the same workshop."""
    bench, file, answer = kept
    # Not on PATH, `straycell` is found only in the environment that it was run from.
    assert f"  . {file.parent}/bin/activate" in answer.out.splitlines()
    assert f"STRAYCELL_STORE={file}" in answer.out and answer.out.rstrip().endswith("straycell store init")
    day = next(line.split("=", 1)[1] for line in answer.out.splitlines() if clock.PIN in line)
    later = Bench(file, now=day)
    assert "cell list --outcome hold" in answer.out
    assert len(later.do("cell list --outcome hold")) == held_on(answer.out) - 1  # one is discarded at the end
    assert later.do("store check")["ok"] is True
    assert not bench.store.exists()


def test_what_was_shown_was_done_in_the_kept_store(kept: tuple[Bench, Path, Answer]) -> None:
    """The reservation and the discard stand; the label sheet lies beside, a label for every cell."""
    _, file, _ = kept
    with open_reader(file) as reader:
        assert reader.cell("H00044X").stage is Stage.RESERVED
        assert reader.live_build("greenhouse vent opener") is not None
        assert reader.cell("H000326").stage is Stage.CONDEMNED
        outcome = reader.verdict("H000326", load_rules(), read_sample().now).outcome
    assert outcome.word == "discard"
    sheet = pypdfium2.PdfDocument(file.with_name("shop-labels.pdf"))
    text = "".join(page.get_textpage().get_text_range() for page in sheet)
    assert all(cell.code in text for cell in read_sample().cells)
    sheet.close()


@pytest.mark.parametrize("name", ["shop.sqlite", "fresh.sqlite", "nosuch/shop.sqlite", ""])
def test_a_file_in_the_way_is_refused(kept: tuple[Bench, Path, Answer], name: str) -> None:
    """The kept store, a label sheet in its place, a folder that is not there, no name: exit 3, nothing written."""
    bench, file, _ = kept
    file.with_name("fresh-labels.pdf").write_text("mine")
    before = {path: path.read_bytes() for path in file.parent.iterdir() if path.is_file()}
    bench.refused(f"demo --keep '{file.parent / name if name else '/'}'", 3)
    assert {path: path.read_bytes() for path in file.parent.iterdir() if path.is_file()} == before


def test_the_document_tells_the_whole_walk(told: dict[str, Any]) -> None:
    """One JSON document with a key for each step; the keys of cells, matches and builds are the commands' own."""
    sample = read_sample()
    opened = [cell for cell in sample.cells if cell.teardown is not None]
    assert len(told["teardowns"]) == len(sample.teardowns)
    assert sum(sum(t["outcomes"].values()) for t in told["teardowns"]) == len(opened)
    assert len(told["verdicts"]) == len(sample.cells) and told["cell"]["outcome"] == "solo"
    assert told["match"]["served"] is True and told["unserved"]["served"] is False
    assert told["reserved"]["groups"] == told["match"]["groups"]
    assert (
        told["labels"]["count"] == len(sample.cells)
        and Path(told["labels"]["files"][0]).read_bytes()[:5] == b"%PDF-"
    )
    assert told["discarded"]["code"] == "H000326" and told["next"]
    assert all(caution["source"] for caution in told["cautions"])


def test_the_walk_is_the_same_on_any_day(told: dict[str, Any], kept: tuple[Bench, Path, Answer]) -> None:
    """Today's clock and next year's give the same outcomes and the same plan."""
    page = kept[2].out
    for outcome in ("pack", "solo", "light", "hold", "discard"):
        count = sum(verdict["outcome"] == outcome for verdict in told["verdicts"])
        assert f"  {outcome:<8}{count:>3}  " in page
    assert told["match"]["groups"][0][0] in page


def test_a_demo_that_fails_leaves_no_half_store_and_no_pinned_clock(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Ctrl-C while it builds."""
    from straycell.store.sample import build as sample

    def stop(*_: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(sample, "days", stop)
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path))
    bench, file = Bench(tmp_path / "mine.sqlite", now=NOW), tmp_path / "shop.sqlite"
    before = os.environ.get(clock.PIN)
    assert bench.run(["demo", "--keep", str(file)]).code == 130
    assert not file.exists() and os.environ.get(clock.PIN) == before


@pytest.mark.parametrize("line", ["demo now", "demo --keep", "demo --nosuch", "demo --keep a --keep"])
def test_words_it_does_not_know_are_wrong_usage(
    line: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Exit 2, and nothing is built."""
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path))
    Bench(tmp_path / "mine.sqlite").refused(line, 2)
    assert list(tmp_path.iterdir()) == []


def test_a_name_that_no_file_can_have_is_refused(tmp_path: Path) -> None:
    """Too long for the file system: bad data, not a traceback."""
    Bench(tmp_path / "mine.sqlite").refused(f"demo --keep {tmp_path}/{'x' * 300}", 3)
