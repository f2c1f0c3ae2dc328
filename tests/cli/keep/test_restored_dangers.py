"""An old backup brought back: what happened to a cell since, and how its charger was measured, is not forgotten."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from pathlib import Path

import pytest
from tests.cli.bench import Bench

CHARGE = "--current 0.5A --until 4.2V --end-current 50mA --charger bay"


def _rules(bench: Bench, code: str) -> set[str]:
    return {r["rule"] for r in bench.do(f"verdict show {code}")["reasons"] if r["status"] != "met"}


@pytest.mark.parametrize(
    ("since", "rule"),
    [
        ("incident add --kind drop {code} --note 'off the shelf'", "upset-look"),
        ("charger add bay --measured-float 4.35V", "charger-end"),
    ],
)
def test_a_restored_backup_knows_what_happened_since(
    bench: Bench, tmp_path: Path, since: str, rule: str
) -> None:
    """The hold is there again, after a second restore too, and the store is sound."""
    (cell,) = bench.prepare('cell add --form 18650 --chemistry nmc --marking "INR18650 2500mAh"')
    code = cell["code"]
    bench.prepare(f"reading add {code} --look clean --as-found-voltage 3.6V")
    bench.now = "2026-03-02T09:00:00+00:00"
    bench.do(f"charge add {code} {CHARGE}")
    bench.do(f"store backup {tmp_path / 'old.sqlite'}")
    bench.now = "2026-03-04T09:00:00+00:00"
    bench.do(since.format(code=code))
    assert rule in _rules(bench, code)
    for _ in range(2):
        bench.do(f"store restore {tmp_path / 'old.sqlite'} --yes")
        assert rule in _rules(bench, code)
    assert bench.run("store check").code == 0


def test_a_measurement_taken_back_since_is_taken_back_after_a_restore(bench: Bench, tmp_path: Path) -> None:
    """The charger was measured before the backup and that withdrawn after it: judged so, and the store is sound."""
    (cell,) = bench.prepare('cell add --form 18650 --chemistry nmc --marking "INR18650 2500mAh"')
    code = cell["code"]
    bench.now = "2026-03-02T09:00:00+00:00"
    bench.do(f"charge add {code} {CHARGE}")
    bench.do("charger add bay --measured-float 4.35V")
    bench.do(f"store backup {tmp_path / 'old.sqlite'}")
    bench.do("charger withdraw bay --because 'the wrong range'")
    bench.do(f"store restore {tmp_path / 'old.sqlite'} --yes")
    assert "charger-end" not in _rules(bench, code)
    assert bench.run("store check").code == 0


def test_what_another_bench_kept_of_it_comes_back_beside_it(bench: Bench, tmp_path: Path) -> None:
    """It took the incident in before the restore: merged back, the same fall off the shelf is there, and no clash."""
    (cell,) = bench.do('cell add --form 18650 --chemistry nmc --marking "INR18650 2500mAh"')
    code = cell["code"]
    bench.do(f"store backup {tmp_path / 'old.sqlite'}")
    bench.now = "2026-03-04T09:00:00+00:00"
    bench.do(f"incident add --kind drop {code} --note 'off the shelf'")
    other = Bench(tmp_path / "other.sqlite", bench.now)
    other.store.write_bytes(bench.store.read_bytes())
    other.do("store bench K")
    bench.do(f"store restore {tmp_path / 'old.sqlite'} --yes")
    bench.do(f"store merge {other.store}")
    assert "upset-look" in _rules(bench, code)
    assert bench.run("store check").code == 0


def _break(store: Path, statement: str) -> None:
    """Change the file past its guards, as a broken page does."""
    with closing(sqlite3.connect(store)) as conn:
        guards = conn.execute("SELECT name, sql FROM sqlite_master WHERE type = 'trigger'").fetchall()
        for name, _ in guards:
            conn.execute(f'DROP TRIGGER "{name}"')
        conn.execute("PRAGMA ignore_check_constraints = ON")
        conn.execute(statement)
        for _, guard in guards:
            conn.execute(guard)
        conn.commit()


@pytest.mark.parametrize(
    "statement",
    [
        "DELETE FROM event WHERE verb = 'charger-measured'",
        "UPDATE event SET detail = '{' WHERE verb = 'charger-measured'",
        "UPDATE event SET detail = '[1]' WHERE verb = 'charger-measured'",
    ],
)
def test_a_charger_s_measurement_outlives_its_broken_event(
    bench: Bench, tmp_path: Path, statement: str
) -> None:
    """Only the meter is in the event: the hold comes back with the backup, whatever became of that."""
    (cell,) = bench.prepare('cell add --form 18650 --chemistry nmc --marking "INR18650 2500mAh"')
    code = cell["code"]
    bench.now = "2026-03-02T09:00:00+00:00"
    bench.do(f"charge add {code} {CHARGE}")
    bench.do(f"store backup {tmp_path / 'old.sqlite'}")
    bench.now = "2026-03-04T09:00:00+00:00"
    bench.do("charger add bay --measured-float 4.35V")
    _break(bench.store, statement)
    bench.do(f"store restore {tmp_path / 'old.sqlite'} --yes")
    assert "charger-end" in _rules(bench, code)
    assert bench.run("store check").code == 0


def test_a_measurement_whose_event_is_gone_still_holds(bench: Bench) -> None:
    """In the store itself, too: what `store check` names as broken lifts no hold meanwhile."""
    (cell,) = bench.prepare('cell add --form 18650 --chemistry nmc --marking "INR18650 2500mAh"')
    code = cell["code"]
    bench.now = "2026-03-02T09:00:00+00:00"
    bench.do(f"charge add {code} {CHARGE}")
    bench.do("charger add bay --measured-float 4.35V")
    # Else the next event would get the number of the one that is gone.
    bench.do("teardown add lamp --kind lamp")
    _break(bench.store, "DELETE FROM event WHERE verb = 'charger-measured'")
    bench.do(f"reading add {code} --look clean")
    assert "charger-end" in _rules(bench, code)
    assert bench.run("store check").code == 1
