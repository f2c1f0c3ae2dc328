"""`straycell import` and `straycell export` as a person runs them."""

from __future__ import annotations

import csv
import json
from pathlib import Path

import pytest
from tests.cli.bench import Bench

CELLS = "form,chemistry,rated_capacity_mah\n18650,nmc,2600\n21700,nmc,4000\n"
FAULTY = "form,chemistry\n18650,nmc\n1865,nmc\n18650,lico\n"


def test_cells_come_from_a_file_and_go_into_a_list(bench: Bench, tmp_path: Path) -> None:
    """The first import makes the store, as the first cell does."""
    file = tmp_path / "cells.csv"
    file.write_text(CELLS)
    done = bench.do(f"import cells {file}")
    assert (done["taken"], done["left_out"], done["refused"]) == (2, 0, [])
    assert [cell["form"] for cell in bench.do("cell list")] == ["18650", "21700"]
    assert bench.do(f"label sheet --new --out {tmp_path / 'new.pdf'}")["count"] == 2
    assert bench.do("store check")["ok"] is True


def test_a_faulty_file_is_told_in_full_and_nothing_of_it_is_taken(bench: Bench, tmp_path: Path) -> None:
    """On stdout for a program, on stderr for a person; exit 3."""
    file = tmp_path / "cells.csv"
    file.write_text(FAULTY)
    shown = bench.run(f"--json import cells {file}")
    document = json.loads(shown.out)
    assert shown.code == 3 and document["taken"] == 0
    assert [(f["line"], f["column"]) for f in document["refused"]] == [(3, "form"), (4, "chemistry")]
    assert all(f["fault"] and f["remedy"] for f in document["refused"])
    assert "take the others with --partial" in shown.err and len(shown.err.splitlines()) <= 3
    assert "line 3: form: '1865' is not known" in bench.run(f"import cells {file}").out
    assert bench.do("cell list") == []


def test_partial_takes_the_others(bench: Bench, tmp_path: Path) -> None:
    """Exit 0: that is what was asked for."""
    file = tmp_path / "cells.csv"
    file.write_text(FAULTY)
    document = bench.do(f"import cells {file} --partial")
    assert (document["taken"], len(document["refused"])) == (1, 2)


@pytest.mark.parametrize("what", ["cells", "readings"])
def test_a_template_is_printed_and_is_csv(bench: Bench, what: str) -> None:
    """Without a store, without a file."""
    shown = bench.run(f"import {what} --template")
    rows = list(csv.DictReader(shown.out.splitlines()))
    assert shown.code == 0 and rows and all(None not in row for row in rows)


def test_an_export_comes_back_through_the_command_line(bench: Bench, tmp_path: Path) -> None:
    """Cells first, then their readings; superseded ones stay behind."""
    file, out = tmp_path / "cells.csv", tmp_path / "out"
    file.write_text(CELLS)
    bench.do(f"import cells {file}")
    code = bench.do("cell list")[0]["code"]
    bench.do(f"reading add {code} --as-found-voltage 3.6V --look clean")
    assert len(bench.do(f"export {out}")["files"]) > 10
    other = f"--store {tmp_path / 'other.sqlite'}"
    assert bench.do(f"{other} import cells {out / 'cells.csv'}")["taken"] == 2
    assert bench.do(f"{other} import readings {out / 'readings.csv'}")["taken"] == 2
    readings = bench.do(f"{other} cell show {code}")["readings"]
    assert sorted(r["quantity"] for r in readings) == ["as-found-voltage", "look"]


def test_figures_far_from_any_sound_cell_come_back_from_an_export(bench: Bench, tmp_path: Path) -> None:
    """A file names the unit of each figure: a cell that reached 80 C must not be lost for a number without it."""
    out, other = tmp_path / "out", f"--store {tmp_path / 'other.sqlite'}"
    code = bench.do("cell add --form 18650 --chemistry nmc")[0]["code"]
    bench.do(f"charge add {code} --current 0.5A --until 4.2V --peak-temperature 80C --temperature 22C")
    bench.do(f"reading add {code} --resistance 12ohm --resistance-method ac-1khz")
    bench.do(f"export {out}")
    bench.do(f"{other} import cells {out / 'cells.csv'}")
    assert bench.do(f"{other} import readings {out / 'readings.csv'}")["taken"] == 2
    assert bench.do(f"{other} verdict show {code}")["outcome"] == "discard"


def test_what_is_missing_is_told(bench: Bench, tmp_path: Path) -> None:
    """No file named: exit 2; none there: exit 3; a folder that is taken: exit 3."""
    assert "--template" in bench.refused("import cells", 2)
    assert "is not there" in bench.refused(f"import cells {tmp_path / 'none.csv'}", 3)
    bench.do("cell add --form 18650")
    assert "not an empty folder" in bench.refused(f"export {bench.store.parent}", 3)


def test_one_new_cell_is_no_plural(bench: Bench, tmp_path: Path) -> None:
    """And no reading is no singular."""
    other = tmp_path / "b.sqlite"
    bench.do(f"--store {other} store init --bench B")
    bench.do(f"--store {other} cell add --form 18650")
    bench.do("cell add --form 21700")
    assert "1 new cell, 0 new readings" in bench.run(f"store merge {other}").out


def test_two_benches_are_merged_on_the_command_line(bench: Bench, tmp_path: Path) -> None:
    """What came is told; a second time nothing comes."""
    other = f"--store {tmp_path / 'b.sqlite'}"
    bench.do(f"{other} store init --bench B")
    bench.do(f"{other} cell add --form 18650 --chemistry nmc --count 2")
    bench.do("cell add --form 21700")
    merged = bench.do(f"store merge {tmp_path / 'b.sqlite'}")
    assert (merged["bench"], merged["cells"], merged["notes"]) == ("B", 2, [])
    assert [cell["code"][0] for cell in bench.do("cell list")] == ["A", "B", "B"]
    assert bench.do(f"store merge {tmp_path / 'b.sqlite'}")["events"] == 0
    assert "nothing in it that is not here" in bench.run(f"store merge {tmp_path / 'b.sqlite'}").out
    assert "this store itself" in bench.refused(f"store merge {bench.store}", 3)
