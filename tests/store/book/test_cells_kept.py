"""Cells in the store: codes for life, facts in versions, boxes and stages."""

from __future__ import annotations

from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st
from tests.acceptance.bench import NMC, day
from tests.store.store_bench import NOW, Shelf, found

from straycell.acceptance.evidence import fact_key
from straycell.cells import CellFacts, Chemistry, Form, Stage, make_code, parse_code
from straycell.errors import BadData, UsageFault
from straycell.store.book.stock.cells import FACT_NAMES, facts_of, facts_values

LFP = CellFacts(Chemistry.LFP, Form.F18650, "IFR18650")


def test_codes_are_valid_run_on_and_skip_what_is_never_issued(shelf: Shelf) -> None:
    """A run long enough to meet numbers that a swap would confuse."""
    codes = shelf.cells(300) + shelf.cells(200)
    assert len(set(codes)) == 500 == len([parse_code(code) for code in codes])
    numbers = [int(code[1:6]) for code in codes]
    assert numbers == sorted(numbers) and numbers[-1] > 500


def test_the_bench_letter_stands_in_every_code(shelf: Shelf) -> None:
    """Two benches with different letters can merge their stores."""
    from straycell.store.writer import open_writer

    with open_writer(shelf.path, now=NOW, rules=shelf.rules, bench="K") as writer:
        assert writer.bench_letter() == "K"
        assert writer.add_cells(NMC)[0].code[0] == "K"
        assert writer.add_teardown("drill", "tool").code == "KT1"


@pytest.mark.parametrize("letter", ["", "k", "AB", "1", "Ä"])
def test_a_bench_letter_that_is_none_makes_no_store(shelf: Shelf, letter: str) -> None:
    """Refused before anything is made."""
    from straycell.store.writer import open_writer

    with pytest.raises(BadData), open_writer(shelf.path, now=NOW, rules=shelf.rules, bench=letter):
        pass
    assert not shelf.path.exists()


def test_a_code_set_aside_is_used_once_and_never_issued_again(shelf: Shelf) -> None:
    """Labels printed beforehand: the cell takes the code that sticks on it."""
    with shelf.writing() as writer:
        aside = writer.set_aside_codes(3)
        assert writer.blank_codes() == aside
        fresh = writer.add_cells(NMC)[0].code
        assert fresh not in aside
        taken = writer.add_cells(NMC, code=aside[1].lower())[0].code
        assert taken == aside[1] and writer.blank_codes() == [aside[0], aside[2]]
        with pytest.raises(BadData, match="is a cell already"):
            writer.add_cells(NMC, code=aside[1])
        with pytest.raises(BadData, match="set aside, but no cell"):
            writer.cell(aside[0])


def test_a_code_chosen_by_hand_is_skipped_by_the_counter(shelf: Shelf) -> None:
    """Also one of another bench, which does not move the counter."""
    ahead, foreign = make_code("A", 3), make_code("Z", 500)
    with shelf.writing() as writer:
        writer.add_cells(NMC, code=ahead)
        writer.add_cells(NMC, code=foreign)
        codes = [cell.code for cell in writer.add_cells(NMC, count=4)]
    assert ahead not in codes and [int(code[1:6]) for code in codes][:2] == [2, 5]


def test_a_bench_that_ran_out_of_numbers_says_so(shelf: Shelf) -> None:
    """A hundred thousand cells on one letter are enough."""
    shelf.empty()
    with shelf.bare() as conn:
        conn.execute("UPDATE bench SET last_cell = 99990")
    with pytest.raises(BadData, match="run out of numbers"), shelf.writing() as writer:
        writer.add_cells(NMC, count=20)


def test_codes_are_found_as_typed_and_near_ones_are_named(shelf: Shelf) -> None:
    """Lower case, spaces and hyphens forgiven; a slip names the cell it is nearest to."""
    code, other = shelf.cells(2)
    with shelf.reading() as reader:
        assert reader.find_code(f" {code[:3].lower()}-{code[3:]} ") == code
        for slip in (code[:-1] + ("1" if code[-1] != "1" else "2"), code[:-1]):
            with pytest.raises(BadData) as caught:
                reader.find_code(slip)
            assert code in caught.value.remedy
        with pytest.raises(BadData, match="there is no cell"):
            reader.find_code(make_code("A", 777))
        with pytest.raises(BadData, match="there is no cell"):
            reader.verdicts(shelf.rules, NOW, [other, make_code("A", 777)])


