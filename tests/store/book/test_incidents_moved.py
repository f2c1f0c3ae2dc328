"""An incident of the wrong cell or kind: taken back with a reason, for ever visible, and never gone without a place."""

from __future__ import annotations

import shutil
from datetime import timedelta
from itertools import permutations
from pathlib import Path

import pytest
from tests.laws.store_walk import said
from tests.store.store_bench import NOW, Shelf

from straycell.acceptance import Outcome
from straycell.acceptance.evidence import Upset
from straycell.cells import Stage
from straycell.errors import BadData
from straycell.readings import Mistake
from straycell.store.backup import backup_store, restore_store
from straycell.store.book.use.incidents import IN_DOUBT
from straycell.store.exchange.cells import import_cells
from straycell.store.merge.take_in import merge_store

LATE = NOW + timedelta(hours=2)


@pytest.fixture
def pair(shelf: Shelf) -> tuple[Shelf, str, str]:
    """Two good cells; the first has a fire on record that was the second one's."""
    wrong, right = shelf.good_cells(2)
    with shelf.writing(NOW) as writer:
        writer.add_incident("fire", [wrong], "smoke", severe=True)
    return shelf, wrong, right


def upsets(shelf: Shelf, code: str) -> list[tuple[str, bool]]:
    """What counts of a cell."""
    with shelf.reading() as reader:
        return [(each.kind, each.severe) for each in reader.evidence(code).upsets]


def happened(shelf: Shelf, code: str) -> Upset:
    with shelf.reading() as reader:
        (found,) = reader.evidence(code).upsets
    return found


def move(shelf: Shelf, wrong: str, right: str, at: object = LATE) -> None:
    found = happened(shelf, wrong)
    with shelf.writing(at) as writer:  # type: ignore[arg-type]
        writer.withdraw_incident(wrong, found, Mistake.WRONG_CELL, "the label beside it", right)


def outcome(shelf: Shelf, code: str, at: object = LATE) -> Outcome:
    with shelf.reading() as reader:
        return reader.verdict(code, shelf.rules, at).outcome  # type: ignore[arg-type]


def test_a_fire_moves_to_the_cell_that_burnt(pair: tuple[Shelf, str, str]) -> None:
    """The right one is condemned from the fire's own moment; the wrong one is tested again first."""
    shelf, wrong, right = pair
    move(shelf, wrong, right)
    assert upsets(shelf, wrong) == [] and upsets(shelf, right) == [("fire", True)]
    with shelf.reading() as reader:
        assert reader.cell(right).stage is Stage.CONDEMNED
        assert reader.cell(wrong).stage is not Stage.CONDEMNED
        assert reader.evidence(right).upsets[0].at == NOW
        assert [fall.rule for fall in reader.evidence(wrong).falls] == ["upset"]
        assert reader.check(shelf.rules) == []
    assert outcome(shelf, wrong) is Outcome.HOLD


def test_put_right_within_the_hour_the_wrong_cell_is_free_at_once(pair: tuple[Shelf, str, str]) -> None:
    """The same bench still has both cells in hand, as with a mistyped reading."""
    shelf, wrong, right = pair
    move(shelf, wrong, right, NOW + timedelta(minutes=5))
    assert outcome(shelf, wrong, NOW + timedelta(minutes=6)) is Outcome.PACK
    assert outcome(shelf, right) is Outcome.DISCARD


def test_a_restored_backup_neither_revives_nor_loses_it(pair: tuple[Shelf, str, str], tmp_path: Path) -> None:
    """Before the mistake was found, and before the incident: each cell is judged as it was before the restore."""
    shelf, wrong, right = pair
    old = tmp_path / "old.sqlite"
    backup_store(shelf.path, old)
    move(shelf, wrong, right)
    for _ in range(2):
        restore_store(old, shelf.path, now=LATE, rules=shelf.rules)
        assert upsets(shelf, wrong) == [] and upsets(shelf, right) == [("fire", True)]
        assert outcome(shelf, wrong) is Outcome.HOLD and outcome(shelf, right) is Outcome.DISCARD
    # Moved back and forth it has the same kind and moment as the one that was taken back first.
    move(shelf, right, wrong, LATE + timedelta(hours=1))
    restore_store(old, shelf.path, now=LATE + timedelta(hours=2), rules=shelf.rules)
    assert upsets(shelf, wrong) == [("fire", True)] and upsets(shelf, right) == []
    with shelf.reading() as reader:
        assert reader.check(shelf.rules) == []


def test_what_a_restore_numbered_again_stays_taken_back(shelf: Shelf, tmp_path: Path) -> None:
    """The backup knows of neither: what was taken back does not come along, what counts does."""
    wrong, right = shelf.good_cells(2)
    old = tmp_path / "old.sqlite"
    backup_store(shelf.path, old)
    with shelf.writing(NOW) as writer:
        writer.add_incident("drop", [wrong])
    between = tmp_path / "between.sqlite"
    backup_store(shelf.path, between)
    restore_store(old, shelf.path, now=NOW, rules=shelf.rules)
    assert upsets(shelf, wrong) == [("drop", False)]
    move(shelf, wrong, right)
    # In the second backup it still bears the number from before the first restore.
    for backup in (old, between):
        restore_store(backup, shelf.path, now=LATE, rules=shelf.rules)
        assert upsets(shelf, wrong) == [] and upsets(shelf, right) == [("drop", False)]


