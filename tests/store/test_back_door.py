"""A safety discard cannot be lifted by correcting the chemistry and then the reading, each with a reason."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path

from straycell.acceptance import Outcome, load_rules
from straycell.cells import CellFacts, Chemistry, Form
from straycell.keys import NEW
from straycell.readings import Quantity, Reading
from straycell.store.writer import open_writer

START = datetime(2026, 5, 1, 10, tzinfo=UTC)


def test_two_reasoned_corrections_do_not_lift_a_discard(tmp_path: Path) -> None:
    """nmc at 1.8 V, corrected to lfp without a mistake, the reading then superseded by 1.81 V: still a discard."""
    rules, path = load_rules(), tmp_path / "s.sqlite"
    with open_writer(path, now=START, rules=rules) as writer:
        code = writer.add_cells(CellFacts(Chemistry.NMC, Form.F18650, "x", rated_capacity_ah=2.5))[0].code
        number = writer.add_readings([Reading(NEW, code, Quantity.VOLTAGE, START, 1.8, rested_s=7200.0)])[
            0
        ].id
    with open_writer(path, now=START + timedelta(hours=1), rules=rules) as writer:
        assert writer.verdict(code, rules, START).outcome is Outcome.DISCARD
        writer.correct_cell(code, {"chemistry": Chemistry.LFP}, "the sheet says so")
    with open_writer(path, now=START + timedelta(hours=2), rules=rules) as writer:
        again = Reading(NEW, code, Quantity.VOLTAGE, START, 1.81, rested_s=7200.0)
        writer.supersede(number, "mistyped", "read the display again", None, [again])
        writer.settle()
        assert writer.verdict(code, rules, START + timedelta(hours=2)).outcome is Outcome.DISCARD


def test_a_withdrawn_mistake_lifts_it(tmp_path: Path) -> None:
    """The same cell, its chemistry withdrawn as mistyped: judged as lfp only."""
    rules, path = load_rules(), tmp_path / "s.sqlite"
    with open_writer(path, now=START, rules=rules) as writer:
        code = writer.add_cells(CellFacts(Chemistry.NMC, Form.F18650, "x", rated_capacity_ah=2.5))[0].code
        writer.add_readings([Reading(NEW, code, Quantity.VOLTAGE, START, 1.8, rested_s=7200.0)])
    with open_writer(path, now=START + timedelta(hours=1), rules=rules) as writer:
        writer.correct_cell(code, {"chemistry": Chemistry.LFP}, "typed into the wrong row", "mistyped")
        writer.settle()
        assert writer.verdict(code, rules, START + timedelta(hours=1)).outcome is not Outcome.DISCARD
