"""Boxes that refuse, hand-overs that lose nothing, meters that were compared, and the step from version 2."""

from __future__ import annotations

import sqlite3
from dataclasses import replace

import pytest
from tests.acceptance.bench import FINE, NMC, day
from tests.store.store_bench import NOW, Shelf, capacity, look, measure

from straycell.cells import CellFacts, Form, Look, Stage
from straycell.errors import BadData
from straycell.safety.due.gather import survey
from straycell.safety.handover.listing import Condition
from straycell.store.book.stock.boxes import contents
from straycell.store.book.stock.household import comparisons


def condemned(shelf: Shelf, count: int = 1) -> list[str]:
    codes = shelf.cells(count)
    shelf.add(*(look(code, Look.SWOLLEN) for code in codes))
    return codes


# --- boxes -----------------------------------------------------------------------------------------


def test_a_condemned_cell_never_joins_good_ones(shelf: Shelf) -> None:
    """Nor the other way round; nothing is moved."""
    (bad,), (good, other) = condemned(shelf), shelf.cells(2)
    with shelf.writing() as writer:
        for name in ("tin", "drum"):
            writer.add_box(name, "metal box")
        writer.move_cell(good, "tin")
        writer.move_cell(bad, "drum")
    with pytest.raises(BadData, match="holds good cells") as caught, shelf.writing() as writer:
        writer.move_cell(bad, "tin")
    assert good in caught.value.what and "box add" in caught.value.remedy
    with pytest.raises(BadData, match="holds condemned cells"), shelf.writing() as writer:
        writer.move_cell(other, "drum")
    with shelf.reading() as reader:
        assert (reader.cell(bad).box, reader.cell(other).box) == ("drum", None)


def test_the_door_of_logging_and_correcting_is_shut_too(shelf: Shelf) -> None:
    """`cell add --box` and `cell correct --box` ask the same question."""
    (bad,), (other,) = condemned(shelf), shelf.cells(1)
    with shelf.writing() as writer:
        writer.add_box("drum", "metal box")
        writer.move_cell(bad, "drum")
    with pytest.raises(BadData, match="holds condemned"), shelf.writing() as writer:
        writer.add_cells(NMC, box="drum")
    with pytest.raises(BadData, match="holds condemned"), shelf.writing() as writer:
        writer.correct_cell(other, {}, "it lies there", box="drum")


def test_a_drum_for_the_hand_over_takes_no_good_cell(shelf: Shelf) -> None:
    """Even when it is empty."""
    (good,), (bad,) = shelf.cells(1), condemned(shelf)
    with shelf.writing() as writer:
        writer.add_box("by the door", "hand-over drum")
    with pytest.raises(BadData, match="for condemned cells only"), shelf.writing() as writer:
        writer.move_cell(good, "by the door")
    with shelf.writing() as writer:
        assert writer.move_cell(bad, "by the door").box == "by the door"


def test_what_was_just_seen_counts_before_the_move(shelf: Shelf) -> None:
    """Seen swollen and moved in the same write: it goes as a condemned cell."""
    (good, bad) = shelf.cells(2)
    with shelf.writing() as writer:
        writer.add_box("tin", "metal box")
        writer.move_cell(good, "tin")
    with pytest.raises(BadData, match="holds good cells"), shelf.writing() as writer:
        writer.add_readings([look(bad, Look.SWOLLEN)])
        writer.move_cell(bad, "tin")


@pytest.mark.parametrize(("limit_wh", "fits"), [(26.9, 2), (27.0, 3), (100.0, 3)])
def test_a_box_is_not_filled_beyond_its_limit(shelf: Shelf, limit_wh: float, fits: int) -> None:
    """Three cells of 2.5 Ah x 3.6 V are 27.0 Wh."""
    codes = shelf.cells(3)
    with shelf.writing() as writer:
        writer.add_box("tin", "metal box", limit_wh)
        for code in codes[:fits]:
            writer.move_cell(code, "tin")
        assert contents(writer.pen.conn, "tin").energy.value == pytest.approx(9.0 * fits)
    if fits < 3:
        with pytest.raises(BadData, match=r"would hold 27.0 Wh, its limit is 26.9 Wh"), shelf.writing() as w:
            w.move_cell(codes[2], "tin")


def test_several_logged_at_once_count_together(shelf: Shelf) -> None:
    """`cell add --count 3 --box tin` fits whole or not at all."""
    with shelf.writing() as writer:
        writer.add_box("tin", "metal box", 26.9)
    with pytest.raises(BadData, match=r"27\.0 Wh"), shelf.writing() as writer:
        writer.add_cells(NMC, count=3, box="tin")
    with shelf.reading() as reader:
        assert reader.codes() == []


