"""Two benches, one store: codes kept, times kept, nothing twice, clashes refused."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from datetime import datetime, timedelta
from pathlib import Path

import pytest
from tests.acceptance.bench import FINE, NMC, day
from tests.store.store_bench import NOW, Shelf, capacity, found, look, measure

from straycell.builds import BuildState
from straycell.cells import Look, Stage
from straycell.errors import BadData, StoreFault
from straycell.readings import Charge, Reading
from straycell.store.backup import backup_store, restore_store
from straycell.store.book.records import ProjectState
from straycell.store.long_write import LONG_BYTES, write_long
from straycell.store.merge.take_in import Merged, merge_store
from straycell.store.writer import Writer, open_writer

LATER = NOW + timedelta(days=1)


class Other(Shelf):
    """A store of another bench."""

    letter = "B"

    @contextmanager
    def writing(self, at: datetime = NOW, create: bool = True) -> Iterator[Writer]:
        with open_writer(self.path, now=at, rules=self.rules, create=create, bench=self.letter) as writer:
            yield writer


@pytest.fixture
def other(tmp_path: Path) -> Other:
    """Bench B, with a cell of every kind of row."""
    made = Other(tmp_path / "bench-b.sqlite")
    with made.writing(day(1)) as writer:
        torn = writer.add_teardown("boat heater", "heater")
        writer.add_box("tin", limit_wh=90.0)
        (good,) = writer.add_cells(NMC, teardown=torn.code, pack="1", box="tin")
    with made.writing(NOW) as writer:
        measure(writer, good.code)
        (second,) = writer.add_cells(NMC)
        (wrong,) = writer.add_readings([capacity(second.code, 0.5)])
        writer.supersede(wrong.id, "bad-contact", "the clip hung loose")
        writer.add_incident("drop", [second.code])
        (third,) = writer.add_cells(NMC)
        writer.discard(third.code, "sat on")
        writer.set_aside_codes(2)
        writer.correct_cell(second.code, {"maker": "unknown"}, "read it again")
        writer.add_project("gauge", "name = 'gauge'", 1)
        writer.reserve("gauge", [[good.code]], "plan")
    return made


def merge(shelf: Shelf, other: Shelf, at: datetime = LATER) -> Merged:
    with shelf.writing(at) as writer:
        return writer.write(merge_store, other.path)


def counts(shelf: Shelf) -> dict[str, int]:
    """Rows of every table but verdicts, which are no records."""
    with shelf.bare() as conn:
        names = [n for (n,) in conn.execute("SELECT name FROM sqlite_master WHERE type = 'table'")]
        tables = [name for name in names if name not in ("verdict", "alembic_version")]
        return {name: conn.execute(f'SELECT count(*) FROM "{name}"').fetchone()[0] for name in tables}


def told(shelf: Shelf, code: str) -> list[tuple[object, ...]]:
    """A cell's history without numbers."""
    with shelf.reading() as reader:
        return [(e.at, e.verb, e.cells, e.because) for e in reader.history(code)]


def recorded(shelf: Shelf, code: str) -> list[tuple[Reading | Charge, datetime, str, str]]:
    with shelf.reading() as reader:
        return [(r.item, r.recorded_at, r.mistake, r.because) for r in reader.recorded(code)]


def test_everything_of_the_other_bench_is_here_as_it_was_there(shelf: Shelf, other: Other) -> None:
    """Facts, stages, boxes, readings with what was superseded, history with its times, builds."""
    shelf.cells(2)
    merged = merge(shelf, other)
    assert (merged.bench, merged.cells, merged.notes) == ("B", 3, [])
    with shelf.reading() as here, other.reading() as there:
        codes = there.codes()
        assert len(here.codes()) == len(codes) + 2
        for code in codes:
            assert here.cell(code) == there.cell(code)
            mine, theirs = here.evidence(code), there.evidence(code)
            assert mine.facts == theirs.facts
            assert [replace(u, event=0) for u in mine.upsets] == [replace(u, event=0) for u in theirs.upsets]
            assert (
                here.verdict(code, shelf.rules, LATER).outcome
                == there.verdict(code, shelf.rules, LATER).outcome
            )
        assert here.teardowns()[-1] == there.teardowns()[0]
        assert here.boxes() == there.boxes()
        assert here.blank_codes() == there.blank_codes()
        (build,) = here.builds()
        assert build == there.builds()[0]
        assert here.project("gauge") == there.project("gauge")
        assert here.check(shelf.rules) == []
    for code in codes:
        assert recorded(shelf, code) == recorded(other, code)
        assert told(shelf, code) == told(other, code)


