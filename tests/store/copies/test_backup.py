"""Backups: whole or not there, checked, put back without losing what stood in their place."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Callable
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import pytest
from tests.acceptance.bench import NMC
from tests.store.store_bench import CHILD_ENV, NOW, Shelf, found, look

from straycell.acceptance import Outcome, load_rules
from straycell.cells import Look, Stage
from straycell.errors import BadData, StoreFault, StraycellError
from straycell.keys import NEW
from straycell.readings import Charge
from straycell.store.backup import backup_store, restore_store
from straycell.store.carry import Carried
from straycell.store.sqlite import engine
from straycell.store.sqlite.engine import same_file


def restore(copy: Path, store: Path) -> Path | None:
    """Restore; returns where the former store is kept."""
    return restore_store(copy, store, now=NOW, rules=load_rules()).aside


@pytest.fixture
def copy(full: Shelf) -> Path:
    """A backup of the full store, taken before one more box was added to it."""
    file = full.path.with_name("copy.sqlite")
    backup_store(full.path, file)
    with full.writing() as writer:
        writer.add_box("later")
    return file


def _boxes(path: Path) -> list[str]:
    with Shelf(path).reading() as reader:
        return [box.name for box in reader.boxes() if box.name != "drawer"]


def test_a_backup_is_the_store_as_it_was(full: Shelf, copy: Path) -> None:
    """It opens like any store, and nothing else was left behind."""
    with full.reading() as reader, Shelf(copy).reading() as other:
        assert other.cells() == reader.cells() and other.check(full.rules) == []
    assert _boxes(copy) == [] and _boxes(full.path) == ["later"]
    assert sorted(p.name for p in copy.parent.iterdir()) == ["copy.sqlite", "shelf.sqlite"]


def test_a_restored_store_is_the_backup_and_the_former_one_is_kept(full: Shelf, copy: Path) -> None:
    """A restore in error can itself be undone."""
    aside = restore(copy, full.path)
    assert aside is not None and _boxes(full.path) == [] and _boxes(aside) == ["later"]
    again = restore(aside, full.path)
    assert again not in (None, aside) and _boxes(full.path) == ["later"]


def test_what_went_out_of_use_after_the_backup_stays_out_of_use(shelf: Shelf) -> None:
    """By hand, by a verdict, or out of the house: discarded anew with the first reason; the rest is left alone."""
    by_hand, by_verdict, gone, fine, before = shelf.good_cells(5)
    with shelf.writing() as writer:
        writer.discard(before, "bent")
    copy = shelf.path.with_name("copy.sqlite")
    backup_store(shelf.path, copy)
    shelf.add(look(by_verdict, Look.SWOLLEN))
    with shelf.writing() as writer:
        writer.discard(by_hand, "dropped")
        writer.discard(gone, "smells")
        writer.add_handover("yard", [gone])
        writer.close_handover(writer.handovers()[0].id)
        new = writer.add_cells(NMC)[0].code
        writer.discard(new, "torn")
    with shelf.reading() as reader:
        former = reader.out_of_use()
    done = restore_store(copy, shelf.path, now=NOW, rules=shelf.rules)
    assert done.carried == Carried(tuple(sorted([by_hand, by_verdict, gone])), (new,), ())
    assert (
        restore_store(copy, shelf.path, now=NOW, rules=shelf.rules).carried.discarded
        == done.carried.discarded
    )
    with shelf.reading() as reader:
        words = {code: o.word for code, o in reader.outcomes(shelf.rules, NOW).items()}
        assert words == dict.fromkeys([by_hand, by_verdict, gone, before], "discard") | {fine: "pack"}
        assert reader.cell(by_verdict).stage is Stage.CONDEMNED and reader.check(shelf.rules) == []
        told = reader.out_of_use()
    start = "was out of use in the store that was replaced: "
    assert told[by_hand] == "dropped" and told[gone] == "smells" and told[before] == "bent"
    assert "swollen" in told[by_verdict] or told[by_verdict] == start + former[by_verdict]


def test_a_missing_store_is_restored(full: Shelf, copy: Path) -> None:
    """The disk was lost, the copy was elsewhere."""
    full.path.unlink()
    assert restore(copy, full.path) is None and _boxes(full.path) == []


@pytest.mark.parametrize("content", [b"", b"tea stains" * 999, b"SQLite format 3\0" + b"\xff" * 9000])
def test_a_ruined_store_is_restored_over_with_its_journal_put_aside(
    full: Shelf, copy: Path, content: bytes
) -> None:
    """A journal left behind would be rolled back into the restored store."""
    full.path.write_bytes(content)
    journal = full.path.with_name(full.path.name + "-journal")
    if content:
        journal.write_bytes(b"old")
    aside = restore(copy, full.path)
    assert _boxes(full.path) == [] and not journal.exists()
    assert aside is not None and (not content or aside.read_bytes() == content)


def test_a_writer_that_waited_while_a_restore_replaced_the_file_is_told(full: Shelf, copy: Path) -> None:
    """What it wrote would go into the former store, which nobody looks into again."""
    with same_file(full.path) as require_same:
        require_same()
        restore(copy, full.path)
        with pytest.raises(StoreFault, match="was replaced by a restore"):
            require_same()


def test_numbers_given_out_since_the_backup_are_not_given_out_again(shelf: Shelf) -> None:
    """Labels with them hang on cells; another bench may have taken the records in."""
    shelf.good_cells(1)
    copy = shelf.path.with_name("copy.sqlite")
    backup_store(shelf.path, copy)
    with shelf.writing() as writer:
        (lost,) = writer.add_cells(NMC)
        (reading,) = writer.add_readings([look(lost.code, Look.CLEAN)])
    restore(copy, shelf.path)
    with shelf.writing() as writer:
        (cell,) = writer.add_cells(NMC)
        (after,) = writer.add_readings([look(cell.code, Look.CLEAN)])
    assert cell.code > lost.code and after.id > reading.id
    with shelf.reading() as reader:
        assert reader.check(shelf.rules) == []


def test_a_mistake_found_since_the_backup_stays_found(shelf: Shelf) -> None:
    """A reading taken back and a chemistry that was mistyped are so in the restored store too."""
    code, other = shelf.good_cells(2)
    (low,) = shelf.add(found(code, 1.0))
    copy = shelf.path.with_name("copy.sqlite")
    backup_store(shelf.path, copy)
    with shelf.writing() as writer:
        writer.supersede(low.id, "wrong-cell", "it was the spare")
        writer.correct_cell(other, {"chemistry": "lco"}, "the print", "mistyped")
    restore(copy, shelf.path)
    with shelf.reading() as reader:
        assert low.key not in {r.key for r in reader.evidence(code).readings}
        assert reader.cell(other).facts.chemistry == "lco"
        assert reader.check(shelf.rules) == []


def test_a_fall_since_the_backup_still_asks_for_new_tests(shelf: Shelf) -> None:
    """It rested on a word that the backup never held: the fall itself says when, and of what rule."""
    (code,) = shelf.good_cells()
    copy = shelf.path.with_name("copy.sqlite")
    backup_store(shelf.path, copy)
    for number, chemistry in enumerate(("lfp", "nmc"), 1):
        with shelf.writing(NOW + number * timedelta(days=1)) as writer:
            writer.correct_cell(code, {"chemistry": chemistry}, "the print", "mistyped")
    with shelf.reading() as reader:
        before = {fall.rule for fall in reader.evidence(code).falls}
    restore(copy, shelf.path)
    with shelf.reading() as reader:
        assert {fall.rule for fall in reader.evidence(code).falls} == before == {"voltage-over-full"}
        assert reader.verdict(code, shelf.rules, NOW + timedelta(days=3)).outcome is Outcome.HOLD


def test_a_doubt_of_the_replaced_store_is_no_use_in_the_restored_one(shelf: Shelf) -> None:
    """A charge in frost, and a stain, are forgotten with what was recorded since; both cells are tested again.

    One of them fell, too, and the fall comes along: the restore names each cell once.
    """
    frozen, stained, sound, washed = shelf.good_cells(4)
    copy = shelf.path.with_name("copy.sqlite")
    backup_store(shelf.path, copy)
    day = timedelta(days=1)
    with shelf.writing(NOW + day) as writer:
        writer.add_charge(Charge(NEW, frozen, NOW, 0.3, 4.2, 0.05, -10.0, -8.0))
        writer.add_readings(
            [look(stained, Look.STAINED), look(sound, Look.CLEAN), look(washed, Look.STAINED)]
        )
        writer.add_incident("drop", [stained])
    with shelf.writing(NOW + 2 * day) as writer:
        writer.add_readings([replace(look(washed, Look.CLEAN), at=NOW + day)])
    carried = restore_store(copy, shelf.path, now=NOW + 3 * day, rules=shelf.rules).carried
    assert carried.doubtful == tuple(sorted((frozen, stained))) and carried.held == ()
    with shelf.reading() as reader:
        outcomes = reader.outcomes(shelf.rules, NOW + 3 * day)
        assert {outcomes[code] for code in (frozen, stained)} == {Outcome.HOLD}
        assert {outcomes[code] for code in (sound, washed)} == {Outcome.PACK}
        texts = [
            r.text for r in reader.verdict(frozen, shelf.rules, NOW + 3 * day).reasons if r.rule == "upset"
        ]
        assert "in doubt in the store that was replaced" in texts[0] and "-10 C" in texts[0]
        assert reader.check(shelf.rules) == []
    again = restore_store(
        shelf.path.with_name("copy.sqlite"), shelf.path, now=NOW + 4 * day, rules=shelf.rules
    )
    assert again.carried.doubtful == ()
    with shelf.reading() as reader:
        assert reader.outcomes(shelf.rules, NOW + 4 * day)[frozen] is Outcome.HOLD


def test_a_store_that_cannot_be_read_leaves_its_cells_on_hold(full: Shelf, copy: Path) -> None:
    """What it knew of them is lost: they are checked again like cells that fell."""
    full.path.write_bytes(b"tea stains" * 999)
    done = restore_store(copy, full.path, now=NOW, rules=full.rules)
    assert done.lost and len(done.carried.held) == 3
    with full.reading() as reader:
        outcomes = {code: outcome.word for code, outcome in reader.outcomes(full.rules, NOW).items()}
    assert set(outcomes.values()) <= {"hold", "discard"}


KILLED = """
import os, sys
from datetime import datetime
from pathlib import Path
from straycell.acceptance import load_rules
from straycell.store.backup import restore_store