def test_what_is_not_known_is_estimated_high_and_said_so(shelf: Shelf) -> None:
    """An unrated 18650 may hold 12.6 Wh and more: it does not pass as nothing."""
    (code,) = shelf.cells(1, CellFacts(form=Form.F18650))
    with shelf.writing() as writer:
        writer.add_box("tin", "metal box", 12.0)
    with pytest.raises(BadData, match=r"\(estimated\)"), shelf.writing() as writer:
        writer.move_cell(code, "tin")


def test_a_measured_capacity_replaces_the_estimate(shelf: Shelf) -> None:
    """1.0 Ah x 3.6 V; superseded, it counts no more."""
    (code,) = shelf.cells(1, replace(NMC, rated_capacity_ah=None))
    (reading,) = shelf.add(capacity(code, 1.0))
    with shelf.writing() as writer:
        writer.add_box("tin", "metal box")
        writer.move_cell(code, "tin")
        assert contents(writer.pen.conn, "tin").energy.value == pytest.approx(3.6)
        writer.supersede(reading.id, "bad-contact", "the clip hung by one tooth")
        assert contents(writer.pen.conn, "tin").energy.estimated


def test_a_cell_in_its_box_is_moved_to_it_without_a_question(shelf: Shelf) -> None:
    """Saying again where it lies is no second cell in there."""
    (code,) = shelf.cells(1)
    with shelf.writing() as writer:
        writer.add_box("tin", "metal box", 9.5)
        writer.move_cell(code, "tin")
        assert writer.move_cell(code, "tin").box == "tin"


# --- hand-overs ------------------------------------------------------------------------------------


def test_a_hand_over_gathers_all_that_wait(shelf: Shelf) -> None:
    """The condemned, none of the good; a second call for the same place takes in what came since."""
    first, (good,) = condemned(shelf, 2), shelf.cells(1)
    with shelf.writing() as writer:
        entry = writer.add_handover("recycling yard")
    assert entry.codes == tuple(first) and good not in entry.codes
    later = condemned(shelf)
    with shelf.writing() as writer:
        again = writer.add_handover("recycling yard")
    assert again.id == entry.id and set(again.codes) == {*first, *later}


def test_closing_moves_the_cells_out_and_deletes_nothing(shelf: Shelf) -> None:
    """Handed over, in no box, history whole, the list kept as it went."""
    (code,) = condemned(shelf)
    with shelf.writing() as writer:
        writer.add_box("drum", "hand-over drum")
        writer.move_cell(code, "drum")
        number = writer.add_handover("recycling yard").id
    with shelf.reading() as reader:
        before = reader.handover_list(number, shelf.rules, NOW)
    with shelf.writing() as writer:
        entry = writer.close_handover(number)
    with shelf.reading() as reader:
        cell = reader.cell(code)
        kept = reader.handover_list(number, shelf.rules, day(400.0))
        verbs = [event.verb for event in reader.history(code)]
        assert len(reader.recorded(code)) == 1
        assert reader.check(shelf.rules) == []
    assert (cell.stage, cell.box) == (Stage.HANDED_OVER, None)
    assert kept == before.closed(NOW) and entry.closed_at == NOW
    assert verbs[-2:] == ["handover-added", "handed-over"]


def test_a_cell_cleared_meanwhile_stays_in_the_house(shelf: Shelf) -> None:
    """Its look was of another cell: superseded, it is left out at the close and may be listed another time."""
    codes = shelf.cells(2)
    wrong, _ = shelf.add(*(look(code, Look.SWOLLEN) for code in codes))
    with shelf.writing() as writer:
        number = writer.add_handover("recycling yard").id
        writer.supersede(wrong.id, "wrong-cell", "the cell beside it")
    with shelf.writing() as writer:
        entry = writer.close_handover(number)
    assert entry.codes == (codes[1],)
    with shelf.reading() as reader:
        assert reader.cell(codes[0]).stage is Stage.RECEIVED
    shelf.add(look(codes[0], Look.BURNT))
    with shelf.writing() as writer:
        assert writer.add_handover("recycling yard").codes == (codes[0],)


def test_a_cell_is_on_one_hand_over_at_a_time(shelf: Shelf) -> None:
    """A second place does not get it."""
    (code,) = condemned(shelf)
    with shelf.writing() as writer:
        writer.add_handover("recycling yard")
    with pytest.raises(BadData, match="on a hand-over already"), shelf.writing() as writer:
        writer.add_handover("shop counter", [code])
    with pytest.raises(BadData, match="no condemned cell waits"), shelf.writing() as writer:
        writer.add_handover("shop counter")


@pytest.mark.parametrize("typed", ["2", "A-2", "B-1", str(10**11)])
def test_a_hand_over_that_is_not_there_is_told(shelf: Shelf, typed: str) -> None:
    """With the last ones there are."""
    condemned(shelf)
    with shelf.writing() as writer:
        writer.add_handover("recycling yard")
    with shelf.reading() as reader, pytest.raises(BadData, match="no hand-over") as caught:
        reader.handover(reader.handover_number(typed))
    assert "A-1" in caught.value.remedy


