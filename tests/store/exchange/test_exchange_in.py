"""What goes out as CSV comes back in; what a person types into a spreadsheet is taken as the command line would."""

from __future__ import annotations

import csv
import re
from dataclasses import fields, replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from tests.acceptance.bench import FINE, NMC, day
from tests.store.store_bench import NOW, Shelf, capacity, charge, found, look, measure

from straycell.acceptance.reasons import Outcome
from straycell.cells import Cell, CellFacts, Chemistry, Form, Look, Stage
from straycell.errors import BadData
from straycell.keys import NEW
from straycell.markings import beyond_size
from straycell.readings import Charge, Method, Quantity, Reading
from straycell.store.exchange.cells import TEMPLATE as CELLS_TEMPLATE
from straycell.store.exchange.cells import import_cells
from straycell.store.exchange.readings import TEMPLATE as READINGS_TEMPLATE
from straycell.store.exchange.readings import import_readings
from straycell.store.exchange.table import Imported


def cells_of(shelf: Shelf, text: str, **more: Any) -> list[Cell]:
    """The cells of a file of these lines, each a list of its own; it must have no fault."""
    file = shelf.path.with_name(f"lines-{len(list(shelf.path.parent.iterdir()))}.csv")
    file.write_bytes(text.encode())
    with shelf.writing(NOW) as writer:
        before = set(writer.codes())
        result = writer.write(import_cells, file, **more)
        assert result.refused == ()
        made = [cell for cell in writer.cells() if cell.code not in before]
    assert len(made) == result.taken
    return made


def readings_of(shelf: Shelf, text: str) -> list[Reading | Charge]:
    """The readings of a file of these lines; it must have no fault."""
    file = shelf.path.with_name("lines.csv")
    file.write_bytes(text.encode())
    with shelf.writing(NOW) as writer:
        assert writer.write(import_readings, file).refused == ()
        return [r.item for code in writer.codes() for r in writer.recorded(code)]


# --- what a person types ---------------------------------------------------------------------------


def test_units_stand_in_the_field_or_in_the_name_of_the_column(shelf: Shelf) -> None:
    """2600 mAh four ways: all the same to the last bit."""
    for text in (
        "form,rated_capacity\n18650,2600mAh\n",
        "form,rated_capacity\n18650,2.6 Ah\n",
        "form,rated_capacity_mah\n18650,2600\n",
        "form,rated_capacity_ah\n18650,2600 mAh\n",
    ):
        (cell,) = cells_of(shelf, text)
        assert cell.facts.rated_capacity_ah == 2.6


@pytest.mark.parametrize(
    "text",
    [
        "\ufeffform,chemistry\r\n18650,nmc\r\n",
        "form;chemistry\n18650;nmc\n",
        "form\tchemistry\n18650\tnmc\n",
        "Form , Chemistry\n\n 18650 , NMC \n\n",
        '"form","chemistry"\n"18650","nmc"\n',
    ],
)
def test_what_spreadsheets_write_is_read(shelf: Shelf, text: str) -> None:
    """A byte order mark, semicolons, tabs, blanks, empty lines, quotes, line ends of every kind."""
    (cell,) = cells_of(shelf, text)
    assert (cell.facts.form, cell.facts.chemistry) == (Form.F18650, Chemistry.NMC)


def test_lines_without_a_code_get_the_next_ones(shelf: Shelf) -> None:
    """Around those that are written: a code stands for one cell."""
    written = cells_of(shelf, "code,form\n,18650\nA00001O,21700\n,18650\n")
    assert [(c.code[:6], c.facts.form.value) for c in written] == [
        ("A00001", "21700"),
        ("A00002", "18650"),
        ("A00003", "18650"),
    ]
    with shelf.reading() as reader:
        assert reader.check(shelf.rules) == []
        assert {v.outcome.word for v in reader.verdicts(shelf.rules, NOW).values()} == {"hold"}


def test_a_column_that_is_left_out_is_filled_from_the_marking(shelf: Shelf) -> None:
    """So is what a line does not state; only in an export does an empty field mean that it is not known."""
    (proposed,) = cells_of(shelf, "marking\nINR18650 2600mAh\n")
    assert (proposed.facts.form, proposed.facts.chemistry) == (Form.F18650, Chemistry.NMC)
    assert proposed.facts.rated_capacity_ah == 2.6
    (blank,) = cells_of(shelf, "marking,chemistry,rated_capacity_mah\nINR18650 2600mAh,,\n")
    assert (blank.facts.chemistry, blank.facts.rated_capacity_ah) == (Chemistry.NMC, 2.6)
    (out,) = cells_of(
        shelf, "marking,chemistry,rated_capacity_mah,stage,added_at\nINR18650 2600mAh,,,received,\n"
    )
    assert (out.facts.chemistry, out.facts.rated_capacity_ah) == (Chemistry.UNKNOWN, None)