def stop(step):
    if step == sys.argv[3]:
        os._exit(9)

restore_store(Path(sys.argv[1]), Path(sys.argv[2]), now=datetime.fromisoformat(sys.argv[4]), rules=load_rules(), step=stop)
"""


@pytest.mark.parametrize("step", ["copied", "carried", "set aside", "placed"])
def test_a_restore_killed_between_its_steps_loses_no_discard(shelf: Shelf, step: str) -> None:
    """Before the rename the store is as it was, afterwards it is restored with what was carried over."""
    by_hand, by_verdict, _ = shelf.good_cells(3)
    copy = shelf.path.with_name("copy.sqlite")
    backup_store(shelf.path, copy)
    shelf.add(look(by_verdict, Look.SWOLLEN))
    with shelf.writing() as writer:
        writer.discard(by_hand, "dropped")
    arguments = [str(copy), str(shelf.path), step, NOW.isoformat()]
    done = subprocess.run([sys.executable, "-c", KILLED, *arguments], env=CHILD_ENV, check=False)
    assert done.returncode == 9
    with shelf.reading() as reader:
        assert {by_hand, by_verdict} == set(reader.out_of_use())
        assert reader.check(shelf.rules) == []
    restore(copy, shelf.path)
    assert not list(shelf.path.parent.glob(".straycell-*"))
    with shelf.reading() as reader:
        assert {by_hand, by_verdict} == set(reader.out_of_use())


def _absent(path: Path) -> None:
    path.unlink()


def _prose(path: Path) -> None:
    path.write_text("no store at all\n" * 99)


def _torn(path: Path) -> None:
    with path.open("r+b") as file:
        file.truncate(20000)


def _newer(path: Path) -> None:
    with Shelf(path).bare() as conn:
        conn.execute("PRAGMA user_version = 99")


def _loose(path: Path) -> None:
    with Shelf(path).bare() as conn:
        conn.execute("INSERT INTO upset VALUES (NULL, 'A-99', 'A00009A', 'drop', 1772366400000000, 0, 1)")


@pytest.mark.parametrize("spoil", [_absent, _prose, _torn, _newer, _loose])
def test_a_bad_backup_is_refused_and_the_store_left_as_it_was(full: Shelf, copy: Path, spoil: object) -> None:
    """Checked before anything is replaced."""
    spoil(copy)  # type: ignore[operator]
    before = full.path.read_bytes()
    with pytest.raises(StoreFault) as caught:
        restore(copy, full.path)
    assert caught.value.remedy and full.path.read_bytes() == before
    assert not list(full.path.parent.glob("*.replaced-*"))


@pytest.mark.parametrize("spoil", [_torn, _loose, _prose])
def test_a_damaged_store_is_copied_and_the_copy_marked(full: Shelf, spoil: Callable[[Path], None]) -> None:
    """What is left of it is saved, and nobody takes the copy for a good one."""
    spoil(full.path)
    file = full.path.with_name("copy.sqlite")
    assert backup_store(full.path, file)
    assert file.stat().st_size == full.path.stat().st_size
    if spoil is not _prose:
        with pytest.raises(StoreFault, match="damaged"):
            restore(file, full.path)


def test_wrong_names_are_told(full: Shelf, copy: Path) -> None:
    """A backup replaces nothing; a folder is no file; a store is not restored from itself."""
    folder = full.path.parent
    cases: list[tuple[type[StraycellError], object]] = [
        (BadData, lambda: backup_store(full.path, copy)),
        (BadData, lambda: backup_store(full.path, folder)),
        (BadData, lambda: backup_store(full.path, folder / "no" / "copy.sqlite")),
        (StoreFault, lambda: backup_store(folder / "absent.sqlite", folder / "new.sqlite")),
        (BadData, lambda: restore(full.path, full.path)),
        (StoreFault, lambda: restore(copy, folder)),
        (BadData, lambda: restore(copy, folder / "no" / "shelf.sqlite")),
    ]
    for error, act in cases:
        with pytest.raises(error) as caught:
            act()  # type: ignore[operator]
        assert caught.value.remedy


def test_a_store_in_use_is_not_restored_over(
    full: Shelf, copy: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """SQLite's own copy would wait for ever."""
    monkeypatch.setattr(engine, "BUSY_S", 0.1)
    monkeypatch.setattr("straycell.store.sqlite.file.BUSY_S", 0.1)
    with full.bare() as conn:
        conn.execute("BEGIN IMMEDIATE")
        with pytest.raises(StoreFault, match="locked"):
            restore(copy, full.path)
        conn.execute("ROLLBACK")
    assert _boxes(full.path) == ["later"]
