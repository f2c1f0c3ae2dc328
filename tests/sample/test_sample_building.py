"""The text becomes a store: the same one each time, from a checkout and from a wheel; bad text is told."""

from __future__ import annotations

import os
import sqlite3
import subprocess
import sys
import zipfile
from datetime import UTC, datetime, time
from pathlib import Path

import pytest
from tests.sample.conftest import Built

from straycell.errors import BadData, StoreFault
from straycell.readings import Charge, Reading
from straycell.store.sample.build import build_sample
from straycell.store.sample.notes import NoteDefaults, changes_of, read_notes
from straycell.store.sample.text import read_sample, sample_folder

ROOT = Path(__file__).parents[2]
HOURS = {"charge": time(9), "capacity": time(17), "rest": time(19, 30), "other": time(20)}
BENCH = NoteDefaults(
    2026, HOURS, {"charge": "1A to 4.20V 21C peak 26C", "capacity": "at 0.5A to 2.75V meter load"}
)


def content(path: Path) -> list[str]:
    connection = sqlite3.connect(path)
    try:
        return sorted(connection.iterdump())  # indexes are made in any order
    finally:
        connection.close()


def test_the_build_script_gives_the_same_store_again(built: Built, tmp_path: Path) -> None:
    """Another process, another file: every row the same."""
    again = tmp_path / "again.sqlite"
    script = [sys.executable, str(ROOT / "sample_db" / "build.py"), str(again)]
    env = {**os.environ, "PYTHONPATH": str(ROOT / "src"), "PYTHONHASHSEED": "77", "TZ": "Pacific/Auckland"}
    done = subprocess.run(script, capture_output=True, text=True, timeout=120, check=False, env=env)
    assert (done.returncode, done.stderr) == (0, "")
    assert len(done.stdout.splitlines()) == 1 and f"{len(read_sample().cells)} cells" in done.stdout
    first = content(built.path)
    assert len(first) > 2000 and content(again) == first


def test_what_lies_there_already_is_left_alone(tmp_path: Path) -> None:
    """A store is never built over a file."""
    path = tmp_path / "mine.sqlite"
    path.write_text("mine")
    with pytest.raises(StoreFault, match="already"):
        build_sample(path, None, read_sample())  # type: ignore[arg-type]
    assert path.read_text() == "mine"


def test_the_text_is_found_in_the_checkout() -> None:
    """An editable install and a run from source read the folder beside src."""
    assert Path(str(sample_folder())) == ROOT / "sample_db"


def test_a_wheel_carries_the_text(tmp_path: Path) -> None:
    """Built with the project's own settings, unpacked elsewhere, it reads its own copy."""
    pytest.importorskip("hatchling")
    build = [sys.executable, "-m", "hatchling", "build", "-t", "wheel", "-d", str(tmp_path)]
    subprocess.run(build, cwd=ROOT, check=True, capture_output=True, timeout=120)
    (wheel,) = tmp_path.glob("*.whl")
    unpacked = tmp_path / "site"
    with zipfile.ZipFile(wheel) as archive:
        archive.extractall(unpacked)
    code = (
        "from straycell.store.sample.text import read_sample, sample_folder;"
        "print(sample_folder(), len(read_sample().cells))"
    )
    run = [sys.executable, "-c", code]
    env = {**os.environ, "PYTHONPATH": str(unpacked)}
    told = subprocess.run(run, cwd=tmp_path, check=True, capture_output=True, text=True, timeout=60, env=env)
    assert told.stdout.split() == [str(unpacked / "straycell" / "sample_db"), str(len(read_sample().cells))]


def test_a_note_line_becomes_readings_with_the_usual_words() -> None:
    """Dates in the workshop's year, the usual hour, the usual conditions; the line's own words win."""
    notes = """
      10-04  charge peak 28C; capacity 1846mAh at 0.4A   # a remark
      10-06 20:15  rest 4.186V 21C
    """
    charge, run, rest = read_notes("H00001K", notes, BENCH)
    assert isinstance(charge, Charge) and isinstance(run, Reading) and isinstance(rest, Reading)
    assert charge.at == datetime(2026, 10, 4, 9, tzinfo=UTC)
    assert (charge.current_a, charge.until_v, charge.temperature_c, charge.peak_temperature_c) == (
        1.0,
        4.2,
        21,
        28,
    )
    assert run.value == pytest.approx(1.846) and (run.discharge_current_a, run.cutoff_v) == (0.4, 2.75)
    assert run.meter is not None and run.meter.name == "load"
    assert rest.at == datetime(2026, 10, 6, 20, 15, tzinfo=UTC)
    assert rest.rested_s == (rest.at - run.at).total_seconds()


BAD_NOTES = """
10-04 found 3,62V          | decimal comma
10-04 found 3.62           | has no unit
10-04 weigh 45g            | weigh
10-04 look shiny           | shiny
13-04 look clean           | 13-04
10-04 charge 1A to 42V     | cannot be right
10-04 capacity 1Ah sideways| sideways
10-04 mistyped found       | out of range
"""


@pytest.mark.parametrize("line", BAD_NOTES.strip().splitlines())
def test_a_note_that_cannot_be_read_is_told_with_its_cell_and_words(line: str) -> None:
    """Not a traceback: which cell, which line, what about it."""
    note, complaint = (part.strip() for part in line.split("|"))
    with pytest.raises(BadData) as caught:
        list(read_notes("H00001K", note, BENCH))
    assert "H00001K" in caught.value.what and note in caught.value.what and complaint in caught.value.what


def test_a_fact_that_is_none_is_told() -> None:
    """A misspelt key is no fact of a cell."""
    with pytest.raises(BadData, match="rated_capasity"):
        changes_of({"rated_capasity": "2000mAh"})
    assert changes_of({"rated_capacity": "unknown", "tabs": True}) == {
        "rated_capacity_ah": None,
        "tabs": True,
    }


BROKEN = {
    "not-toml": ("drill-pack.toml", "[teardown", "drill-pack.toml"),
    "no-cells": ("drill-pack.toml", "[teardown]\n", "opened"),
    "no-zone": ("workshop.toml", "now = 2026-11-20T20:00:00\n", "zone"),
    "misspelt-code": ("old-shelf.toml", '[[cell]]\ncode = "H00001X"\n', "check character"),
}


@pytest.mark.parametrize("name", BROKEN)
def test_a_broken_file_is_told_by_name_or_content(name: str, tmp_path: Path) -> None:
    """A damaged copy of the text gives one clear error."""
    file, text, complaint = BROKEN[name]
    for source in (ROOT / "sample_db").rglob("*.toml"):
        target = tmp_path / source.relative_to(ROOT / "sample_db")
        target.parent.mkdir(exist_ok=True)
        target.write_bytes(source.read_bytes())
    (tmp_path / file).write_text(text)
    with pytest.raises(BadData) as caught:
        read_sample(tmp_path)
    assert complaint in str(caught.value.what)
