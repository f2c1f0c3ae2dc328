"""The use cases without a terminal: what they return, and that each sees one moment of the store."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from tests.cli.bench import Bench as CommandLine
from tests.web.rig import Page

from straycell.acceptance import load_rules
from straycell.acceptance.reasons import Outcome
from straycell.bench import project_answer, project_match
from straycell.bench.cell_sheet import cell_history, cell_sheet
from straycell.bench.context import Bench
from straycell.bench.outlook import Need, what_waits
from straycell.bench.recording.discard import discard_cell, record_incident
from straycell.bench.recording.reading_form import Correction
from straycell.bench.recording.record import record_charge, record_readings, supersede
from straycell.cells import CellFacts, Chemistry, Form, Look
from straycell.errors import BadData
from straycell.readings import Mistake, Quantity
from straycell.store import reader, writer

NOW = datetime(2026, 3, 1, 9, 0, tzinfo=UTC)


@pytest.fixture
def bench(tmp_path: Path) -> Bench:
    """A new store with one sound cell in it."""
    made = Bench(tmp_path / "s.sqlite", load_rules(), NOW)
    with made.writing(create=True) as pen:
        pen.add_cells(CellFacts(Chemistry.NMC, Form.F18650, rated_capacity_ah=2.6))
    return made


CODE = "A00002M"


def test_what_was_recorded_comes_back_with_the_verdict_that_follows(bench: Bench) -> None:
    """A clean look and a good voltage leave it on hold; a burnt one takes it out of use."""
    recorded = record_readings(bench, CODE, {"look": (Look.CLEAN,), "as_found_voltage_v": 3.4})
    assert [item.quantity for item in recorded.items] == [Quantity.LOOK, Quantity.AS_FOUND_VOLTAGE]
    assert recorded.after[0].verdict.outcome is Outcome.HOLD
    burnt = record_readings(bench, CODE, {"look": (Look.BURNT,)})
    assert burnt.after[0].verdict.outcome is Outcome.DISCARD
    assert burnt.after[0].cell.stage == "condemned"


def test_nothing_is_recorded_of_a_line_that_does_not_fit_together(bench: Bench) -> None:
    """A capacity above what any cell holds: the look beside it is not recorded either."""
    with pytest.raises(BadData):
        record_readings(
            bench,
            CODE,
            {"look": (Look.CLEAN,), "capacity_ah": 9e9, "discharge_current_a": 0.5, "cutoff_v": 3.0},
        )
    assert cell_sheet(bench, CODE).recorded == ()


def test_a_capacity_that_does_not_count_says_why_and_what_would(bench: Bench) -> None:
    """No full charge before it."""
    run = {"capacity_ah": 2.4, "discharge_current_a": 0.5, "cutoff_v": 2.8, "temperature_c": 21.0}
    recorded = record_readings(bench, CODE, run)
    assert list(recorded.doubts) == [recorded.items[0].id]
    assert "charge it full" in recorded.remedy


def test_a_mistyped_charge_is_put_right_by_its_own_fields(bench: Bench) -> None:
    """Only the end current was forgotten; the rest stays."""
    charge = record_charge(bench, CODE, {"current_a": 0.5, "until_v": 4.2}).items[0]
    correction = Correction(Mistake.MISTYPED, {"end_current_a": 0.05}, None, None, NOW)
    done = supersede(bench, [str(charge.id)], correction, "read again")
    (again,) = done.recorded.items
    assert (again.end_current_a, again.value) == (0.05, 4.2)
    assert [entry.superseded for entry in cell_sheet(bench, CODE).recorded] == [True, False]


def test_what_waits_names_the_cell_and_what_can_be_taken_now(bench: Bench) -> None:
    """A fresh cell wants a look first; one out of use waits for nothing."""
    (waiting,) = what_waits(bench)
    assert waiting.code == CODE and waiting.needs[0] is Need.LOOK and waiting.full_v == 4.2
    discard_cell(bench, CODE, "dropped into the sea")
    assert what_waits(bench) == []


def test_a_second_discard_writes_nothing_and_tells_the_first(bench: Bench) -> None:
    """Its first reason stays."""
    discard_cell(bench, CODE, "first")
    events = len(cell_history(bench, CODE).events)
    done = discard_cell(bench, CODE, "second")
    assert done.because == "first" and done.earlier is not None
    assert len(cell_history(bench, CODE).events) == events


def test_an_incident_holds_and_a_severe_one_condemns(bench: Bench) -> None:
    """By the kind, or by the person's word."""
    assert record_incident(bench, [CODE], "a knock").after[0].verdict.outcome is Outcome.HOLD
    assert record_incident(bench, [CODE], "a knock", severe=True).after[0].verdict.outcome is Outcome.DISCARD


