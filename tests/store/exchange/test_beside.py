"""What lies beside a list is checked as the list is: each defect is named with its file and line, nothing is taken."""

from __future__ import annotations

from pathlib import Path

import pytest
from tests.store.store_bench import NOW, Shelf

from straycell.errors import BadData
from straycell.store.exchange.cells import import_cells
from straycell.store.exchange.readings import import_readings

CELLS = "form,chemistry,teardown,box\n18650,nmc,BT1,tin\n"
READINGS = "code,at,voltage,meter\n{code},2026-03-10T10:00Z,3.9V,blue\n"
TEARDOWNS = "code,title,kind,found_on,place,note,objects\n"
BOXES = "name,kind,limit_wh\n"
METERS = "name,like_class,voltage_gain,voltage_offset,voltage_resolution,capacity_gain,capacity_offset,"
METERS += "resistance_gain,resistance_offset,temperature_gain,temperature_offset,compared_on\n"
GOOD_METER = 'blue,good-multimeter,0.005,0.002,"[[null, 0.001]]",,,,,,,\n'

# the file, its text, what is said of it
BROKEN = {
    "no title": ("teardowns", TEARDOWNS + "BT1,,lamp,,,,1\n", "the title of a tear-down is empty"),
    "no kind": ("teardowns", TEARDOWNS + "BT1,lamp,,,,,1\n", "the kind of a tear-down is empty"),
    "no day": ("teardowns", TEARDOWNS + "BT1,lamp,lamp,yesterday,,,1\n", "'yesterday' is not a day"),
    "a day to come": ("teardowns", TEARDOWNS + "BT1,lamp,lamp,2999-01-01,,,1\n", "in the future"),
    "no count": ("teardowns", TEARDOWNS + "BT1,lamp,lamp,,,,many\n", "'many' is not a count"),
    "none opened": ("teardowns", TEARDOWNS + "BT1,lamp,lamp,,,,0\n", "0 objects"),
    "no code": ("teardowns", TEARDOWNS + "lamp,lamp,lamp,,,,1\n", "tear-down code"),
    "an empty code": ("teardowns", TEARDOWNS + ",lamp,lamp,,,,1\n", "there is no code"),
    "an escape": ("teardowns", TEARDOWNS + "BT1,la\x1b[2Jmp,lamp,,,,1\n", "control characters"),
    "a bidi override": ("teardowns", TEARDOWNS + "BT1,la\u202emp,lamp,,,,1\n", "control characters"),
    "a NUL": ("teardowns", TEARDOWNS + "BT1,la\0mp,lamp,,,,1\n", "NUL"),
    "too long": ("teardowns", TEARDOWNS + f"BT1,{'x' * 600},lamp,,,,1\n", "600 characters"),
    "too few fields": ("teardowns", TEARDOWNS + "BT1,lamp\n", "2 fields where the header has 7"),
    "an open quote": ("teardowns", TEARDOWNS + 'BT1,"lamp\n', "not readable as CSV"),
    "no number": ("boxes", BOXES + "tin,,much\n", "'much' is not a number"),
    "not above zero": ("boxes", BOXES + "tin,,-5\n", "not above zero"),
    "infinite": ("boxes", BOXES + "tin,,1e999\n", "too large"),
}
BROKEN_METERS = {
    "no accuracy": ("blue,x,0,0,,,,,,,,\n", "not above zero"),
    "negative": ("blue,x,-1,0.002,,,,,,,,\n", "not above zero"),
    "words": ("blue,x,much,0.002,,,,,,,,\n", "is not a number"),
    "broken steps": ("blue,x,0.005,0.002,[[1,,,,,,,\n", "not those of an export"),
    "steps of nothing": ('blue,x,0.005,0.002,"[[null, 0]]",,,,,,,\n', "a resolution of 0"),
    "a day to come": ("blue,x,0.005,0.002,,,,,,,,2999-01-01\n", "in the future"),
    "deep steps": (f"blue,x,0.005,0.002,{'[' * 400},,,,,,,\n", "not those of an export"),
}


def refused(shelf: Shelf, folder: Path, name: str) -> str:
    """What is said of an import that must fail, whichever way it does, and leave the store as it was."""
    with shelf.bare() as conn:
        before = conn.execute("SELECT count(*) FROM event").fetchone()
    try:
        with shelf.writing(NOW) as writer:
            take = import_cells if name == "cells" else import_readings
            done = writer.write(take, folder / f"{name}.csv")
        said = " ".join(fault.said for fault in done.refused)
    except BadData as fault:
        said = fault.what
    with shelf.bare() as conn:
        assert conn.execute("SELECT count(*) FROM event").fetchone() == before
    return said


@pytest.mark.parametrize("name", BROKEN)
def test_a_broken_file_beside_the_cells_is_named(shelf: Shelf, tmp_path: Path, name: str) -> None:
    """The other one is sound, so that only this can be what is refused."""
    file, text, said = BROKEN[name]
    (tmp_path / "cells.csv").write_text(CELLS)
    (tmp_path / "teardowns.csv").write_text(TEARDOWNS + "BT1,lamp,lamp,,,,1\n")
    (tmp_path / "boxes.csv").write_text(BOXES + "tin,,100\n")
    (tmp_path / f"{file}.csv").write_text(text)
    found = refused(shelf.empty(), tmp_path, "cells")
    assert said in found and f"{file}.csv line 2" in found


@pytest.mark.parametrize("name", BROKEN_METERS)
def test_a_broken_meter_beside_the_readings_is_named(shelf: Shelf, tmp_path: Path, name: str) -> None:
    """A meter that cannot be would make every figure surer than it is."""
    text, said = BROKEN_METERS[name]
    (code,) = shelf.cells()
    (tmp_path / "readings.csv").write_text(READINGS.format(code=code))
    (tmp_path / "meters.csv").write_text(METERS + text)
    found = refused(shelf, tmp_path, "readings")
    assert said in found and "meters.csv line 2" in found


def test_sound_files_beside_a_list_come_along(shelf: Shelf, tmp_path: Path) -> None:
    """The same files without a defect."""
    (tmp_path / "cells.csv").write_text(CELLS)
    (tmp_path / "teardowns.csv").write_text(TEARDOWNS + "BT1,lamp,lamp,2026-01-01,shed,,2\n")
    (tmp_path / "boxes.csv").write_text(BOXES + "tin,,100\nother,,\n")
    (tmp_path / "meters.csv").write_text(METERS + GOOD_METER)
    with shelf.empty().writing(NOW) as writer:
        assert writer.write(import_cells, tmp_path / "cells.csv").refused == ()
        (code,) = writer.codes()
        (tmp_path / "readings.csv").write_text(READINGS.format(code=code))
        assert writer.write(import_readings, tmp_path / "readings.csv").refused == ()
        assert (writer.teardown("BT1").objects, writer.boxes()[0].name) == (2, "tin")
        assert writer.meter("blue").voltage_resolution.step(3.0) == 0.001
