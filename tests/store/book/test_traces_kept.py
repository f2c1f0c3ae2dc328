"""Traces in the store: byte for byte, once, with what came out of them; and the step from the first version."""

from __future__ import annotations

import csv
import hashlib
import zlib
from dataclasses import replace
from pathlib import Path

import pytest
from tests.acceptance.bench import FINE
from tests.store.store_bench import NOW, Shelf, capacity, charge, measure, new_trace

from straycell.errors import BadData
from straycell.keys import NEW, RecordKey
from straycell.readings import Charge, Method, Quantity, Reading

RAW = b"time / s;voltage / V;current / A\r\n" + b"".join(b"%d;4,1;-1\r\n" % s for s in range(500))


def derived(code: str) -> list[Reading | Charge]:
    """What a trace may tell: a capacity, a resistance and the charge before them."""
    ohms = Reading(NEW, code, Quantity.RESISTANCE, NOW, 0.04, 22.0, method=Method.DC_PULSE, pulse_s=1.0)
    return [
        charge(code),
        replace(capacity(code, 2.3), energy_wh=8.4, at_least=True, from_full=True, u=0.011),
        replace(ohms, soc=0.97, u=0.0004),
    ]


def file_trace(shelf: Shelf, code: str, raw: bytes = RAW) -> RecordKey:
    with shelf.writing() as writer:
        measure(writer, code)
        entry, _ = writer.add_trace(new_trace(code, raw), derived(code))
    return entry.id


def test_a_trace_comes_back_as_it_was_filed(shelf: Shelf) -> None:
    """The file to the last byte, how it was read, what came of it, the few points."""
    (code,) = shelf.cells()
    number = file_trace(shelf, code)
    new = new_trace(code, RAW)
    with shelf.reading() as reader:
        (entry,) = reader.traces(code)
        assert entry == reader.trace(number)
        assert reader.trace_file(number) == RAW
        assert reader.curves([number, RecordKey("Z", 77)]) == {number: {"ah": [0, 1]}}
        assert reader.curves([]) == {}
        assert reader.info()["traces"] == 1
    assert (entry.cell, entry.name, entry.at, entry.meter) == (code, new.name, NOW, FINE)
    assert (entry.sha256, entry.size_bytes) == (hashlib.sha256(RAW).hexdigest(), len(RAW))
    assert (entry.cutoff_v, entry.setting, entry.result) == (3.0, {"full_v": 4.2}, {"at_least": False})


def test_the_file_lies_packed(shelf: Shelf) -> None:
    """A curve of many alike rows takes a fraction of its size."""
    (code,) = shelf.cells()
    file_trace(shelf, code)
    with shelf.bare() as conn:
        ((raw, size),) = conn.execute("SELECT raw, size_bytes FROM trace").fetchall()
    assert zlib.decompress(raw) == RAW
    assert len(raw) < size / 3


def test_what_came_out_of_a_trace_points_back_to_it(shelf: Shelf) -> None:
    """Every field of a derived reading is read again as it was written."""
    (code,) = shelf.cells()
    number = file_trace(shelf, code)
    with shelf.reading() as reader:
        stand, gone = reader.trace_readings(number)
        items = [reader.reading(n).item for n in stand]
    assert gone == []
    assert [replace(item, id=NEW) for item in items] == [replace(i, trace=number) for i in derived(code)]


def test_a_trace_without_a_figure_is_filed_too(shelf: Shelf) -> None:
    """A rest alone: nothing is derived, the file is kept, the cell's verdict is there."""
    (code,) = shelf.cells()
    with shelf.writing() as writer:
        writer.add_meter(FINE)
        entry, made = writer.add_trace(new_trace(code))
    assert made == []
    with shelf.reading() as reader:
        assert [event.verb for event in reader.history(code)][-1] == "trace-added"
        assert reader.check(shelf.rules) == []
        assert reader.trace_readings(entry.id) == ([], [])


def test_the_same_file_twice_for_a_cell_is_noticed(shelf: Shelf) -> None:
    """By its bytes, whatever its name; the earlier trace is named and nothing is written."""
    (code,) = shelf.cells()
    number = file_trace(shelf, code)
    with pytest.raises(BadData, match=f"trace {number} of {code}") as caught, shelf.writing() as writer:
        writer.add_trace(replace(new_trace(code, RAW), name="other name.csv"), derived(code))
    assert f"trace show {number}" in caught.value.remedy
    with shelf.reading() as reader:
        assert len(reader.traces()) == 1
        assert len(reader.trace_readings(number)[0]) == 3


def test_the_same_file_for_another_cell_is_refused_until_it_is_taken_back(shelf: Shelf) -> None:
    """A trace is of one cell: its readings are superseded first, then the right cell may have the file."""
    wrong, right = shelf.cells(2)
    number = file_trace(shelf, wrong)
    with pytest.raises(BadData, match=f"another cell, {wrong}") as caught, shelf.writing() as writer:
        writer.add_trace(new_trace(right, RAW))
    assert "--mistake wrong-cell" in caught.value.remedy
    with shelf.writing() as writer:
        for reading in writer.trace_readings(number)[0]:
            writer.supersede(reading, "wrong-cell", "the other tray", None)
        again, made = writer.add_trace(new_trace(right, RAW), derived(right))
    with shelf.reading() as reader:
        assert [t.cell for t in reader.traces()] == [wrong, right]
        assert len(reader.trace_readings(number)[1]) == len(made) == 3
        assert reader.trace_readings(again.id)[1] == []


