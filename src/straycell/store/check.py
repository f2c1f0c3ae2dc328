"""`store check`: is the file sound, are its guards in place, do its verdicts follow from its readings."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

from sqlalchemy import Connection, select

from straycell.cells import parse_code
from straycell.errors import BadData
from straycell.store import chain
from straycell.store.book import derived, readings, traces
from straycell.store.column_values import from_us
from straycell.store.schema.guards import trigger_faults
from straycell.store.schema.tables import BLANK_CODE, CELL
from straycell.store.verdicts import recorded as verdicts
from straycell.store.verdicts.evidence import evidences

if TYPE_CHECKING:
    from straycell.acceptance import RuleSet


def faults(conn: Connection, rules: RuleSet | None) -> list[str]:
    """Every fault found, most basic first; a damaged file is not looked into further."""
    broken = list(_file_faults(conn))
    if broken:
        return broken
    found = [*trigger_faults(conn), *_index_faults(conn), *_code_faults(conn)]
    found += [*chain.faults(conn), *derived.faults(conn)]
    return [*found, *traces.file_faults(conn), *_verdict_faults(conn, rules)]


def _file_faults(conn: Connection) -> Iterator[str]:
    for (line,) in conn.exec_driver_sql("PRAGMA integrity_check(20)").all():
        if line != "ok":
            yield f"the file is damaged: {line}"
    for table, row, parent, _ in conn.exec_driver_sql("PRAGMA foreign_key_check").all():
        yield f"row {row} of {table} points to a row of {parent} that is not there"


def _index_faults(conn: Connection) -> list[str]:
    from straycell.store.schema.models import METADATA

    found = set(conn.exec_driver_sql("SELECT name FROM sqlite_master WHERE type = 'index'").scalars())
    wanted = [str(index.name) for table in METADATA.sorted_tables for index in table.indexes]
    return [f"the index '{name}' is missing" for name in sorted(wanted) if name not in found]


def _code_faults(conn: Connection) -> Iterator[str]:
    for table in (CELL, BLANK_CODE):
        for code in conn.execute(select(table.c.code).order_by(table.c.code)).scalars():
            try:
                parse_code(code)
            except BadData as fault:
                yield fault.what


def _verdict_faults(conn: Connection, rules: RuleSet | None) -> Iterator[str]:
    from straycell.acceptance import load_rules

    current = load_rules() if rules is None else rules
    recorded = verdicts.newest(conn, None)
    last = readings.last_numbers(conn, None)
    for code, evidence in evidences(conn, None).items():
        row = recorded.get(code)
        if row is None:
            yield f"cell {code} has no recorded verdict"
        elif row.last_reading != last.get(code, ""):
            yield f"the verdict of cell {code} does not know its last reading"
        elif row.rules_hash == current.hash:
            again = verdicts.judge(evidence, current, from_us(row.at_us))
            if again != verdicts.read_body(row.body):
                yield f"the verdict of cell {code} does not follow from its readings any more"