def test_cells_lie_in_boxes_and_come_out_of_teardowns_that_are_here(shelf: Shelf) -> None:
    """A box that holds no more refuses the whole file."""
    with shelf.writing(NOW) as writer:
        code = writer.add_teardown("bilge pump", "pump").code
        writer.add_box("tin")
        writer.add_box("thimble", limit_wh=1.0)
    (cell,) = cells_of(shelf, f"form,teardown,pack,box\n18650,{code.lower()},2,tin\n")
    assert (cell.teardown, cell.pack, cell.box) == (code, "2", "tin")
    with pytest.raises(BadData, match="thimble"):
        cells_of(shelf, "form,chemistry,rated_capacity,box\n18650,nmc,2600mAh,thimble\n")


def test_every_figure_on_a_line_becomes_a_reading_with_its_own_conditions(shelf: Shelf) -> None:
    """A rest belongs to the voltage, a cut-off to the capacity, a method to the resistance."""
    (code,) = shelf.cells()
    items = readings_of(
        shelf,
        "code,at,look,voltage,rested,capacity,discharge_current,cutoff,resistance,method,pulse,temperature\n"
        f"{code},2026-03-10T10:00Z,clean dented,4.18V,30h,2350mAh,0.5A,2.75V,50mohm,dc-pulse,1s,21C\n",
    )
    at = datetime(2026, 3, 10, 10, tzinfo=UTC)
    common: dict[str, Any] = {"temperature_c": 21.0}
    assert [replace(item, id=NEW) for item in items] == [
        Reading(NEW, code, Quantity.LOOK, at, look=(Look.CLEAN, Look.DENTED), **common),
        Reading(NEW, code, Quantity.VOLTAGE, at, 4.18, rested_s=108000.0, **common),
        Reading(NEW, code, Quantity.CAPACITY, at, 2.35, discharge_current_a=0.5, cutoff_v=2.75, **common),
        Reading(NEW, code, Quantity.RESISTANCE, at, 0.05, method=Method.DC_PULSE, pulse_s=1.0, **common),
    ]


def test_a_charge_stands_on_a_line_of_its_own_or_among_figures(shelf: Shelf) -> None:
    """Its time is when it ended."""
    (code,) = shelf.cells()
    (item,) = readings_of(
        shelf,
        "code,at,charge_current_ma,charge_until_v,end_current_ma,temperature_c,peak_temperature_c,charger,slot\n"
        f"{code},2026-03-10T10:00Z,500,4.2,50,21,25.5,four-slot,2\n",
    )
    at = datetime(2026, 3, 10, 10, tzinfo=UTC)
    assert replace(item, id=NEW) == Charge(NEW, code, at, 0.5, 4.2, 0.05, 21.0, 25.5, "four-slot", 2)


def test_the_templates_are_taken_as_they_are(shelf: Shelf) -> None:
    """The example lines stand for a cell and two sets of readings."""
    assert [c.facts.form for c in cells_of(shelf, CELLS_TEMPLATE)] == [Form.F18650]
    with shelf.writing(NOW) as writer:
        writer.add_meter(replace(FINE, name="blue multimeter"))
    file = shelf.path.with_name("readings.csv")
    file.write_text(READINGS_TEMPLATE)
    with shelf.writing(datetime(2026, 6, 1, tzinfo=UTC)) as writer:
        assert writer.write(import_readings, file).refused == ()
        assert len(writer.recorded("A00002M")) == 6


# --- out and in again ------------------------------------------------------------------------------


def moved(source: Shelf, folder: Path) -> tuple[Shelf, Imported, Imported]:
    """An export taken into an empty store of another bench."""
    with source.reading() as reader:
        reader.export_dir(folder / "out")
    return taken(folder)


def taken(folder: Path) -> tuple[Shelf, Imported, Imported]:
    """The files of `out`, taken into an empty store."""
    other = Shelf(folder / "other.sqlite")
    with other.writing(NOW + timedelta(days=1)) as writer:
        cells = writer.write(import_cells, folder / "out" / "cells.csv")
    with other.writing(NOW + timedelta(days=1)) as writer:
        readings = writer.write(import_readings, folder / "out" / "readings.csv")
    return other, cells, readings


def standing(shelf: Shelf) -> dict[str, list[Reading | Charge]]:
    """What is not superseded, without numbers, by cell."""
    with shelf.reading() as reader:
        return {
            code: sorted(
                (replace(r.item, id=NEW) for r in reader.recorded(code, with_superseded=False)), key=repr
            )
            for code in reader.codes()
        }


def facts(shelf: Shelf) -> dict[str, tuple[CellFacts, str | None, str | None, str | None]]:
    with shelf.reading() as reader:
        return {c.code: (c.facts, c.teardown, c.pack, c.box) for c in reader.cells()}