def test_a_second_merge_brings_nothing_twice(shelf: Shelf, other: Other) -> None:
    """Not one row, not even an event of its own."""
    shelf.good_cells(1)
    merge(shelf, other)
    before = counts(shelf)
    again = merge(shelf, other, LATER + timedelta(days=1))
    assert (again.cells, again.readings, again.events) == (0, 0, 0)
    assert counts(shelf) == before


def test_a_later_merge_brings_what_happened_since(shelf: Shelf, other: Other) -> None:
    """A new cell, a new reading of a known one, its move, the end of its build."""
    merge(shelf, other)
    with other.reading() as there:
        good, second, _ = there.codes()
    with other.writing(LATER) as writer:
        writer.finish("gauge")
        writer.add_box("drawer")
        writer.move_cell(second, "drawer")
        writer.add_readings([look(second, Look.DENTED, at=LATER)])
        writer.add_cells(NMC)
    merged = merge(shelf, other, LATER + timedelta(hours=1))
    assert (merged.cells, merged.readings, merged.notes) == (1, 1, [])
    with shelf.reading() as here:
        assert here.cell(good).stage is Stage.INSTALLED
        assert here.cell(second).box == "drawer"
        assert here.builds()[0].state is BuildState.FINISHED
        assert here.project("gauge").state is ProjectState.BUILT
        assert here.check(shelf.rules) == []
    assert recorded(shelf, second) == recorded(other, second)


def test_a_discard_made_here_since_holds_against_an_older_stand_there(shelf: Shelf, other: Other) -> None:
    """A discard is stronger than the shelf, whatever was done there since."""
    merge(shelf, other)
    with other.reading() as there:
        _, second, _ = there.codes()
    with other.writing(LATER) as writer:
        writer.add_readings([look(second, Look.CLEAN, at=LATER)])
    with shelf.writing(LATER + timedelta(hours=2)) as writer:
        writer.discard(second, "dropped again")
    for mine, file in ((shelf, other), (other, shelf)):
        merge(mine, file, LATER + timedelta(hours=3))
        with mine.reading() as here:
            assert here.cell(second).stage is Stage.CONDEMNED
            assert here.check(shelf.rules) == []


def test_verdicts_follow_from_the_readings_of_both_benches(shelf: Shelf, other: Other) -> None:
    """A low voltage measured there condemns the cell here too."""
    merge(shelf, other)
    with other.reading() as there:
        _, second, _ = there.codes()
    with other.writing(LATER) as writer:
        writer.add_readings([found(second, 1.2, LATER)])
    merge(shelf, other, LATER + timedelta(hours=1))
    with shelf.reading() as here:
        assert here.verdict(second, shelf.rules, LATER).outcome.word == "discard"
        assert here.cell(second).stage is Stage.CONDEMNED


def test_boxes_meters_and_projects_of_one_name_stay_two(shelf: Shelf, other: Other) -> None:
    """Nothing is paired by its words: another bench's gets its letter behind its name, each in its own store."""
    with shelf.writing(NOW - timedelta(hours=1)) as writer:
        writer.add_meter(replace(FINE, voltage=None))
        writer.add_box("tin", limit_wh=40.0)
        writer.add_project("gauge", "name = 'gauge' # ours", 2)
    merged = merge(shelf, other)
    assert len(merged.notes) == 3 and all("(bench B)" in note for note in merged.notes)
    with shelf.reading() as here, other.reading() as there:
        good = there.codes()[0]
        assert {b.name: b.limit_wh for b in here.boxes()} == {"tin": 40.0, "tin (bench B)": 90.0}
        assert here.cell(good).box == "tin (bench B)"
        (theirs,) = [m for m in here.meters() if m.name == f"{FINE.name} (bench B)"]
        assert theirs.voltage == FINE.voltage
        assert {r.meter.name for r in here.evidence(good).readings if r.meter} == {theirs.name}
        assert [p.name for p in here.projects()] == ["gauge (bench B)", "gauge"]
    before = counts(shelf)
    assert merge(shelf, other, LATER + timedelta(days=1)).events == 0
    assert counts(shelf) == before
    merge(other, shelf)
    with other.reading() as there:
        assert {b.name: b.limit_wh for b in there.boxes()} == {"tin (bench A)": 40.0, "tin": 90.0}


