"""`store check`: is the file sound, its schema whole, each value one that can be, and does all follow from its records."""

import tomllib
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from datetime import datetime
from pathlib import Path

from sqlalchemy import Connection, func, select

from straycell.acceptance import RuleSet, judge, load_rules
from straycell.cells import Look, parse_code
from straycell.errors import BadData, StoreFault, StraycellError
from straycell.store import chain
from straycell.store.book import derived, photographs
from straycell.store.book.bench import given_out
from straycell.store.book.measured import readings, traces
from straycell.store.column_values import from_us, opt_us, to_us
from straycell.store.schema.compare import schema_faults, value_faults
from straycell.store.schema.tables import BENCH, BLANK_CODE, CELL, PROJECT, READING, VERDICT
from straycell.store.sqlite.engine import checking
from straycell.store.sqlite.file import file_faults, loose_rows
from straycell.store.verdicts import recorded as verdicts
from straycell.store.verdicts.evidence import evidences

# A store broken throughout has a fault a row; the first of a kind say what to do.
MOST = 200


def faults(
    conn: Connection, rules: RuleSet | None, now: datetime | None = None, store: Path | None = None
) -> list[str]:
    """Every fault found, the most basic first; a damaged file is not looked into further. `now`: later is a fault.

    `store`: the photographs beside it are looked at too.
    """
    broken = list(_some(_file_faults(conn)))
    # Pages that cannot be read make every later check report nonsense.
    if broken:
        return broken
    checks: tuple[tuple[str, Callable[[], Iterable[str]]], ...] = (
        ("the schema", lambda: schema_faults(conn)),
        ("the values", lambda: value_faults(conn)),
        ("the looks", lambda: _look_faults(conn)),
        ("the codes", lambda: _code_faults(conn)),
        ("the numbers given out", lambda: _counter_faults(conn)),
        ("the chain of writes", lambda: chain.faults(conn)),
        ("where things stand", lambda: derived.faults(conn)),
        ("the projects", lambda: _project_faults(conn)),
        ("the files of the traces", lambda: traces.file_faults(conn)),
        ("the photographs", lambda: () if store is None else photographs.file_faults(conn, store)),
        ("the clock", lambda: () if now is None else _clock_faults(conn, now)),
        ("the verdicts", lambda: _verdict_faults(conn, rules)),
    )
    found: list[str] = []
    for what, check in checks:
        try:
            found += _some(check())
        except Exception as fault:
            # A broken row may stop any check that reads it: that is a fault of the store, not of the program.
            found.append(f"{what} cannot be checked: {type(fault).__name__}: {fault}".splitlines()[0])
    return found


def _some(listed: Iterable[str]) -> Iterator[str]:
    for number, fault in enumerate(listed):
        if number == MOST:
            yield "and more of this kind"
            return
        yield fault


def _file_faults(conn: Connection) -> Iterator[str]:
    # Values are named with their rows below; here the pages and indexes count.
    of_values = ("CHECK constraint", "NULL value in", "non-", "NUMERIC", "TEXT")
    yield from (
        f"the file is damaged: {line}" for line in file_faults(conn, 20) if not line.startswith(of_values)
    )
    yield from loose_rows(conn)


def _clock_faults(conn: Connection, now: datetime) -> Iterator[str]:
    """What was recorded, or is said to have happened, later than now: a clock was or is wrong."""
    # The time of recording is the computer's own: later than now, it was a wrong clock and not a typing
    # mistake.
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


def _counter_faults(conn: Connection) -> Iterator[str]:
    bench = conn.execute(select(BENCH)).one_or_none()
    if bench is None:
        yield "the row of the bench is missing: no number can be given out"
        return
    for name, number in given_out(conn, bench.letter).items():
        # A code may be claimed by hand ahead of its turn: it is skipped when its turn comes.
        if name != "last_cell" and number > getattr(bench, name):
            run = name.removeprefix("last_")
            yield f"{run} {number} is in the store, but the bench counts only to {getattr(bench, name)}"


def _project_faults(conn: Connection) -> Iterator[str]:
    """Only whether it can be read at all: what a project must hold is asked when it is filed."""
    for name, body in conn.execute(select(PROJECT.c.name, PROJECT.c.body).order_by(PROJECT.c.key)):
        try:
            if tomllib.loads(body).get("name") != name:
                yield f"project '{name}': its text is of another project"
        except tomllib.TOMLDecodeError as fault:
            yield f"project '{name}': its text is not TOML: {fault}"


def _look_faults(conn: Connection) -> Iterator[str]:
    known = {look.value for look in Look}
    for key, look in conn.execute(select(READING.c.key, READING.c.look).where(READING.c.look != "")):
        unknown = [word for word in look.split() if word not in known]
        if unknown:
            yield f"reading {key}: '{unknown[0]}' is not a known look"


def _verdict_faults(conn: Connection, rules: RuleSet | None) -> Iterator[str]:
    # Verdicts under other rules cannot be made again: those rules are not in the store.
    current = load_rules() if rules is None else rules
    recorded = verdicts.newest(conn, None)
    last = readings.last_numbers(conn, None)
    for code, evidence in evidences(conn, None).items():
        row = recorded.get(code)
        if row is None:
            yield f"cell {code} has no recorded verdict"
            continue
        verdict = verdicts.read_body(row.body)
        head = (verdict.outcome.word, verdict.rules_hash, verdict.last_reading, opt_us(verdict.valid_until))
        if head != (row.outcome, row.rules_hash, row.last_reading, row.valid_until_us):
            yield f"the head of the verdict of cell {code} does not follow from its body"
        elif row.last_reading != last.get(code, ""):
            yield f"the verdict of cell {code} does not know its last reading"
        elif (
            row.rules_hash == current.hash and judge(evidence, current, from_us(row.at_us)).verdict != verdict
        ):
            yield f"the verdict of cell {code} does not follow from its readings any more"


# --- what falls over a broken value -------------------------------------------------------------------

_FELL: tuple[type[Exception], ...] = (LookupError, ValueError, TypeError, ArithmeticError, AttributeError)
"""What code raises that meets an unknown word, a text for a number, a year 300,000."""
_ANY: tuple[type[Exception], ...] = (*_FELL, AssertionError)


@contextmanager
def damage_named(path: Path, *more: type[Exception]) -> Iterator[None]:
    """Raise StoreFault in the place of what fell, if `store check` finds something wrong; else what fell is raised.

    `more` are kinds of errors that mean damage too where the caller holds no other code.
    """
    try:
        yield
    except StraycellError:
        raise
    except _FELL + more as error:
        # Only a fault that the check confirms is the store's: anything else is ours and must be seen as such.
        found = _first_fault(path)
        if found is None:
            raise
        raise StoreFault(
            f"is damaged: {found}", "see: straycell store check; then bring back a backup", file=path
        ) from error


def _first_fault(path: Path) -> str | None:
    try:
        with checking(path) as conn:
            return next(iter(faults(conn, None)), None)
    except StraycellError as fault:
        return fault.what
    except _ANY:
        return "its values cannot be read"