def test_an_export_taken_into_an_empty_store_gives_the_same_facts_and_readings(
    shelf: Shelf, tmp_path: Path
) -> None:
    """With the boxes, tear-downs and meters that lie beside the file; superseded readings are left out."""
    with shelf.writing(NOW) as writer:
        torn = writer.add_teardown("garden lantern", "lamp", place="shed", objects=2)
        writer.add_box("tin", limit_wh=100.0)
        (code,) = [c.code for c in writer.add_cells(NMC, code=None, teardown=torn.code, pack="1", box="tin")]
        measure(writer, code)
        (wrong,) = writer.add_readings([capacity(code, 1.1)])
        writer.supersede(wrong.id, "bad-contact", "a clip hung loose")
        (dead,) = [c.code for c in writer.add_cells(NMC)]
        writer.add_readings([found(dead, 1.2), look(dead, Look.RUST)])
    other, cells, readings = moved(shelf, tmp_path)
    assert (cells.refused, readings.refused, readings.left_out) == ((), (), 1)
    assert facts(other) == facts(shelf)
    assert standing(other) == standing(shelf)
    with shelf.reading() as old, other.reading() as new:
        assert new.cell(dead).stage is Stage.CONDEMNED
        assert [replace(t, added_at=None) for t in new.teardowns()] == [replace(torn, added_at=None)]
        assert new.boxes() == old.boxes() and new.meters() == old.meters()
        assert new.verdict(code, shelf.rules, NOW).outcome == old.verdict(code, shelf.rules, NOW).outcome
        assert new.check(shelf.rules) == []


def test_what_happened_to_a_cell_comes_along_with_its_list(shelf: Shelf, tmp_path: Path) -> None:
    """A discard by hand, an incident, a place in a device: none is lost on the way, with readings or without."""
    torn, fell, built = shelf.good_cells(3)
    with shelf.writing(NOW) as writer:
        writer.discard(torn, "the wrap is torn")
        writer.add_incident("fell", [fell], "off the stairs")
    with shelf.reading() as reader:
        reader.export_dir(tmp_path / "out")
    listed = tmp_path / "out" / "cells.csv"
    listed.write_text(re.sub(rf"({built}),\w+,", r"\1,installed,", listed.read_text()))
    other, cells, readings = taken(tmp_path)
    assert (cells.refused, readings.refused) == ((), ())
    with other.reading() as new:
        assert new.cell(torn).stage is Stage.CONDEMNED
        found = {code: new.verdict(code, other.rules, NOW) for code in (torn, fell, built)}
        assert "the wrap is torn" in str(found[torn].reasons) and found[torn].outcome is Outcome.DISCARD
        assert found[fell].outcome is Outcome.HOLD and "fell" in str(found[fell])
        assert found[built].outcome is Outcome.HOLD and "dismantled" in str(found[built])
        assert new.check(other.rules) == []


@pytest.mark.parametrize("stage", ["condemned", "handed-over"])
def test_a_list_alone_keeps_out_of_use_what_was_out_of_use(shelf: Shelf, tmp_path: Path, stage: str) -> None:
    """Without any file beside it, with a code or without."""
    (cell,) = cells_of(shelf, f"form,chemistry,stage\n18650,nmc,{stage}\n")
    with shelf.reading() as reader:
        assert reader.cell(cell.code).stage is Stage.CONDEMNED
        assert "the list it came from" in str(reader.verdict(cell.code, shelf.rules, NOW).reasons)


@pytest.mark.parametrize("at", ["", "yesterday", "2026-11-20T20:00:00", "2226-11-20T20:00:00+00:00"])
def test_an_incident_that_cannot_be_read_is_not_passed_over(shelf: Shelf, tmp_path: Path, at: str) -> None:
    """The import is refused as a whole and names the line."""
    (code,) = shelf.good_cells()
    moved_to = tmp_path / "out"
    with shelf.reading() as reader:
        reader.export_dir(moved_to)
    (moved_to / "upsets.csv").write_text(f"id,code,kind,at,severe\n1,{code},fell,{at},False\n")
    other = Shelf(tmp_path / "other.sqlite")
    with pytest.raises(BadData, match=r"upsets\.csv line 2"), other.writing(NOW) as writer:
        writer.write(import_cells, moved_to / "cells.csv", partial=False)


def test_an_export_can_be_taken_in_once(shelf: Shelf, tmp_path: Path) -> None:
    """A second time every line is refused, and nothing is there twice."""
    shelf.good_cells(2)
    other, _, _ = moved(shelf, tmp_path)
    before = standing(other)
    with other.writing(NOW + timedelta(days=1)) as writer:
        again = writer.write(import_cells, tmp_path / "out" / "cells.csv", partial=True)
        more = writer.write(import_readings, tmp_path / "out" / "readings.csv", partial=True)
    assert (again.taken, more.taken) == (0, 0)
    assert standing(other) == before


