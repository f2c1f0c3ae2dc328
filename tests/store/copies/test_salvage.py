"""A damaged store taken apart: what is readable goes into a fresh one, on hold, and what was lost is named."""

from __future__ import annotations

import random
import shutil
import sqlite3
from collections.abc import Callable, Iterator
from contextlib import closing
from datetime import timedelta
from pathlib import Path

import pytest
from tests.acceptance.bench import NMC
from tests.drawing import few, thinned
from tests.store.spoiled import NOT_STORES, PAGE, by_sql, overwritten
from tests.store.store_bench import NOW, Shelf, found, look

from straycell.acceptance import load_rules
from straycell.cells import Look, Stage
from straycell.errors import BadData, StoreFault, StraycellError
from straycell.store.salvage.fresh_store import Salvaged, salvage_store

RULES = load_rules()
LATER = NOW + timedelta(days=1)


@pytest.fixture(scope="module")
def ample(tmp_path_factory: pytest.TempPathFactory, filled: Path) -> Path:
    """A store of many pages: the full one, with good cells, one found leaking, one discarded, one corrected."""
    shelf = Shelf(tmp_path_factory.mktemp("ample") / "shelf.sqlite")
    shutil.copyfile(filled, shelf.path)
    codes = shelf.good_cells(6)
    shelf.add(look(codes[0], Look.LEAKING))
    with shelf.writing() as writer:
        writer.discard(codes[1], "fell into water")
        writer.correct_cell(codes[2], {"chemistry": "lco"}, "the print", "mistyped")
    return shelf.path


@pytest.fixture
def broken(tmp_path: Path, ample: Path) -> Path:
    """A copy of it to be damaged."""
    return Path(shutil.copyfile(ample, tmp_path / "broken.sqlite"))


def salvage(broken: Path) -> tuple[Salvaged, Shelf]:
    new = broken.with_name("new.sqlite")
    before = broken.read_bytes()
    done = salvage_store(broken, new, now=LATER, rules=RULES)
    assert broken.read_bytes() == before
    assert sorted(p.name for p in new.parent.iterdir()) == ["broken.sqlite", "new.sqlite"]
    return done, Shelf(new)


def outcomes(shelf: Shelf) -> dict[str, str]:
    with shelf.reading() as reader:
        return {code: o.word for code, o in reader.outcomes(RULES, LATER).items()}


def out_of_use(path: Path) -> set[str]:
    with Shelf(path).reading() as reader:
        return set(reader.out_of_use())


def test_nothing_is_lost_of_a_store_that_is_whole(broken: Path) -> None:
    """Every row comes along; every cell is on hold, or discarded as it was."""
    done, new = salvage(broken)
    assert done.lost == ()
    with Shelf(broken).reading() as old, new.reading() as reader:
        assert reader.check(RULES, LATER) == []
        assert reader.codes() == old.codes()
        assert [c.facts for c in reader.cells()] == [c.facts for c in old.cells()]
        for code in old.codes():
            assert reader.recorded(code) != [] or old.recorded(code) == []
            assert {r.item.id for r in reader.recorded(code)} == {r.item.id for r in old.recorded(code)}
        assert reader.bench_letter() == old.bench_letter()
    assert set(outcomes(new).values()) == {"hold", "discard"}
    assert out_of_use(new.path) == out_of_use(broken)


def test_a_salvaged_cell_needs_every_test_again(broken: Path) -> None:
    """Look, rest voltage, resistance and the self-discharge check, like a cell that fell."""
    _, new = salvage(broken)
    with new.reading() as reader:
        held = next(code for code, word in outcomes(new).items() if word == "hold")
        texts = [r.text for r in reader.verdict(held, RULES, LATER).reasons if r.rule == "upset"]
    assert len(texts) == 1
    assert all(word in texts[0] for word in ("look", "rest voltage", "resistance", "self-discharge check"))


def test_no_number_is_given_out_again(broken: Path) -> None:
    """They stand on labels; also where the row of the bench itself is lost."""
    with Shelf(broken).reading() as old:
        known = set(old.codes()) | set(old.blank_codes())
    _, new = salvage(broken)
    with new.writing(LATER) as writer:
        (cell,) = writer.add_cells(NMC)
    assert cell.code > max(known)
    with closing(sqlite3.connect(broken, isolation_level=None)) as conn:
        conn.execute("DELETE FROM bench")
    new.path.unlink()
    done, new = salvage(broken)
    with new.writing(LATER) as writer:
        (cell,) = writer.add_cells(NMC)
    assert cell.code[0] not in {code[0] for code in known} and any("bench" in line for line in done.lost)