def test_cells_come_back_as_they_were_logged(shelf: Shelf) -> None:
    """Every fact, the tear-down, the pack and the box."""
    facts = CellFacts(
        Chemistry.LCO, Form.PRISMATIC, "ICP103450", "unnamed", "0719", 1.8, 0.08, "dc-pulse", 0.9, 1.8, 4.35, 38.5,
        17.0, True, True, True, True, True,
    )  # fmt: skip
    with shelf.writing() as writer:
        writer.add_box("tin", "metal box", 100.0)
        teardown = writer.add_teardown("tablet", "computer", date(2026, 2, 1), "kerb", "cracked glass", 2)
        made = writer.add_cells(facts, count=2, teardown="a-t1", pack="left", box="tin")
    with shelf.reading() as reader:
        assert reader.cells() == made and reader.cell(made[0].code) == made[0]
        assert made[0].facts == facts and made[0].stage is Stage.RECEIVED
        assert (made[0].teardown, made[0].pack, made[0].box) == (teardown.code, "left", "tin")
        assert reader.teardowns() == [teardown] == [reader.teardown("at1")]
        assert reader.box("tin") == reader.boxes()[0]


def test_filters_join(shelf: Shelf) -> None:
    """Stage, chemistry, form and box; an unknown box lists nothing."""
    nmc, lfp = shelf.cells(2), shelf.cells(1, LFP)
    with shelf.writing() as writer:
        writer.add_box("tin")
        writer.move_cell(lfp[0], "tin")
    with shelf.reading() as reader:

        def listed(**filters: object) -> list[str]:
            return [cell.code for cell in reader.cells(**filters)]  # type: ignore[arg-type]

        assert listed() == [*nmc, *lfp]
        assert listed(chemistry=Chemistry.LFP) == listed(box="tin") == listed(stage=Stage.SHELVED) == lfp
        assert listed(form=Form.F18650, chemistry=Chemistry.NMC) == nmc
        assert listed(box="tin", chemistry=Chemistry.NMC) == listed(box="no such") == []


_numbers = st.floats(0.001, 100.0)
FACTS = st.builds(
    CellFacts,
    st.sampled_from(Chemistry),
    st.sampled_from(Form),
    st.text(),
    st.text(),
    st.text(),
    st.none() | _numbers,
    st.none() | _numbers,
    st.sampled_from(["dc-pulse", "ac-1khz", "unknown"]),
    st.none() | _numbers,
    st.none() | _numbers,
    st.none() | st.floats(1.0, 5.0),
    st.none() | st.floats(0.1, 5000.0),
    st.none() | _numbers,
    *[st.booleans()] * 5,
)


@given(FACTS)
def test_facts_and_their_columns_are_one_to_one(facts: CellFacts) -> None:
    """A new fact cannot be forgotten on the way in or out."""
    values = facts_values(facts)
    assert facts_of(tuple(values[name] for name in FACT_NAMES)) == facts


@pytest.mark.parametrize(
    ("name", "value"),
    [
        ("rated_capacity_ah", 0.0),
        ("rated_capacity_ah", float("nan")),
        ("rated_resistance_ohm", 101.0),
        ("maker_charge_current_a", 0.0),
        ("full_voltage_v", 42.0),
        ("mass_g", -1.0),
        ("volume_cm3", 0.0),
        ("rated_resistance_method", "guess"),
    ],
)
def test_a_fact_that_cannot_be_meant_is_refused_before_a_row_exists(
    shelf: Shelf, name: str, value: object
) -> None:
    """Bad data with its name, not a database error."""
    facts = CellFacts(**{name: value})  # type: ignore[arg-type]
    with pytest.raises(BadData), shelf.writing() as writer:
        writer.add_cells(facts)
    with shelf.reading() as reader:
        assert reader.cells() == []


def test_unknown_places_are_refused_by_name(shelf: Shelf) -> None:
    """A box or tear-down that is not there, more codes than one, no cells."""
    with shelf.writing() as writer:
        with pytest.raises(BadData, match="no box 'tin'"):
            writer.add_cells(NMC, box="tin")
        with pytest.raises(BadData, match="no tear-down AT9"):
            writer.add_cells(NMC, teardown="AT9")
        with pytest.raises(UsageFault):
            writer.add_cells(NMC, count=2, code=make_code("A", 1))
        for count in (0, -1):
            with pytest.raises(BadData):
                writer.add_cells(NMC, count=count)


