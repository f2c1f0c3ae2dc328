"""Queries that a large store must answer from its indexes: what SQLite plans, not how long it takes."""

from __future__ import annotations

from typing import Any

import pytest
from sqlalchemy import event
from tests.store.store_bench import Shelf

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
    asked: list[tuple[str, Any]] = []
    conn = reader._conn
    event.listen(conn, "before_cursor_execute", lambda *args: asked.append((args[2], args[3])))
    ask(reader, code)
    selects = [(sql, values) for sql, values in asked if sql.startswith("SELECT")]
    with conn.begin():
        return [
            str(step[3])
            for sql, values in selects
            for step in conn.exec_driver_sql(f"EXPLAIN QUERY PLAN {sql}", values).fetchall()
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