def test_a_file_that_is_cut_off_gives_what_is_left(broken: Path) -> None:
    """The end is lost: its size says so, and nobody can tell what was recorded there, so no reading counts."""
    with broken.open("r+b") as file:
        file.truncate(broken.stat().st_size // 2 // PAGE * PAGE)
    done, new = salvage(broken)
    assert "the file is cut off" in done.lost[0]
    assert set(outcomes(new).values()) <= {"hold", "discard"}
    with new.reading() as reader:
        assert reader.check(RULES, LATER) == []


def test_every_page_may_be_lost_and_no_cell_is_let_go(broken: Path) -> None:
    """One page after the other overwritten: what that page did not hold is there, no verdict gets better."""
    whole = broken.read_bytes()
    gone, new = out_of_use(broken), broken.with_name("new.sqlite")
    with Shelf(broken).reading() as old:
        codes, chemistry = set(old.codes()), {c.code: c.facts.chemistry.value for c in old.cells()}
    for number in thinned(range(0, len(whole) // PAGE, 3)):
        broken.write_bytes(whole[: number * PAGE] + b"\xa5" * PAGE + whole[(number + 1) * PAGE :])
        new.unlink(missing_ok=True)
        _, shelf = salvage(broken)
        with shelf.reading() as reader:
            assert reader.check(RULES, LATER) == [], number
            there = {c.code: c for c in reader.cells()}
        assert codes <= set(there) and gone <= out_of_use(new), number
        assert set(outcomes(shelf).values()) <= {"hold", "discard"}
        for code, cell in there.items():
            assert cell.facts.chemistry.value in ("unknown", chemistry[code]), (number, code)


def test_bytes_overwritten_at_random_end_in_a_sound_store_or_a_refusal(broken: Path) -> None:
    """Whatever was hit: no fault of the program, nothing that passes, and no sound-looking rubbish."""
    dice, whole, new = random.Random(5), broken.read_bytes(), broken.with_name("new.sqlite")
    for _ in range(few(25)):
        broken.write_bytes(overwritten(whole, dice))
        new.unlink(missing_ok=True)
        try:
            _, shelf = salvage(broken)
        except StoreFault:
            assert not new.exists()
            continue
        with shelf.reading() as reader:
            assert reader.check(RULES, LATER) == []
        assert set(outcomes(shelf).values()) <= {"hold", "discard"}


@pytest.mark.parametrize(
    ("spoil", "word"),
    [
        (by_sql("UPDATE reading SET value = 'much' WHERE id = 1"), "reading A-1 of cell"),
        (by_sql("UPDATE reading SET value = 1e300 WHERE id = 2"), "reading A-2 of cell"),
        (by_sql("UPDATE event SET detail = 'no json' WHERE id = 3"), "event"),
        (by_sql("UPDATE cell SET born = '{' WHERE rowid = 1"), "does not fit its rows"),
        (by_sql("UPDATE cell SET code = 'NONSENSE' WHERE rowid = 1"), "only its code is left"),
        (by_sql("DELETE FROM supersession"), "does not fit its rows"),
        (by_sql("UPDATE supersession SET mistake = 'bad luck'"), "supersession A-"),
        (by_sql("UPDATE finding SET basis = 'x'"), "finding"),
        (by_sql("DELETE FROM fact WHERE field = 'chemistry'"), "chemistry is not known any more"),
        (by_sql("DELETE FROM teardown"), "does not fit its rows"),
        (
            by_sql("UPDATE fact SET value = '\"gold\"' WHERE field = 'chemistry'"),
            "chemistry is not known any more",
        ),
        (by_sql("DELETE FROM sqlite_master WHERE type = 'index'"), ""),
        (by_sql("DELETE FROM sqlite_master"), ""),
        (by_sql("UPDATE \"write\" SET key = replace(key, 'a', 'b') WHERE id = 3"), "does not fit its rows"),
    ],
)
def test_broken_values_and_missing_rows_are_named(
    broken: Path, spoil: Callable[[Path], None], word: str
) -> None:
    """The row that could not be taken, or what is unknown for want of one; the discards stay."""
    gone = out_of_use(broken)
    spoil(broken)
    done, new = salvage(broken)
    assert any(word in line for line in done.lost) or not word, done.lost
    with new.reading() as reader:
        assert reader.check(RULES, LATER) == []
        assert not [c for c in reader.cells() if c.facts.chemistry == "gold"]
    assert set(outcomes(new).values()) <= {"hold", "discard"} and gone <= out_of_use(new.path)


def test_a_discard_outlives_the_loss_of_what_it_rests_on(broken: Path) -> None:
    """The finding is gone, the cell's own row or its events still say that it was out of use."""
    gone = out_of_use(broken)
    by_sql("DELETE FROM finding", "DELETE FROM condemnation", "DELETE FROM cell WHERE stage = 'condemned'")(
        broken
    )
    _, new = salvage(broken)
    assert gone <= out_of_use(new.path)


def test_a_value_that_is_not_sure_does_not_count(broken: Path) -> None:
    """A reading of a write that does not fit its rows is kept and shown, and its cell has no capacity."""
    with closing(sqlite3.connect(broken)) as conn:
        code, at = conn.execute(
            "SELECT code, id FROM reading WHERE quantity = 'capacity' ORDER BY id DESC"
        ).fetchone()
    by_sql(f"UPDATE reading SET value = 3.4 WHERE id = {at}")(broken)
    _, new = salvage(broken)
    with new.reading() as reader:
        assert reader.evidence(code).readings == ()
        assert any(r.mistake == "records-lost" for r in reader.recorded(code))


def test_a_write_that_was_cut_short_is_rolled_back_first(broken: Path, ample: Path) -> None:
    """A journal beside the file holds what its last write had already overwritten."""
    shelf = Shelf(broken)
    with shelf.bare() as conn:
        conn.execute("PRAGMA cache_size = 1")
        conn.execute("BEGIN IMMEDIATE")
        conn.execute("DROP TRIGGER event_no_update")
        conn.execute("UPDATE event SET because = 'half'")
        torn, journal = broken.read_bytes(), broken.with_name("broken.sqlite-journal").read_bytes()
        conn.execute("ROLLBACK")
    assert journal[:8] == b"\xd9\xd5\x05\xf9\x20\xa1\x63\xd7"
    broken.write_bytes(torn)
    broken.with_name("broken.sqlite-journal").write_bytes(journal)
    new = broken.with_name("new.sqlite")
    salvage_store(broken, new, now=LATER, rules=RULES)
    assert broken.read_bytes() == torn
    with Shelf(new).reading() as reader:
        assert not [e for code in reader.codes() for e in reader.history(code) if e.because == "half"]


def _refused() -> Iterator[tuple[Callable[[Path], object], type[StraycellError]]]:
    yield from ((spoil, StoreFault) for spoil in NOT_STORES)
    yield (lambda path: path.unlink()), StoreFault
    yield by_sql("PRAGMA user_version = 2"), StoreFault
    yield (lambda path: path.with_name("new.sqlite").write_text("mine")), BadData


@pytest.mark.parametrize(("spoil", "error"), list(_refused()))
def test_what_cannot_be_salvaged_is_refused_and_nothing_is_made(
    broken: Path, spoil: Callable[[Path], object], error: type[StraycellError]
) -> None:
    """Empty, prose, no rows, missing, newer, and a target that is there already."""
    spoil(broken)
    before = sorted(p.name for p in broken.parent.iterdir())
    with pytest.raises(error) as caught:
        salvage_store(broken, broken.with_name("new.sqlite"), now=LATER, rules=RULES)
    assert caught.value.remedy and sorted(p.name for p in broken.parent.iterdir()) == before


def test_a_salvaged_store_can_be_worked_with(broken: Path) -> None:
    """Tested again, a cell that was good is good again; a repeated salvage of the result loses nothing."""
    _, new = salvage(broken)
    with new.reading() as reader:
        code = next(c.code for c in reader.cells() if c.stage is Stage.RECEIVED)
    new.add(look(code, Look.CLEAN, at=LATER), found(code, 3.7, at=LATER), at=LATER)
    with new.reading() as reader:
        assert reader.check(RULES, LATER) == []
