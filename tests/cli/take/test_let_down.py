"""`charge let-down` from the command line: recorded, shown, corrected, refused, exported, and understood by `due`."""

from __future__ import annotations

from pathlib import Path

import pytest
from tests.cli.bench import Bench
from tests.cli.judge.test_due_kinds import FOUND, PAIR, Shop, shop

__all__ = ["shop"]


@pytest.fixture
def full(shop: Shop) -> Shop:
    """Cell a after its self-discharge check: `pack`, and left full."""
    shop.play(FOUND + PAIR)
    shop.on(18.5)
    return shop


def outcome(shop: Shop) -> str:
    return str(shop.do(f"verdict show {shop.names['a']}")["outcome"])


def test_what_due_prints_can_be_typed_as_it_stands(full: Shop) -> None:
    """The line of the list, word for word; then the cell is off the list, and still what it was."""
    before = outcome(full)
    todo = full.due(18.5)["full"]["todo"]
    made = full.do(todo.partition("straycell ")[2])
    assert (made["quantity"], made["value"], made["unit"]) == ("let-down", 3.8, "V")
    assert "full" not in full.due(18.5) and outcome(full) == before == "pack"


def test_the_next_rest_voltage_is_no_leak_then(full: Shop) -> None:
    """Without the record the same voltage discards the cell for good."""
    code = full.names["a"]
    bare = full.store.read_bytes()
    rest = f"reading add {code} --voltage 3.80V --rested 36h --temperature 22C --meter m"
    full.do(f"charge let-down {code} --until 3.80V")
    full.on(20.5)
    full.do(rest)
    assert outcome(full) == "pack"
    full.store.write_bytes(bare)
    full.do(rest)
    assert outcome(full) == "discard"
    full.do(f"charge let-down {code} --until 3.80V --at 2026-03-19T20:00:00+00:00")
    assert outcome(full) == "discard"


def test_it_is_shown_for_what_it_is(full: Shop) -> None:
    """On the answer, the page of the cell and in its history; with the cautions of a load."""
    code = full.names["a"]
    answer = full.run(f"charge let-down {code} --until 3800mV --temperature 21C")
    assert answer.code == 0 and f"{code}  let down to 3.8 V" in answer.out
    assert "rest voltages recorded before it count as they did" in " ".join(answer.err.split())
    assert "caution:" in answer.err and "End it when the cell passes 60 C" in answer.err
    full.do(f"reading add {code} --look clean")
    assert "let-down" in full.run(f"cell show {code}").out
    assert "let-down to 3.8 V" in full.run(f"cell history {code}").out


def test_a_slip_in_its_voltage_is_put_right_and_its_day_is_not(full: Shop) -> None:
    """Another day would explain other readings: it is taken back, and told anew."""
    code = full.names["a"]
    made = full.do(f"charge let-down {code} --until 3.08V")
    (fixed,) = full.do(f"reading supersede {made['id']} --mistake mistyped --because slip --until 3.80V")
    assert (fixed["quantity"], fixed["value"], fixed["at"]) == ("let-down", 3.8, made["at"])
    line = f"reading supersede {fixed['id']} --because slip"
    told = full.refused(f"{line} --mistake mistyped --at 2026-03-10T09:00:00+00:00", 3)
    assert "wrong-cell" in told
    full.refused(f"{line} --mistake mistyped --voltage 3.8V", 2)
    full.refused(f"{line} --mistake mistyped --until 3.8V --current 0.5A", 2)
    full.refused(f"{line} --mistake bad-contact", 3)
    assert full.do(f"{line} --mistake wrong-cell") == []


@pytest.mark.parametrize(
    ("line", "code", "words"),
    [
        ("charge let-down {a}", 2, "--until"),
        ("charge let-down {a} --until 3.8", 3, "unit"),
        ("charge let-down {a} --until 2.1V", 3, "not a storage voltage"),
        # cell sheets end a discharge at 2.5 V at least: below it was emptied
        ("charge let-down {a} --until 2.45V", 3, "not a storage voltage"),
        ("charge let-down {a} --until 9V", 3, "9"),
        ("charge let-down {a} --until 3.8V --at 2027-01-01", 3, "future"),
        ("charge let-down A99999X --until 3.8V", 3, "A99999X"),
        ("charge let-down {a} --until 3.8V --current 0.5A", 2, "--current"),
    ],
)
def test_what_cannot_be_meant_is_refused(full: Shop, line: str, code: int, words: str) -> None:
    """One clear error each, and nothing is recorded."""
    before = full.store.read_bytes()
    assert words in full.refused(line.format(**full.names), code)
    assert full.store.read_bytes() == before


def test_a_deep_discharge_is_told_to_become_a_reading(full: Shop) -> None:
    """Forgotten on a lamp: what it shows then decides, so it must be measured."""
    told = full.refused(f"charge let-down {full.names['a']} --until 1.2V", 3)
    assert "let it rest, then record the voltage" in " ".join(told.split())


def test_it_survives_export_and_import(full: Shop, tmp_path: Path) -> None:
    """As any other reading: the same word, value and time in another store."""
    code = full.names["a"]
    full.do(f"charge let-down {code} --until 3.80V")
    full.do(f"export {tmp_path / 'out'}")
    other = Bench(tmp_path / "other.sqlite", now=full.now)
    other.do("store init")
    other.do(f"import cells {tmp_path / 'out' / 'cells.csv'}")
    other.do(f"import readings {tmp_path / 'out' / 'readings.csv'}")
    told = [r for r in other.do(f"cell show {code}")["readings"] if r["quantity"] == "let-down"]
    assert [r["value"] for r in told] == [3.8]