# --- corrections -----------------------------------------------------------------------------------


def test_a_correction_keeps_what_was_said_before(shelf: Shelf) -> None:
    """What was said stays in the evidence, field by field, until it is withdrawn as mistyped."""
    (code,) = shelf.cells()
    shelf.add(found(code, 3.5, day(1)), at=day(1))
    with shelf.writing() as writer:
        new = writer.correct_cell(
            code, {"chemistry": "lfp", "rated_capacity_ah": 1.5}, "read the sleeve again"
        )
        writer.add_readings([found(code, 3.3)])
    with shelf.reading() as reader:
        evidence = reader.evidence(code)
        event = next(e for e in reader.history(code) if e.verb == "cell-corrected")
    assert new.facts == evidence.facts and new.facts.chemistry is Chemistry.LFP
    assert evidence.other_chemistries == (Chemistry.NMC,)
    assert evidence.fact_keys("chemistry") != (fact_key(code, "chemistry"),)
    assert evidence.fact_keys("form") == (fact_key(code, "form"),)
    assert event.because == "read the sleeve again"
    assert event.detail["from"] == {"chemistry": "nmc", "rated_capacity_ah": 2.5}


def test_a_mistyped_entry_is_withdrawn_but_stays_in_the_history(shelf: Shelf) -> None:
    """Only the named fields; what else was said before stays said."""
    (code,) = shelf.cells()
    with shelf.writing() as writer:
        writer.correct_cell(code, {"chemistry": Chemistry.LCO}, "new sleeve shows it")
        writer.correct_cell(code, {"rated_capacity_ah": 2.6}, "slip of the finger", "mistyped")
    with shelf.reading() as reader:
        evidence = reader.evidence(code)
        details = [event.detail for event in reader.history(code) if event.verb == "cell-corrected"]
    assert evidence.other_chemistries == (Chemistry.NMC,)
    assert [s.value for s in evidence.corrected if s.field == "rated_capacity_ah"] == [2.6]
    assert details[-1]["from"] == {"rated_capacity_ah": 2.5} and details[-1]["mistake"] == "mistyped"


def test_a_correction_can_move_and_clear_where_a_cell_belongs(shelf: Shelf) -> None:
    """Tear-down, pack and box; None clears, leaving out keeps."""
    with shelf.writing() as writer:
        writer.add_box("tin")
        writer.add_teardown("drill", "tool")
        (cell,) = writer.add_cells(NMC, teardown="AT1", pack="a", box="tin")
        moved = writer.correct_cell(cell.code, {}, "was in the other pack", pack="b")
        assert (moved.teardown, moved.pack, moved.box) == ("AT1", "b", "tin")
        bare = writer.correct_cell(cell.code, {}, "nobody knows", teardown=None, pack=None, box=None)
    with shelf.reading() as reader:
        assert reader.cell(cell.code) == bare and (bare.teardown, bare.pack, bare.box) == (None, None, None)


@pytest.mark.parametrize(
    ("changes", "because", "mistake", "error"),
    [
        ({"chemistry": "nmc"}, "again", None, BadData),
        ({}, "nothing said", None, BadData),
        ({"chemistry": "lfp"}, "  ", None, BadData),
        ({"chemistry": "zinc"}, "smells so", None, BadData),
        ({"colour": "blue"}, "is blue", None, UsageFault),
        ({"chemistry": "lfp"}, "x", "bad-contact", UsageFault),
        ({"rated_capacity_ah": -2.0}, "x", None, BadData),
    ],
)
def test_a_correction_that_makes_no_sense_changes_nothing(
    shelf: Shelf, changes: dict[str, object], because: str, mistake: str | None, error: type[Exception]
) -> None:
    """Nothing changes, no reason, an unknown word or name."""
    (code,) = shelf.cells()
    with pytest.raises(error), shelf.writing() as writer:
        writer.correct_cell(code, changes, because, mistake)
    with shelf.reading() as reader:
        assert reader.cell(code).facts == NMC and len(reader.history(code)) == 1


# --- boxes -----------------------------------------------------------------------------------------