def test_after_a_restore_a_fire_still_moves(shelf: Shelf, tmp_path: Path) -> None:
    """Its finding names it by the number it bore before; that falls with it, on both."""
    wrong, right = shelf.good_cells(2)
    backup_store(shelf.path, tmp_path / "old.sqlite")
    with shelf.writing(NOW) as writer:
        writer.add_incident("fire", [wrong], severe=True)
    restore_store(tmp_path / "old.sqlite", shelf.path, now=NOW, rules=shelf.rules)
    assert outcome(shelf, wrong) is Outcome.DISCARD
    move(shelf, wrong, right)
    assert outcome(shelf, wrong) is Outcome.HOLD and outcome(shelf, right) is Outcome.DISCARD


def test_what_the_program_concluded_is_no_slip(pair: tuple[Shelf, str, str]) -> None:
    """Coming back from a device, a lost record: it asks for tests, and only these answer it."""
    shelf, wrong, right = pair
    for kind in ("dismantled", "records-lost", "meter-fault", f"{IN_DOUBT}: warm"):
        with shelf.writing(LATE) as writer, pytest.raises(BadData, match="not an incident"):
            writer.withdraw_incident(wrong, Upset(kind, NOW), Mistake.WRONG_CELL, "the next one", right)


def test_in_every_order_of_merges_the_benches_say_the_same(
    pair: tuple[Shelf, str, str], tmp_path: Path
) -> None:
    """One bench moves it, one calls it mistyped, one adds a drop: all count, and nobody is freed by the order."""
    shelf, wrong, right = pair
    found = happened(shelf, wrong)
    benches = [shelf]
    for letter in "BC":
        benches.append(Shelf(tmp_path / f"{letter}.sqlite", shelf.rules))
        shutil.copyfile(shelf.path, benches[-1].path)
        with benches[-1].writing(NOW) as writer:
            writer.take_letter(letter)
    move(benches[0], wrong, right)
    with benches[1].writing(LATE + timedelta(hours=1)) as writer:
        writer.withdraw_incident(wrong, found, Mistake.MISTYPED, "it fell", None, ("heat", False))
    with benches[2].writing(LATE) as writer:
        writer.add_incident("drop", [right])
    answers = []
    for number, (first, *others) in enumerate(permutations(benches)):
        made = Shelf(tmp_path / f"m{number}.sqlite", shelf.rules)
        shutil.copyfile(first.path, made.path)
        for other in others:
            with made.writing(LATE + timedelta(days=1)) as writer:
                writer.write(merge_store, other.path)
        answers.append(said(made, when_found=False))
        assert upsets(made, wrong) == [("heat", False)]
        assert sorted(upsets(made, right)) == [("drop", False), ("fire", True)]
    assert all(answer == answers[0] for answer in answers)


def test_a_list_carries_it_with_the_right_cell_only(pair: tuple[Shelf, str, str], tmp_path: Path) -> None:
    """Exported and imported elsewhere, each cell keeps what counts of it."""
    shelf, wrong, right = pair
    move(shelf, wrong, right)
    with shelf.reading() as reader:
        reader.export_dir(tmp_path / "out")
    other = Shelf(tmp_path / "other.sqlite", shelf.rules)
    with other.writing(LATE) as writer:
        writer.write(import_cells, tmp_path / "out" / "cells.csv")
    assert upsets(other, wrong) == [] and upsets(other, right) == [("fire", True)]


def test_what_one_import_or_restore_brought_is_not_one_incident(shelf: Shelf, tmp_path: Path) -> None:
    """Both file all incidents under one event: a fire does not go to the cell that only fell."""
    burnt, fell = shelf.good_cells(2)
    backup_store(shelf.path, tmp_path / "old.sqlite")
    with shelf.writing(NOW) as writer:
        writer.add_incident("fire", [burnt], severe=True)
        writer.add_incident("drop", [fell])
    with shelf.reading() as reader:
        reader.export_dir(tmp_path / "out")
    listed = Shelf(tmp_path / "listed.sqlite", shelf.rules)
    with listed.writing(LATE) as writer:
        writer.write(import_cells, tmp_path / "out" / "cells.csv")
    restore_store(tmp_path / "old.sqlite", shelf.path, now=LATE, rules=shelf.rules)
    for store in (listed, shelf):
        found = happened(store, burnt)
        with store.writing(LATE) as writer, pytest.raises(BadData, match="is missing"):
            writer.withdraw_incident(burnt, found, Mistake.WRONG_CELL, "the label beside it")
        assert upsets(store, burnt) == [("fire", True)] and upsets(store, fell) == [("drop", False)]