def test_two_stores_of_one_letter_are_refused_both_ways(shelf: Shelf, tmp_path: Path) -> None:
    """Both give out the same codes and numbers: nothing is merged, and the person learns what to do."""
    shelf.good_cells(2)
    twin = Shelf(tmp_path / "twin.sqlite")
    twin.cells(3)
    for mine, theirs in ((shelf, twin), (twin, shelf)):
        before = counts(mine)
        with pytest.raises(BadData, match=r"both bench A, and went their own ways at write A-1 ") as caught:
            merge(mine, theirs)
        assert "store bench LETTER" in caught.value.remedy
        assert counts(mine) == before


def test_a_code_claimed_by_hand_on_two_benches_is_refused(shelf: Shelf, other: Other) -> None:
    """One label stands for two cells, or will."""
    with other.reading() as there:
        taken = [there.codes()[0], there.blank_codes()[0]]
    for code in taken:
        with shelf.writing(NOW) as writer:
            writer.add_cells(NMC, code=code)
        with pytest.raises(BadData, match=f"both stores gave out .*{code}"):
            merge(shelf, other)
        with pytest.raises(BadData, match=f"both stores gave out .*{code}"):
            merge(other, shelf)


def test_a_copy_that_alone_was_written_to_comes_home(shelf: Shelf, tmp_path: Path) -> None:
    """Same letter, one chain: what was measured on the road is taken as it is, and the next code is free."""
    (code,) = shelf.cells(1)
    copy = Shelf(tmp_path / "road.sqlite")
    shutil.copyfile(shelf.path, copy.path)
    copy.add(found(code, 3.7))
    with copy.writing(NOW) as writer:
        (fresh,) = writer.add_cells(NMC)
    merged = merge(shelf, copy)
    assert (merged.cells, merged.readings) == (1, 1)
    with shelf.writing(LATER) as writer:
        (next_one,) = writer.add_cells(NMC)
        assert next_one.code > fresh.code
        (number,) = [r.id for r in writer.add_readings([found(next_one.code, 3.6, LATER)])]
    assert str(number) == "A-2"


def test_copies_that_went_their_own_ways_are_refused_both_ways(shelf: Shelf, tmp_path: Path) -> None:
    """Both were written to under one letter: the first write that differs is named."""
    (code,) = shelf.cells(1)
    copy = Shelf(tmp_path / "road.sqlite")
    shutil.copyfile(shelf.path, copy.path)
    copy.add(found(code, 3.7))
    shelf.add(found(code, 3.6))
    for mine, theirs in ((shelf, copy), (copy, shelf)):
        with pytest.raises(BadData, match="went their own ways at write A-3"):
            merge(mine, theirs)


def test_a_copy_with_a_letter_of_its_own_is_merged_both_ways(shelf: Shelf, tmp_path: Path) -> None:
    """`store bench B` right after copying: the past is shared, what follows is told apart by its letter."""
    (code,) = shelf.cells(1)
    copy = Shelf(tmp_path / "road.sqlite")
    shutil.copyfile(shelf.path, copy.path)
    with copy.writing() as writer:
        assert writer.take_letter("B") == "A"
    (there,) = copy.add(found(code, 3.7))
    (here,) = shelf.add(found(code, 3.6, LATER), at=LATER)
    assert (str(there.id), str(here.id)) == ("B-1", "A-1")
    with copy.writing() as writer:
        (fresh,) = writer.add_cells(NMC)
    assert fresh.code.startswith("B")
    for mine, theirs in ((shelf, copy), (copy, shelf)):
        merge(mine, theirs)
        with mine.reading() as reader:
            assert [str(r.item.id) for r in reader.recorded(code)] == ["B-1", "A-1"]
            assert reader.check(shelf.rules) == []