def test_a_received_cell_laid_in_a_box_is_shelved_and_can_be_taken_out(shelf: Shelf) -> None:
    """Each move is one event of the cell."""
    (code,) = shelf.cells()
    with shelf.writing() as writer:
        writer.add_box("tin", "metal box", 50.0)
        assert writer.move_cell(code, "tin").stage is Stage.SHELVED
        assert writer.move_cell(code, None).box is None
        with pytest.raises(BadData, match="no box 'tni'"):
            writer.move_cell(code, "tni")
    with shelf.reading() as reader:
        assert [event.verb for event in reader.history(code)] == ["cells-added", "cell-moved", "cell-moved"]


@pytest.mark.parametrize(
    ("name", "limit"), [("", None), (" ", None), ("tin", 0.0), ("tin", -1.0), ("tin", float("nan"))]
)
def test_a_box_needs_a_name_and_a_limit_above_zero(shelf: Shelf, name: str, limit: float | None) -> None:
    """No limit said is fine, none of zero."""
    with shelf.writing() as writer, pytest.raises(BadData):
        writer.add_box(name, "shelf", limit)


def test_names_are_taken_once(shelf: Shelf) -> None:
    """Boxes match exactly, so case makes another box."""
    with shelf.writing() as writer:
        writer.add_box("tin")
        writer.add_box("Tin")
        with pytest.raises(BadData, match="already"):
            writer.add_box("tin")


@pytest.mark.parametrize(
    ("title", "kind", "found_on", "objects"),
    [("", "lamp", None, 1), ("x", " ", None, 1), ("x", "lamp", None, 0), ("x", "lamp", date(2026, 3, 22), 1)],
)
def test_a_teardown_that_cannot_be_is_refused(
    shelf: Shelf, title: str, kind: str, found_on: date | None, objects: int
) -> None:
    """Empty words, no objects, found tomorrow."""
    with shelf.writing() as writer, pytest.raises(BadData):
        writer.add_teardown(title, kind, found_on, objects=objects)


def test_a_mistyped_teardown_is_put_right_and_its_history_stays(shelf: Shelf) -> None:
    """Every field; code and time of filing stay, each correction is an event with what was said before."""
    with shelf.writing() as writer:
        made = writer.add_teardown("lmap", "lamp", None, "kerb")
        first = writer.correct_teardown("at1", {"title": "lamp", "objects": 2}, "slip of the finger")
        second = writer.correct_teardown(
            made.code, {"found_on": date(2026, 2, 1), "note": "wet", "kind": "torch"}, "read the tag"
        )
    with shelf.reading() as reader:
        assert reader.teardown(made.code) == second
        told = reader.teardown_corrections(made.code)
    assert (first.title, first.objects, first.place) == ("lamp", 2, "kerb")
    assert (second.code, second.added_at) == (made.code, made.added_at)
    assert [event.detail["from"] for event in told] == [
        {"title": "lmap", "objects": 1},
        {"kind": "lamp", "found_on": None, "note": ""},
    ]
    assert [event.because for event in told] == ["slip of the finger", "read the tag"]
    assert told[1].detail["to"]["found_on"] == "2026-02-01"


@pytest.mark.parametrize(
    ("code", "changes", "because", "error"),
    [
        ("AT2", {"title": "x"}, "why", BadData),
        ("AT1", {"title": "lamp"}, "why", BadData),
        ("AT1", {"title": " "}, "why", BadData),
        ("AT1", {"objects": 0}, "why", BadData),
        ("AT1", {"found_on": date(2026, 3, 22)}, "why", BadData),
        ("AT1", {"title": "x"}, " ", BadData),
        ("AT1", {"code": "AT9"}, "why", UsageFault),
    ],
)
def test_a_correction_of_a_teardown_that_cannot_be_changes_nothing(
    shelf: Shelf, code: str, changes: dict[str, object], because: str, error: type[Exception]
) -> None:
    """No such one, nothing new, what could not be filed either, no reason."""
    with shelf.writing() as writer:
        made = writer.add_teardown("lamp", "lamp")
    with pytest.raises(error), shelf.writing() as writer:
        writer.correct_teardown(code, changes, because)
    with shelf.reading() as reader:
        assert reader.teardown("AT1") == made and reader.teardown_corrections("AT1") == []