def test_a_good_cell_cannot_be_handed_over(shelf: Shelf) -> None:
    """Discard it first: that needs a reason."""
    (code,) = shelf.cells(1)
    with pytest.raises(BadData, match="not condemned"), shelf.writing() as writer:
        writer.add_handover("recycling yard", [code])


def test_a_closed_hand_over_is_final_in_the_file_too(shelf: Shelf) -> None:
    """Twice through the door, and past it."""
    condemned(shelf)
    with shelf.writing() as writer:
        number = writer.add_handover("recycling yard").id
        writer.close_handover(number)
    with pytest.raises(BadData, match="was closed"), shelf.writing() as writer:
        writer.close_handover(number)
    with shelf.bare() as conn:
        for sql in (
            "UPDATE handover SET closed_at_us = NULL, body = ''",
            "UPDATE handover SET body = '{}'",
            "UPDATE handover_cell SET state = 'listed'",
            "DELETE FROM handover_cell",
        ):
            with pytest.raises(sqlite3.IntegrityError):
                conn.execute(sql)


def test_a_condemned_cell_in_a_device_is_not_gathered(shelf: Shelf) -> None:
    """It is in there; `due` says to take the build apart."""
    (code,) = shelf.good_cells(1)
    with shelf.writing(NOW) as writer:
        writer.add_project("gauge", "name = 'gauge'", 1)
        writer.reserve("gauge", [[code]], "plan")
        writer.finish("gauge")
    shelf.add(look(code, Look.SWOLLEN, at=day(21.0)), at=day(22.0))
    with pytest.raises(BadData, match="no condemned cell waits"), shelf.writing(day(22.0)) as writer:
        writer.add_handover("recycling yard")
    with shelf.reading() as reader:
        found = survey(reader.household(shelf.rules, day(22.0)))
        assert [i.kind.id for i in found if i.subject == code] == ["in-device"]
    with shelf.writing(day(22.0)) as writer:
        writer.dismantle("gauge")
        assert writer.add_handover("recycling yard").codes == (code,)


def test_the_list_follows_the_cells_until_it_is_closed(shelf: Shelf) -> None:
    """Worn out and intact; then somebody dents it."""
    (code,) = shelf.cells(1)
    with shelf.writing() as writer:
        measure(writer, code, capacity_ah=0.9)
        writer.settle()
        number = writer.add_handover("recycling yard").id
        assert writer.handover_list(number, shelf.rules, NOW).lines[0].condition is Condition.INTACT
    shelf.add(look(code, Look.DENTED))
    with shelf.reading() as reader:
        (line,) = reader.handover_list(number, shelf.rules, NOW).lines
        assert line.condition is Condition.DAMAGED


# --- the household ---------------------------------------------------------------------------------


def test_condemned_since_is_the_first_time_since_it_was_last_cleared(shelf: Shelf) -> None:
    """A discard taken back does not count for the next one."""
    (code,) = shelf.cells(1)
    (wrong,) = shelf.add(look(code, Look.SWOLLEN, at=day(5.0)), at=day(5.0))
    with shelf.writing(day(6.0)) as writer:
        writer.supersede(wrong.id, "wrong-cell", "the cell beside it")
    shelf.add(look(code, Look.RUST, at=day(9.0)), at=day(9.0))
    shelf.add(look(code, Look.SWOLLEN, at=day(12.0)), at=day(12.0))
    with shelf.reading() as reader:
        (kept,) = reader.household(shelf.rules, NOW).kept
    assert kept.condemned_at == day(9.0)


def test_a_meter_counts_from_its_latest_comparison(shelf: Shelf) -> None:
    """Declared, then compared; an earlier day recorded later changes nothing."""
    with shelf.writing(day(0.0)) as writer:
        writer.add_meter(FINE)
        assert [(c.last, c.compared) for c in comparisons(writer.pen.conn)] == [(day(0.0), False)]
    with shelf.writing(day(30.0)) as writer:
        writer.compare_meter("fine", day(20.0).date(), "against a reference")
        done, _ = writer.compare_meter("fine", day(10.0).date())
    assert (done.last.date(), done.compared) == (day(20.0).date(), True)
    with pytest.raises(BadData, match="in the future"), shelf.writing(day(30.0)) as writer:
        writer.compare_meter("fine", day(31.0).date())
    with pytest.raises(BadData, match="no meter 'red'"), shelf.writing(day(30.0)) as writer:
        writer.compare_meter("red", day(20.0).date())


def test_looking_at_the_household_changes_nothing(shelf: Shelf) -> None:
    """Byte for byte."""
    shelf.good_cells(2)
    condemned(shelf)
    before = shelf.path.read_bytes()
    with shelf.reading() as reader:
        survey(reader.household(shelf.rules, day(200.0)))
    assert shelf.path.read_bytes() == before