def test_a_look_is_one_snapshot(bench: Bench) -> None:
    """What another process commits while a look is open is kept out of it, or has to wait."""
    with bench.reading() as look:
        before = look.codes()
        other = sqlite3.connect(bench.path, timeout=0.0, isolation_level=None)
        with pytest.raises(sqlite3.OperationalError, match="locked"):
            other.execute("BEGIN IMMEDIATE")
            other.execute("UPDATE bench SET last_cell = last_cell + 1")
            other.execute("COMMIT")
        other.close()
        assert look.codes() == before


LAMP = """name = "lamp"
[load]
current = "35mA"
[need]
runtime = "4h"
cutoff = "3.2V"
temperature = "15C"
[pack]
series = 1
parallel = 1
"""


@pytest.mark.parametrize("line", ["match lamp", "match --all", f"match lamp --cells {CODE}", "the page"])
def test_others_write_while_a_match_is_worked_out(
    bench: Bench, line: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A large stock is solved for many seconds; what it is solved for was read before."""
    person, solved = CommandLine(bench.path, now=NOW.isoformat()), 0
    (tmp_path / "lamp.toml").write_text(LAMP)
    person.do(f"project add {tmp_path / 'lamp.toml'}")

    def beside(solve: Any) -> Any:
        def through(*args: Any, **named: Any) -> Any:
            nonlocal solved
            solved += 1
            other = sqlite3.connect(bench.path, timeout=0.0, isolation_level=None)
            for statement in ("BEGIN IMMEDIATE", "UPDATE bench SET last_cell = last_cell + 1", "COMMIT"):
                other.execute(statement)
            other.close()
            return solve(*args, **named)

        return through

    for module, name in ((project_match, "serve"), (project_match, "match_all"), (project_answer, "serve")):
        monkeypatch.setattr(module, name, beside(getattr(module, name)))
    if line == "the page":
        page = Page(person)
        page.pair()
        assert page.get("/project", params={"name": "lamp"}).status_code == 200
    else:
        assert person.run(line).code in (0, 1)
    assert solved == 1


@pytest.mark.parametrize(
    ("line", "opened"),
    [
        (f"cell show {CODE}", ["look"]),
        (f"verdict show {CODE}", ["look"]),
        ("verdict list", ["look"]),
        ("due", ["look"]),
        ("stock", ["look"]),
        (f"reading add {CODE} --look clean", ["write"]),
        (f"charge add {CODE} --current 0.5A --until 4.2V", ["write"]),
        (f"cell correct {CODE} --tabs --because seen", ["write"]),
        (f"discard {CODE} --because swollen", ["write"]),
    ],
)
def test_a_command_opens_the_store_once(
    bench: Bench, line: str, opened: list[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """What it says of a cell after a write was seen in that write, not in a later state."""
    seen: list[str] = []

    def counted(word: str, door: Any) -> Any:
        @contextmanager
        def through(*args: Any, **named: Any) -> Iterator[Any]:
            seen.append(word)
            with door(*args, **named) as found:
                yield found

        return through

    monkeypatch.setattr(reader, "open_reader", counted("look", reader.open_reader))
    monkeypatch.setattr(writer, "open_writer", counted("write", writer.open_writer))
    answer = CommandLine(bench.path, now=NOW.isoformat()).run(line)
    assert answer.code == 0, answer.err
    assert seen == opened