@pytest.mark.parametrize(("letter", "words"), [("A", "already"), ("B", "known here")])
def test_a_letter_in_use_is_no_letter_of_ones_own(
    shelf: Shelf, other: Other, letter: str, words: str
) -> None:
    """Its own, and one whose records stand here."""
    shelf.cells(1)
    merge(shelf, other)
    with pytest.raises(BadData, match=words), shelf.writing() as writer:
        writer.take_letter(letter)


def test_two_stores_that_took_each_other_in_are_at_rest(shelf: Shelf, other: Other) -> None:
    """The second merge brings the first one's own write along; from then on nothing is new on either side."""
    shelf.good_cells(1)
    merge(shelf, other)
    merge(other, shelf)
    assert writes(shelf) == writes(other)
    for mine, theirs in ((shelf, other), (other, shelf)):
        before = mine.path.read_bytes()
        assert merge(mine, theirs, LATER + timedelta(days=9)).events == 0
        assert mine.path.read_bytes() == before


def test_a_merge_is_the_same_write_on_whichever_side_it_is_made(
    shelf: Shelf, other: Other, tmp_path: Path
) -> None:
    """Sorted parents and the later of their times: the two results share every write."""
    shelf.good_cells(1)
    left, right = Shelf(tmp_path / "left.sqlite"), Other(tmp_path / "right.sqlite")
    shutil.copyfile(shelf.path, left.path)
    shutil.copyfile(other.path, right.path)
    merge(left, other, LATER)
    merge(right, shelf, LATER + timedelta(days=3))
    assert writes(left) == writes(right)


def writes(shelf: Shelf) -> set[str]:
    """The keys of all writes."""
    with shelf.bare() as conn:
        return {key for (key,) in conn.execute('SELECT key FROM "write"')}


def test_a_fact_that_two_benches_changed_apart_is_disputed_until_it_is_corrected(
    shelf: Shelf, other: Other
) -> None:
    """Both values stand; the next correction settles it on both benches."""
    merge(shelf, other)
    with other.reading() as there:
        _, second, _ = there.codes()
    with shelf.writing(LATER) as writer:
        writer.correct_cell(second, {"chemistry": "lfp"}, "3.3 V at rest")
    with other.writing(LATER) as writer:
        writer.correct_cell(second, {"chemistry": "lco"}, "read on the sleeve")
    for mine, theirs in ((shelf, other), (other, shelf)):
        merged = merge(mine, theirs, LATER + timedelta(hours=1))
        assert mine is other or any("differently" in note for note in merged.notes)
        with mine.reading() as reader:
            assert reader.evidence(second).disputed == ("chemistry",)
    with shelf.writing(LATER + timedelta(hours=2)) as writer:
        writer.correct_cell(second, {"chemistry": "lfp"}, "the print says so")
    merge(other, shelf, LATER + timedelta(hours=3))
    for mine in (shelf, other):
        with mine.reading() as reader:
            assert reader.evidence(second).disputed == ()
            assert reader.cell(second).facts.chemistry == "lfp"


def test_a_cell_in_a_build_on_both_benches_is_refused(shelf: Shelf, other: Other) -> None:
    """It cannot be in two devices: both are named."""
    with other.reading() as there:
        good = there.codes()[0]
    with other.writing() as writer:
        writer.dismantle("gauge")
    merge(shelf, other)
    for mine, name in ((shelf, "lamp"), (other, "gauge")):
        with mine.writing(LATER) as writer:
            if name == "lamp":
                writer.add_project(name, f"name = '{name}'", 1)
            writer.reserve(name, [[good]], "plan")
    for mine, theirs in ((shelf, other), (other, shelf)):
        with pytest.raises(BadData, match=f"cell {good} is in a build in both stores: for '.*' and for '.*'"):
            merge(mine, theirs)


