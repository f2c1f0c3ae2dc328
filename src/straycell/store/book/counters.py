"""The last numbers a bench gave out, made sure after rows came in from elsewhere. They never go back."""

from __future__ import annotations

from sqlalchemy import Connection, Integer, cast, func, select

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

_KEYS = {
    "last_reading": (READING.c.key,),
    "last_trace": (TRACE.c.key,),
    "last_handover": (HANDOVER.c.key,),
    "last_record": (
        *(table.c.key for table in (BOX, METER, PROJECT, BUILD, UPSET, CONDEMNATION)),
        FACT.c.entry,
    ),
    "last_teardown": (TEARDOWN.c.code,),
}


def given_out(conn: Connection, letter: str) -> dict[str, int]:
    """The highest number of each run that is in this store under a letter."""
    # From the rows themselves: a counter may be behind after a merge or an import.
    found = {
        name: max(
            int(
                conn.execute(
                    select(func.coalesce(func.max(cast(func.substr(column, 3), Integer)), 0)).where(
                        func.substr(column, 1, 1) == letter
                    )
                ).scalar_one()
            )
            for column in columns
        )
        for name, columns in _KEYS.items()
    }
    found["last_cell"] = max(
        int(
            conn.execute(
                select(func.coalesce(func.max(cast(func.substr(table.c.code, 2, 5), Integer)), 0)).where(
                    func.substr(table.c.code, 1, 1) == letter
                )
            ).scalar_one()
        )
        for table in (CELL, BLANK_CODE)
    )
    number = select(func.coalesce(func.max(WRITE.c.number), 0)).where(WRITE.c.bench == letter)
    found["last_write"] = int(conn.execute(number).scalar_one())
    return found


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
