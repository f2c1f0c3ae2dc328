"""A store of every version that was ever kept is brought up to this one, and loses nothing by it."""

from __future__ import annotations

import gzip
import json

import pytest
from tests.store.keep_version import FOLDER, kept, summary
from tests.store.store_bench import NOW, Shelf

from straycell.errors import StoreFault
from straycell.store.schema import create

VERSIONS = sorted(int(path.stem.removeprefix("version-")) for path in FOLDER.glob("version-*.json"))


def unpacked(shelf: Shelf, version: int) -> dict[str, object]:
    """The kept store in the place of this one; what it must go on saying."""
    packed, words = kept(version)
    shelf.path.write_bytes(gzip.decompress(packed.read_bytes()))
    told: dict[str, object] = json.loads(words.read_text(encoding="utf-8"))
    return told


def test_every_version_has_its_store() -> None:
    """A new version is not done before a store of it is kept: python -m tests.store.keep_version."""
    assert list(range(1, create.VERSION + 1)) == VERSIONS


@pytest.mark.parametrize("version", VERSIONS)
def test_a_kept_store_is_upgraded_and_loses_nothing(shelf: Shelf, version: int) -> None:
    """Cells, records, histories, discards and the keys of all writes; the check finds nothing, it can be written to."""
    told = unpacked(shelf, version)
    assert create.bring_up(shelf.path, NOW) == (version, create.VERSION)
    assert json.loads(json.dumps(summary(shelf))) == told
    with shelf.reading() as reader:
        assert reader.check(shelf.rules, NOW) == []
    with shelf.writing() as writer:
        writer.refresh_verdicts()
        writer.add_box("of today")
    with shelf.reading() as reader:
        assert reader.check(shelf.rules, NOW) == []
        assert set(reader.out_of_use()) >= set(told["out_of_use"])  # type: ignore[call-overload]


@pytest.mark.parametrize("version", [0, -5])
def test_a_version_that_nobody_wrote_is_damage_and_no_empty_file(full: Shelf, version: int) -> None:
    """Told that it is empty, a person would remove it."""
    with full.bare() as conn:
        conn.execute(f"PRAGMA user_version = {version}")
    before = full.path.read_bytes()
    for door in (full.reading, full.writing):
        with pytest.raises(StoreFault, match="which no straycell wrote") as caught, door():
            pass
        assert "salvage" in caught.value.remedy and "remove" not in caught.value.remedy
    assert full.path.read_bytes() == before


def test_the_header_and_the_last_migration_must_agree(full: Shelf) -> None:
    """The next upgrade would begin at the wrong place."""
    with full.bare() as conn:
        conn.execute("UPDATE alembic_version SET version_num = '0007'")
    with full.reading() as reader:
        assert reader.check(full.rules) == ["the header says version 1, the last migration was 0007"]
