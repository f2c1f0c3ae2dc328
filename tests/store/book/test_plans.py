"""Queries that a large store must answer from its indexes: what SQLite plans, not how long it takes."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest
from tests.acceptance.bench import day
from tests.store.store_bench import NOW, Shelf, traced

from straycell.bench.cell_sheet import sheet_of
from straycell.bench.context import Bench, kept_readers
from straycell.cells import Form, Stage
from straycell.store.reader import Reader

ASKED = {
    "one cell": lambda r, code: r.cell(code),
    "cells of a box": lambda r, _: r.cells(box="tin"),
    "cells of a stage": lambda r, _: r.cells(stage=Stage.SHELVED),
    "evidence of one": lambda r, code: r.evidence(code),
    "readings of one": lambda r, code: r.recorded(code),
    "history of one": lambda r, code: r.history(code),
}


def plans(reader: Reader, ask: Any, code: str) -> list[str]:
    """Every step of every plan of the queries that a question makes."""
    with reader.snapshot():
        with traced(reader) as asked:
            ask(reader, code)
        return [
            step[3]
            for sql in asked
            for step in reader._conn.exec_driver_sql(f"EXPLAIN QUERY PLAN {sql}").fetchall()
        ]


@pytest.mark.parametrize("name", ASKED)
def test_no_large_table_is_read_from_end_to_end(full: Shelf, name: str) -> None:
    """A scan inside a loop over cells takes hours where an index takes a blink."""
    with full.reading() as reader:
        steps = plans(reader, ASKED[name], reader.codes()[0])
    large = ("fact", "finding", "reading", "event", "event_cell", "verdict")
    scans = [s for s in steps if s.startswith("SCAN") and s.split()[1] in large]
    assert steps and scans == []


def test_a_list_by_form_looks_once_at_each_cell(full: Shelf) -> None:
    """It may read all cells, and the few boxes, but no history of theirs."""
    with full.reading() as reader:
        steps = plans(reader, lambda r, _: r.cells(form=Form.F18650), "")
    assert sorted(step.split()[1] for step in steps if step.startswith("SCAN")) == ["box", "cell"]


def test_a_cells_page_asks_few_and_as_many_in_a_large_store(full: Shelf) -> None:
    """What is asked of one cell does not grow with the store, nor is its evidence gathered twice."""
    counts = []
    bench = Bench(full.path, full.rules, NOW, kept=kept_readers(full.path))
    for more in (0, 30):
        if more:
            full.cells(more)
        with bench.reading() as reader, traced(reader) as asked:
            code = reader.codes()[0]
            sheet_of(bench, reader, code)
            reader.history(code, others=False)
        counts.append(len(asked))
    assert counts[0] == counts[1] <= 35
    with bench.reading() as reader, traced(reader) as asked:
        sheet_of(
            replace(bench, now=day(2000)), reader, code
        )  # its verdict ran out: judged again, not gathered again
    assert (
        len([sql for sql in asked if "reading.put_in_ah" in sql and "supersession.because" not in sql]) == 1
    )