def test_no_text_of_an_export_is_a_formula_and_all_come_back_as_they_were(
    shelf: Shelf, tmp_path: Path
) -> None:
    """In every file; a text with a quote of its own too, a plain number without one, a cold cell as a number."""
    texts = ("=1+1", "+cmd", "@sum", "-a", "'=b", "''-c", "-5", "'plain")
    with shelf.writing(NOW) as writer:
        torn = writer.add_teardown("=title", "lamp", place="@shed")
        writer.add_box("-tin", "+kind")
        writer.add_meter(replace(FINE, name="=meter"))
        codes = [writer.add_cells(replace(NMC, maker=text))[0].code for text in texts]
        (boxed,) = writer.add_cells(NMC, teardown=torn.code, pack="=p", box="-tin")
        cold = replace(capacity(boxed.code, 2.4), temperature_c=-5.0, meter=replace(FINE, name="=meter"))
        writer.add_readings([cold])
        writer.discard(codes[0], "=dropped")
    other, cells, readings = moved(shelf, tmp_path)
    assert (cells.refused, readings.refused) == ((), ())
    assert facts(other) == facts(shelf) and standing(other) == standing(shelf)
    with shelf.reading() as old, other.reading() as new:
        assert new.boxes() == old.boxes() and new.teardowns()[0].title == "=title"
        assert any(
            reason.text.endswith("=dropped") for reason in new.verdict(codes[0], shelf.rules, NOW).reasons
        )
    fields_out = {
        field
        for file in (tmp_path / "out").glob("*.csv")
        for row in csv.reader(file.read_text().splitlines())
        for field in row
    }
    assert {f for f in fields_out if f.startswith(tuple("=+@-"))} == {"-5", "-5.0"}
    assert {"'=1+1", "''=b", "'plain", "'=dropped", "'=title", "'-tin"} <= fields_out


positive = st.floats(0.01, 4.0, allow_nan=False)
words = st.text("abc ÄÖµ\"',;-=+@0 ", max_size=12).map(lambda text: " ".join(text.split()))
some_facts = st.builds(
    CellFacts,
    chemistry=st.sampled_from([c for c in Chemistry if c is not Chemistry.PRIMARY]),
    form=st.sampled_from(Form),
    marking=words,
    maker=words,
    date_code=words,
    rated_capacity_ah=st.none() | positive,
    rated_resistance_ohm=st.none() | positive,
    rated_resistance_method=st.sampled_from([method.value for method in Method]),
    full_voltage_v=st.none() | st.floats(3.6, 4.4),
    mass_g=st.none() | st.floats(1.0, 100.0),
    volume_cm3=st.none() | positive,
    bought_new=st.booleans(),
    rewrapped=st.booleans(),
    tabs=st.booleans(),
    protection_board=st.booleans(),
    confirmed_rechargeable=st.booleans(),
).filter(lambda facts: not any(beyond_size(facts)))


@settings(
    deadline=None,
    max_examples=12,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)
@given(st.lists(some_facts, min_size=1, max_size=4), st.lists(st.floats(2.6, 4.1), min_size=1, max_size=4))
def test_any_facts_and_any_figures_survive_the_way_out_and_in(
    tmp_path_factory: pytest.TempPathFactory, kinds: list[CellFacts], volts: list[float]
) -> None:
    """To the last bit, with commas, quotes and letters beyond ASCII in the texts."""
    folder = tmp_path_factory.mktemp("exchange")
    shelf = Shelf(folder / "shelf.sqlite")
    with shelf.writing(day(1)) as writer:
        codes = [writer.add_cells(kind)[0].code for kind in kinds]
        for number, value in enumerate(volts):
            writer.add_readings([found(codes[number % len(codes)], value, day(number / 7))][:1])
            writer.add_charge(charge(codes[0], day(number / 7)))
    other, cells, readings = moved(shelf, folder)
    assert (cells.refused, readings.refused) == ((), ())
    assert facts(other) == facts(shelf) and standing(other) == standing(shelf)
    assert {field.name for field in fields(CellFacts)} >= {"volume_cm3"}


def test_no_list_brings_a_figure_truer_than_any_instrument(shelf: Shelf) -> None:
    """A column that speaks of a trace takes no guard band away: the best there is has 0.003 % and 0.05 mV."""
    (code,) = shelf.cells(1)
    text = f"code,at,quantity,value,unit,u,trace\n{code},{day(1).isoformat()},as-found-voltage,2.005,V,0.0000001,H-1\n"
    file = shelf.path.with_name("list.csv")
    file.write_text(text)
    with shelf.writing() as writer:
        writer.write(import_readings, file)
        (made,) = writer.evidence(code).readings
    assert made.u == pytest.approx((0.00003 * 2.005 + 0.00005) / 3**0.5)
