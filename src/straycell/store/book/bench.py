"""The bench itself: its letter, and the last numbers it gave out, which never go back."""

from functools import cache
from typing import Any

from sqlalchemy import (
    Column,
    ColumnElement,
    Connection,
    Integer,
    ScalarSelect,
    Select,
    bindparam,
    cast,
    func,
    select,
)

from straycell.cells import make_code
from straycell.errors import BadData
from straycell.store.quick.prepared import Prepared
from straycell.store.schema.tables import (
    BENCH,
    BLANK_CODE,
    BOX,
    BUILD,
    CELL,
    CONDEMNATION,
    FACT,
    HANDOVER,
    METER,
    PROJECT,
    READING,
    TEARDOWN,
    TRACE,
    UPSET,
    WRITE,
)
from straycell.store.session import Pen

_NUMBERED = {
    # run: the columns that bear its numbers, and at which character a number begins
    "last_reading": ((READING.c.key,), 3),
    "last_trace": ((TRACE.c.key,), 3),
    "last_handover": ((HANDOVER.c.key,), 3),
    "last_record": (
        (*(table.c.key for table in (BOX, METER, PROJECT, BUILD, UPSET, CONDEMNATION)), FACT.c.entry),
        3,
    ),
    "last_teardown": ((TEARDOWN.c.code,), 3),
    "last_cell": ((CELL.c.code, BLANK_CODE.c.code), 2),
}


def given_out(conn: Connection, letter: str) -> dict[str, int]:
    """The highest number of each run that is in this store under a letter."""
    # From the rows themselves: a counter may be behind after a merge or an import.
    (found,) = _HIGHEST.rows(conn, letter=letter)
    left = iter(found)
    return {run: max(next(left) for _ in columns) for run, columns in _numbers().items()}


@cache
def _numbers() -> dict[str, list[ScalarSelect[int]]]:
    """The highest number of each column that bears numbers of a run."""
    found = {run: [_of_keys(column, at) for column in columns] for run, (columns, at) in _NUMBERED.items()}
    return found | {"last_write": [_largest(WRITE.c.number, WRITE.c.bench)]}


def _of_keys(column: Column[str], at: int) -> ScalarSelect[int]:
    # Five digits at most follow in a code, before its check character; a key is digits to its end.
    digits = func.substr(column, at, 5) if at == 2 else func.substr(column, at)
    return _largest(cast(digits, Integer), func.substr(column, 1, 1))


def _largest(number: ColumnElement[int], letter: ColumnElement[str]) -> ScalarSelect[int]:
    return select(func.coalesce(func.max(number), 0)).where(letter == bindparam("letter")).scalar_subquery()


def _highest() -> Select[Any]:
    query: Select[Any] = select()
    return query.add_columns(*(each for numbers in _numbers().values() for each in numbers))


_HIGHEST = Prepared(_highest)


def recount(conn: Connection) -> None:
    """Lift the bench's counters to what is in the store."""
    bench = conn.execute(select(BENCH)).one()
    # Only upwards: a number given out is on paper, also if its row is elsewhere.
    lifted = {
        name: number
        for name, number in given_out(conn, bench.letter).items()
        if number > getattr(bench, name)
    }
    if lifted:
        conn.execute(BENCH.update().values(lifted))


def take_letter(pen: Pen, letter: str) -> str:
    """From now on this store is bench `letter`; returns the former letter. What was written keeps its numbers.

    Raises BadData for a letter that is none, or under which something is here already.
    """
    make_code(letter, 0)
    former = str(pen.conn.execute(select(BENCH.c.letter)).scalar_one())
    if letter == former:
        raise BadData(f"this store is bench {letter} already", "take another letter")
    if any(given_out(pen.conn, letter).values()):
        raise BadData(
            f"bench {letter} is known here: codes or numbers that begin with {letter} stand in this store",
            "take a letter that none of your benches has",
        )
    fresh = {column.name: 0 for column in BENCH.c if column.name.startswith("last_")}
    pen.conn.execute(BENCH.update().values(letter=letter, **fresh))
    pen.event("bench-lettered", subject=letter, detail={"from": former})
    return former
