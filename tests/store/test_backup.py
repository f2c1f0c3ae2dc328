"""Backups: whole or not there, checked, put back without losing what stood in their place."""

from __future__ import annotations

from pathlib import Path

import pytest
from tests.acceptance.bench import NMC
from tests.store.store_bench import NOW, Shelf, look

from straycell.cells import Look, Stage
from straycell.errors import BadData, StoreFault, StraycellError
from straycell.store import engine
from straycell.store.backup import backup_store, carry_discards, restore_store


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
        return [box.name for box in reader.boxes()]


def test_a_backup_is_the_store_as_it_was(full: Shelf, copy: Path) -> None:
    """It opens like any store, and nothing else was left behind."""
    with full.reading() as reader, Shelf(copy).reading() as other:
        assert other.cells() == reader.cells() and other.check(full.rules) == []
    assert _boxes(copy) == [] and _boxes(full.path) == ["later"]
    assert sorted(p.name for p in copy.parent.iterdir()) == ["copy.sqlite", "shelf.sqlite"]


def test_a_restored_store_is_the_backup_and_the_former_one_is_kept(full: Shelf, copy: Path) -> None:
    """A restore in error can itself be undone."""
    aside = restore_store(copy, full.path)
    assert aside is not None and _boxes(full.path) == [] and _boxes(aside) == ["later"]
    again = restore_store(aside, full.path)
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
    restore_store(copy, shelf.path)
    with shelf.writing() as writer:
        assert carry_discards(former, writer) == sorted([by_hand, by_verdict, gone])
        assert carry_discards(former, writer) == []
    with shelf.reading() as reader:
        words = {code: o.word for code, o in reader.outcomes(shelf.rules, NOW).items()}
        assert words == dict.fromkeys([by_hand, by_verdict, gone, before], "discard") | {fine: "pack"}
        assert reader.cell(by_verdict).stage is Stage.CONDEMNED and reader.check(shelf.rules) == []
        told = reader.out_of_use()
    start = "was out of use in the store that was replaced: "
    assert told[by_hand] == start + "dropped" and told[gone] == start + "smells" and told[before] == "bent"
    assert told[by_verdict] == start + former[by_verdict] and "swollen" in told[by_verdict]


def test_a_missing_store_is_restored(full: Shelf, copy: Path) -> None:
    """The disk was lost, the copy was elsewhere."""
    full.path.unlink()
    assert restore_store(copy, full.path) is None and _boxes(full.path) == []


@pytest.mark.parametrize("content", [b"", b"tea stains" * 999, b"SQLite format 3\0" + b"\xff" * 9000])
def test_a_ruined_store_is_restored_over_with_its_journal_put_aside(
    full: Shelf, copy: Path, content: bytes
) -> None:
    """A journal left behind would be rolled back into the restored store."""
    full.path.write_bytes(content)
    journal = full.path.with_name(full.path.name + "-journal")
    if content:
        journal.write_bytes(b"old")
    aside = restore_store(copy, full.path)
    assert _boxes(full.path) == [] and not journal.exists()
    assert aside is not None and (not content or aside.read_bytes() == content)


def test_an_open_reader_sees_the_restored_store(full: Shelf, copy: Path) -> None:
    """The file is changed in place, so nobody goes on with the old one."""
    with full.reading() as reader:
        assert [box.name for box in reader.boxes()] == ["later"]
        restore_store(copy, full.path)
        assert reader.boxes() == []


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
        restore_store(copy, full.path)
    assert caught.value.remedy and full.path.read_bytes() == before
    assert not list(full.path.parent.glob("*.replaced-*"))


def test_a_damaged_store_is_not_backed_up(full: Shelf) -> None:
    """A backup is a promise."""
    _torn(full.path)
    with pytest.raises(StoreFault):
        backup_store(full.path, full.path.with_name("copy.sqlite"))
    assert not full.path.with_name("copy.sqlite").exists()


def test_wrong_names_are_told(full: Shelf, copy: Path) -> None:
    """A backup replaces nothing; a folder is no file; a store is not restored from itself."""
    folder = full.path.parent
    cases: list[tuple[type[StraycellError], object]] = [
        (BadData, lambda: backup_store(full.path, copy)),
        (BadData, lambda: backup_store(full.path, folder)),
        (BadData, lambda: backup_store(full.path, folder / "no" / "copy.sqlite")),
        (StoreFault, lambda: backup_store(folder / "absent.sqlite", folder / "new.sqlite")),
        (BadData, lambda: restore_store(full.path, full.path)),
        (StoreFault, lambda: restore_store(copy, folder)),
        (BadData, lambda: restore_store(copy, folder / "no" / "shelf.sqlite")),
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
    monkeypatch.setattr("straycell.store.backup.BUSY_S", 0.1)
    with full.bare() as conn:
        conn.execute("BEGIN IMMEDIATE")
        with pytest.raises(StoreFault, match="locked"):
            restore_store(copy, full.path)
        conn.execute("ROLLBACK")
    assert _boxes(full.path) == ["later"]
