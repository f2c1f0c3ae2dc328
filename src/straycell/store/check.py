"""`store check`: is the file sound, are its guards in place, do its verdicts follow from its readings."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime
from typing import TYPE_CHECKING

from sqlalchemy import Connection, func, select

from straycell.cells import parse_code
from straycell.errors import BadData
from straycell.store import chain
from straycell.store.book import derived, readings, traces
from straycell.store.column_values import from_us, to_us
from straycell.store.schema.guards import trigger_faults
from straycell.store.schema.tables import BLANK_CODE, CELL, READING, VERDICT
from straycell.store.verdicts import recorded as verdicts
from straycell.store.verdicts.evidence import evidences

if TYPE_CHECKING:
    from straycell.acceptance import RuleSet


def faults(conn: Connection, rules: RuleSet | None, now: datetime | None = None) -> list[str]:
    """Every fault found, most basic first; a damaged file is not looked into further. `now`: what lies later is one."""
    broken = list(_file_faults(conn))
    if broken:
        return broken
    found = [*trigger_faults(conn), *_index_faults(conn), *_code_faults(conn)]
    found += [*chain.faults(conn), *derived.faults(conn)]
    found += [] if now is None else _clock_faults(conn, now)
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


def _clock_faults(conn: Connection, now: datetime) -> Iterator[str]:
    """What was recorded, or is said to have happened, later than now: a clock was or is wrong."""
    late = to_us(now)
    for code, key, at_us in conn.execute(
        select(READING.c.code, READING.c.key, READING.c.recorded_at_us).where(READING.c.recorded_at_us > late)
    ):
        yield f"reading {key} of cell {code} was recorded at {from_us(at_us):%Y-%m-%d %H:%M} UTC, later than now"
    for code, at_us in conn.execute(
        select(VERDICT.c.code, func.max(VERDICT.c.at_us))
        .where(VERDICT.c.at_us > late)
        .group_by(VERDICT.c.code)
    ):
        yield f"a verdict of cell {code} is of {from_us(at_us):%Y-%m-%d %H:%M} UTC, later than now"


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
            again = verdicts.judge(evidence, current, from_us(row.at_us)).verdict
            if again != verdicts.read_body(row.body):
                yield f"the verdict of cell {code} does not follow from its readings any more"
