"""A store in a temporary folder, and good cells to fill it with: what the store's tests are written with."""

from __future__ import annotations

import os
import sqlite3
import sys
from collections.abc import Iterator
from contextlib import closing, contextmanager
from dataclasses import replace
from datetime import datetime
from pathlib import Path
from typing import Any

from tests.acceptance.bench import FINE, NMC, day, good

from straycell.acceptance import RuleSet, load_rules
from straycell.builds import GroupVoltage
from straycell.cells import CellFacts, Look
from straycell.keys import NEW
from straycell.readings import Charge, Quantity, Reading
from straycell.store.book.records import NewTrace
from straycell.store.reader import Reader, open_reader
from straycell.store.schema.tables import CHARGER, FINDING, FINDING_FELL
from straycell.store.writer import Writer, open_writer

NOW = day(20.0)
"""Twenty days after the tear-down: the good cell of the acceptance tests is `pack` then."""


CHILD_ENV = {**os.environ, "PYTHONPATH": os.pathsep.join(path for path in sys.path if path)}
"""For processes of their own: they import what this one does."""


class Shelf:
    """One store file with a clock in the hand."""

    def __init__(self, path: Path, rules: RuleSet | None = None) -> None:
        self.path = path
        self.rules = rules or load_rules()

    @contextmanager
    def writing(self, at: datetime = NOW, create: bool = True) -> Iterator[Writer]:
        with open_writer(self.path, now=at, rules=self.rules, create=create) as writer:
            yield writer

    @contextmanager
    def reading(self) -> Iterator[Reader]:
        with open_reader(self.path) as reader:
            yield reader

    @contextmanager
    def bare(self) -> Iterator[sqlite3.Connection]:
        """The file without straycell between: what another program could do to it."""
        with closing(sqlite3.connect(self.path, isolation_level=None)) as conn:
            yield conn

    def empty(self) -> Shelf:
        with self.writing():
            pass
        return self

    def cells(self, count: int = 1, facts: CellFacts = NMC, **more: str | None) -> list[str]:
        """Cells without any reading."""
        with self.writing(day(0)) as writer:
            return [cell.code for cell in writer.add_cells(facts, count=count, **more)]

    def good_cells(self, count: int = 1, facts: CellFacts = NMC) -> list[str]:
        """Cells that are `pack` on day 20."""
        with self.writing(NOW) as writer:
            codes = [cell.code for cell in writer.add_cells(facts, count=count)]
            for code in codes:
                measure(writer, code)
        return codes

    def add(self, *items: Reading, at: datetime = NOW) -> list[Reading]:
        with self.writing(at) as writer:
            return writer.add_readings(items)


def measure(writer: Writer, code: str, capacity_ah: float = 2.40) -> None:
    """Everything the good cell of the acceptance tests was measured with."""
    if FINE.name not in [meter.name for meter in writer.meters()]:
        writer.add_meter(FINE)
    evidence = good(capacity=capacity_ah).evidence()
    writer.add_readings([replace(r, cell=code, id=NEW) for r in evidence.readings])
    for charge in evidence.charges:
        writer.add_charge(replace(charge, cell=code, id=NEW))


def volts(code: str, value: float, at: datetime = NOW, quantity: Quantity = Quantity.VOLTAGE) -> Reading:
    return Reading(NEW, code, quantity, at, value)


def found(code: str, value: float, at: datetime = NOW) -> Reading:
    return volts(code, value, at, Quantity.AS_FOUND_VOLTAGE)


def look(code: str, *words: Look, at: datetime = NOW) -> Reading:
    return Reading(NEW, code, Quantity.LOOK, at, look=words)


def capacity(code: str, ah: float, at: datetime = NOW) -> Reading:
    return Reading(NEW, code, Quantity.CAPACITY, at, ah, discharge_current_a=0.5, cutoff_v=2.75)


def new_trace(code: str, raw: bytes = b"time,volt,amp\n0,4.2,0\n", at: datetime = NOW) -> NewTrace:
    """A trace to be filed; the store looks at nothing inside it."""
    return NewTrace(
        code, "run.csv", at, FINE, 3.0, "", {"full_v": 4.2}, {"at_least": False}, raw, {"ah": [0, 1]}
    )


def charge(code: str, at: datetime = NOW) -> Charge:
    return Charge(NEW, code, at, 1.0, 4.2, 0.05, 22.0, 26.0)


def fill(shelf: Shelf) -> None:
    """At least one row in every table that must not be rewritten."""
    good, other, spare = shelf.good_cells(3)
    with shelf.writing() as writer:
        writer.add_teardown("garden lantern", "lamp")
        writer.set_aside_codes(1)
        writer.add_box("drawer", limit_wh=90.0)
        writer.add_charge(charge(good))
        (wrong,) = writer.add_readings([found(other, 3.1)])
        writer.add_trace(new_trace(good))
        writer.supersede(wrong.id, "bad-contact", "the clip hung by one tooth")
        writer.add_incident("drop", [other])
        writer.discard(spare, "sat on")
        writer.add_handover("recycling yard")
        writer.compare_meter("fine", NOW.date())
        writer.add_project("gauge", "name = 'gauge'", 1)
        writer.reserve("gauge", [[good]], "plan")
        writer.inspect_groups("gauge", [GroupVoltage(3.8, 0.004, 0.0003, "fine")], {})
        writer.correct_cell(other, {"maker": "unknown"}, "read it again")
        _a_row_each(writer, other)


def _a_row_each(writer: Writer, code: str) -> None:
    """A finding that no rule made, its fall, and a charger: only so that each of these tables holds a row."""
    pen, digest = writer.pen, "0" * 64
    charger = {"name": "four-bay", "end_current_a": 0.05, "measured_at_us": pen.now_us}
    pen.conn.execute(CHARGER.insert().values(**charger, event_id=pen.event("charger-added")))
    row = {
        "digest": digest,
        "code": code,
        "rule": "look",
        "basis": "[]",
        "words": "seen",
        "at_us": pen.now_us,
    }
    pen.conn.execute(FINDING.insert().values(**row, write_id=pen.write_id))
    pen.conn.execute(FINDING_FELL.insert().values(digest=digest, key="A-1", write_id=pen.write_id))


@contextmanager
def traced(reader: Reader) -> Iterator[list[str]]:
    """Every SELECT that SQLite runs within the block, its values in the text."""
    with reader.snapshot():
        door: Any = reader._conn.connection.driver_connection
        asked: list[str] = []
        door.set_trace_callback(lambda sql: asked.append(sql) if sql.startswith("SELECT") else None)
        try:
            yield asked
        finally:
            door.set_trace_callback(None)