def test_a_store_that_was_changed_by_hand_is_not_taken_in(shelf: Shelf, other: Other) -> None:
    """The first write that does not fit is named, and nothing is merged."""
    shelf.good_cells(1)
    with other.bare() as conn:
        conn.execute("DROP TRIGGER reading_no_update")
        conn.execute("UPDATE reading SET value = 3.9 WHERE quantity = 'voltage'")
    before = counts(shelf)
    with pytest.raises(StoreFault, match="changed by hand: write B-3 "):
        merge(shelf, other)
    assert counts(shelf) == before


def test_a_file_that_is_no_other_store_is_refused(shelf: Shelf, tmp_path: Path) -> None:
    """Itself, a missing one, something else."""
    shelf.empty()
    with pytest.raises(BadData, match="this store itself"):
        merge(shelf, shelf)
    with pytest.raises(StoreFault, match="does not exist"):
        merge(shelf, Shelf(tmp_path / "none.sqlite"))
    (tmp_path / "notes.txt").write_text("not a store at all, only words about one")
    with pytest.raises(StoreFault):
        merge(shelf, Shelf(tmp_path / "notes.txt"))


def test_an_interrupted_merge_leaves_nothing_half_written(shelf: Shelf, other: Other) -> None:
    """Ctrl-C in the middle: one transaction, all of it or nothing."""
    shelf.good_cells(1)
    before = counts(shelf)

    def stop(done: int, of: int) -> None:
        if done > of // 2:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt), shelf.writing(LATER) as writer:
        writer.write(merge_store, other.path, stop)
    assert counts(shelf) == before


def test_the_other_store_is_only_read(shelf: Shelf, other: Other) -> None:
    """Byte for byte as it was."""
    raw = other.path.read_bytes()
    merge(shelf, other)
    assert other.path.read_bytes() == raw


def test_corrections_of_a_teardown_are_merged_the_latest_word_on_each_field(
    shelf: Shelf, tmp_path: Path
) -> None:
    """Whichever store is merged into which, and however often, both say the same in the end."""
    with shelf.writing(day(1)) as writer:
        writer.add_teardown("lmap", "lamp", None, "kerb")
    copy = Shelf(tmp_path / "copy.sqlite")
    shutil.copy(shelf.path, copy.path)
    with copy.writing(day(1)) as writer:
        writer.take_letter("B")
    with shelf.writing(day(2)) as writer:
        writer.correct_teardown("AT1", {"title": "lamp", "place": "yard"}, "slip")
    with copy.writing(day(3)) as writer:
        writer.correct_teardown("AT1", {"title": "reading lamp", "objects": 2}, "there were two")
    for mine, file in ((shelf, copy.path), (copy, shelf.path), (shelf, copy.path)):
        with mine.writing() as writer:
            writer.write(merge_store, file)
    for each in (shelf, copy):
        with each.reading() as reader:
            found = reader.teardown("AT1")
            assert (found.title, found.place, found.objects) == ("reading lamp", "yard", 2)
            assert [event.because for event in reader.teardown_corrections("AT1")] == [
                "slip",
                "there were two",
            ]


@pytest.mark.parametrize("odd", ["\x1b[2J", "\u202e", "\x9b31m", "\u2066"])
@pytest.mark.parametrize("where", ["box", "because", "detail"])
def test_a_text_that_would_steer_a_screen_is_refused(
    shelf: Shelf, other: Other, odd: str, where: str
) -> None:
    """No door takes one, so somebody wrote it past them; also where JSON hides it behind an escape."""
    with other.writing() as writer:
        if where == "box":
            writer.add_box(f"tin {odd}")
        else:
            said = {"because": f"x{odd}"} if where == "because" else {"detail": {"said": [f"y{odd}"]}}
            writer.pen.event("noted", **said)
    shelf.empty()
    before = shelf.path.read_bytes()
    with pytest.raises(BadData, match=f"control character U\\+{ord(odd[0]):04X}"):
        merge(shelf, other)
    assert shelf.path.read_bytes() == before