def test_a_file_worked_out_anew_supersedes_what_it_gave_before(shelf: Shelf) -> None:
    """Each by its like; what has no like stays, what is new is added; all with the reason."""
    (code,) = shelf.cells()
    number = file_trace(shelf, code)
    fewer = replace(capacity(code, 2.2), energy_wh=8.0)
    anew: list[Reading | Charge] = [fewer, charge(code), charge(code)]
    with shelf.writing() as writer:
        second, made = writer.add_trace(new_trace(code, RAW), anew, again="forgot the meter")
    with shelf.reading() as reader:
        stand, gone = reader.trace_readings(number)
        assert [reader.reading(n).item for n in stand] == [
            replace(derived(code)[2], id=stand[0], trace=number)
        ]
        replaced = [reader.reading(n) for n in gone]
        assert all(r.because == "forgot the meter" and r.mistake == "mistyped" for r in replaced)
        assert {r.superseded_by for r in replaced} < {item.id for item in made}
        assert reader.trace_readings(second.id) == (sorted(item.id for item in made), [])
        assert len(made) == 3
        assert reader.check(shelf.rules) == []
    with shelf.writing() as writer:
        third, _ = writer.add_trace(new_trace(code, RAW), derived(code), again="and the columns")
    with shelf.reading() as reader:
        assert reader.trace_readings(number)[0] == []
        (left,) = reader.trace_readings(second.id)[0]  # the second charge, which has no like any more
        assert isinstance(reader.reading(left).item, Charge)
        assert len(reader.trace_readings(third.id)[0]) == 3


def test_a_trace_whose_reading_is_refused_is_not_filed(shelf: Shelf) -> None:
    """One write: all of it or nothing."""
    (code,) = shelf.cells()
    bad = replace(capacity(code, 2.3), u=float("nan"))
    with pytest.raises(BadData, match="uncertainty"), shelf.writing() as writer:
        writer.add_meter(FINE)
        writer.add_trace(new_trace(code), [bad])
    with shelf.reading() as reader:
        assert reader.traces() == []
        assert reader.meters() == []


NO_RUN = {"discharge_current_a": None, "cutoff_v": None}
"""What only a capacity run has."""


@pytest.mark.parametrize(
    ("change", "told"),
    [
        ({"soc": 0.5}, "state of charge"),
        ({"energy_wh": -1.0}, "energy"),
        ({"energy_wh": 9000.0}, "energy"),
        ({"quantity": Quantity.VOLTAGE, "at_least": True, "value": 3.7, **NO_RUN}, "lower bound"),
        ({"quantity": Quantity.RESISTANCE, "soc": 1.5, "value": 0.1, **NO_RUN}, "state of charge: 1.5"),
    ],
)
def test_what_a_trace_cannot_tell_is_refused(shelf: Shelf, change: dict[str, object], told: str) -> None:
    """Before a row exists, in words."""
    (code,) = shelf.cells()
    with pytest.raises(BadData, match=told), shelf.writing() as writer:
        writer.add_readings([replace(capacity(code, 2.3), **change)])  # type: ignore[arg-type]


@pytest.mark.parametrize("typed", ["2", "A-2", "B-1", "b1", str(10**11)])
def test_a_trace_that_is_not_there_is_told(shelf: Shelf, typed: str) -> None:
    """With the last one there is."""
    (code,) = shelf.cells()
    file_trace(shelf, code)
    with shelf.reading() as reader, pytest.raises(BadData, match="no trace") as caught:
        reader.trace(reader.trace_number(typed))
    assert "A-1" in caught.value.remedy


def test_a_damaged_file_is_found_by_the_check(shelf: Shelf) -> None:
    """The hash is of the file as it came."""
    (code,) = shelf.cells()
    number = file_trace(shelf, code)
    with shelf.bare() as conn:
        conn.execute("DROP TRIGGER trace_no_update")
        conn.execute("UPDATE trace SET raw = ?", (zlib.compress(RAW + b"x"),))
    with shelf.reading() as reader:
        assert "not the one that was filed" in " ".join(reader.check(shelf.rules))
        with pytest.raises(BadData, match="damaged"):
            reader.trace_file(number)


def test_an_export_writes_the_files_as_they_came(shelf: Shelf, tmp_path: Path) -> None:
    """Named by number, and listed in a table without their bytes."""
    (code,) = shelf.cells()
    with shelf.writing() as writer:
        writer.add_meter(FINE)
        writer.add_trace(replace(new_trace(code, RAW), name="../up and away.csv"))
    with shelf.reading() as reader:
        reader.export_dir(tmp_path / "out")
    (file,) = (tmp_path / "out" / "traces").iterdir()
    assert file.name == "A-1-.._up_and_away.csv"
    assert file.read_bytes() == RAW
    with (tmp_path / "out" / "traces.csv").open(newline="", encoding="utf-8") as text:
        (row,) = csv.DictReader(text)
    assert (row["code"], "raw" in row) == (code, False)