def test_a_merge_that_brings_nothing_new_writes_nothing(shelf: Shelf, other: Other) -> None:
    """Not one byte, also where it is done beside the store."""
    shelf.good_cells(1)
    merge(shelf, other)
    merge(other, shelf)
    before = shelf.path.read_bytes(), other.path.read_bytes()
    merge(shelf, other)
    merge(other, shelf, LATER + timedelta(days=60))
    done, _ = write_long(
        shelf.path,
        lambda writer: writer.write(merge_store, other.path),
        now=LATER,
        rules=shelf.rules,
        size_bytes=LONG_BYTES,
    )
    assert done.events == 0 and (shelf.path.read_bytes(), other.path.read_bytes()) == before


def lettered(shelf: Shelf, path: Path) -> Shelf:
    """A copy that goes on as bench B."""
    shutil.copyfile(shelf.path, path)
    copy = Shelf(path)
    with copy.writing() as writer:
        writer.take_letter("B")
    return copy


def test_a_cell_withdrawn_here_and_measured_there_is_there(shelf: Shelf, tmp_path: Path) -> None:
    """Whichever side takes which: a reading is of some cell, so the withdrawal gives way; the other way it stays."""
    with shelf.writing() as writer:
        found, phantom = (cell.code for cell in writer.add_cells(NMC, count=2))
        torn = writer.add_teardown("pump", "pump").code
    other = lettered(shelf, tmp_path / "b.sqlite")
    with shelf.writing(LATER) as writer:
        for code in (found, phantom):
            writer.withdraw_cell(code, "label without a cell")
        writer.withdraw_teardown(torn, "recorded twice")
    with other.writing(LATER) as writer:
        writer.add_readings([look(found, Look.CLEAN)])
        writer.correct_cell(found, {}, "it came out of the pump", teardown=torn)
    for one, two in ((shelf, other), (other, shelf)):
        merge(one, two, LATER + timedelta(hours=1))
        with one.reading() as reader:
            assert reader.codes() == [found]
            assert reader.cell(found).stage is Stage.RECEIVED
            assert reader.cell(phantom).stage is Stage.WITHDRAWN
            assert [t.code for t in reader.teardowns()] == [torn]
            assert reader.check() == []


def test_two_benches_that_list_one_cell_for_one_place_can_merge(shelf: Shelf, other: Other) -> None:
    """Each has a list of its own: both wait with it, none is written twice, and both stores say the same."""
    merge(shelf, other)
    merge(other, shelf)
    with shelf.writing(LATER) as writer:
        first = writer.add_handover("yard")
    merge(other, shelf, LATER + timedelta(hours=1))
    with shelf.reading() as reader:
        (spare,) = [c.code for c in reader.cells() if c.stage is Stage.SHELVED or c.stage is Stage.RECEIVED][
            :1
        ]
    for number, each in enumerate((shelf, other), 2):
        with each.writing(LATER + timedelta(hours=number)) as writer:
            writer.discard(spare, "sat on")
            found_one = writer.add_handover("yard")
            assert (found_one.id == first.id) == (each is shelf)
    merge(shelf, other, LATER + timedelta(hours=5))
    merge(other, shelf, LATER + timedelta(hours=5))
    for each in (shelf, other):
        with each.reading() as reader:
            assert reader.check(each.rules, LATER + timedelta(hours=6)) == []
            assert spare in {code for entry in reader.handovers() for code in entry.codes}


def test_a_list_from_before_a_restore_is_not_added_to(shelf: Shelf, other: Other) -> None:
    """The other bench knows what the restored store forgot: the same cell on the same list twice could not be merged."""
    first, second = shelf.cells(2)
    copy = shelf.path.with_name("copy.sqlite")
    with shelf.writing() as writer:
        writer.discard(first, "bent")
        writer.discard(second, "torn")
        writer.add_handover("yard", [first])
    backup_store(shelf.path, copy)
    with shelf.writing(NOW + timedelta(hours=1)) as writer:
        kept = writer.add_handover("yard", [second])
    merge(other, shelf)
    restore_store(copy, shelf.path, now=LATER, rules=shelf.rules)
    with shelf.writing(LATER + timedelta(hours=1)) as writer:
        new = writer.add_handover("yard", [second])
    assert new.id != kept.id
    merge(shelf, other, LATER + timedelta(days=1))
    with shelf.reading() as reader:
        assert {entry.id for entry in reader.handovers()} >= {kept.id, new.id}
        assert reader.check(shelf.rules) == []
