"""What goes by a name or a number: rows refer to keys, and two benches may each have a box of one name.

A record's number is typed with its bench's letter, or alone while only one bench has it.
"""

import shlex
from collections import Counter
from collections.abc import Sequence
from functools import cache
from string import ascii_uppercase
from typing import Protocol, TypeVar

from sqlalchemy import Connection, Table, select
from sqlalchemy.exc import NoResultFound

from straycell.errors import BadData
from straycell.keys import RecordKey, apart, key_of, typed_key
from straycell.store.quick.prepared import Prepared
from straycell.store.schema.tables import BENCH, HANDOVER, READING, TRACE


@cache
def _names(table: Table) -> Prepared:
    return Prepared(lambda: select(table.c.key, table.c.name).order_by(table.c.key))


_LETTER = Prepared(lambda: select(BENCH.c.letter))


def letter(conn: Connection) -> str:
    """The letter that this bench's codes begin with."""
    row = next(_LETTER.rows(conn), None)
    # A store without its bench is broken, which those who open it say in their own words.
    if row is None:
        raise NoResultFound("the store has no bench")
    return str(row.letter)


def shown(conn: Connection, table: Table) -> dict[str, str]:
    """Name by key, each once: another bench's gets its letter behind it where this bench has one of that name."""
    rows = list(_names(table).rows(conn))
    times = Counter(name for _, name in rows)
    if len(times) == len(rows):
        return {row.key: row.name for row in rows}
    here = letter(conn)
    own = {name for key, name in rows if key[0] == here}
    # The letter only where it is needed: on one's own bench a box has its own name.
    return {
        key: name if key[0] == here or (times[name] == 1 and name not in own) else apart(name, key[0])
        for key, name in rows
    }


def key_named(conn: Connection, table: Table, name: str) -> str | None:
    """The key of what is shown under exactly this name."""
    return next((key for key, known in shown(conn, table).items() if known == name), None)


class _Named(Protocol):
    @property
    def name(self) -> str: ...


_N = TypeVar("_N", bound=_Named)


def named(known: Sequence[_N], name: str, what: str, plural: str, make: str) -> _N:
    """The one of exactly this name. Raises BadData that lists what there is, and how to make one (`make`, with {} for it)."""
    for each in known:
        if each.name == name:
            return each
    listed = ", ".join(each.name for each in known[:8])
    hint = f"{plural} here: {listed}" if known else f"there is no {what} yet"
    raise BadData(f"there is no {what} '{name}'", f"{hint}; {make.format(shlex.quote(name))}")


# --- what a person types ----------------------------------------------------------------------------


def find_key(conn: Connection, table: Table, text: str, what: str) -> RecordKey:
    """The key meant by `text`, whether there is such a record or not. Raises BadData when two benches have it."""
    bench, number = typed_key(text, what)
    if bench is not None:
        return RecordKey(bench, number)
    possible = [str(RecordKey(each, number)) for each in ascii_uppercase]
    found = (
        conn.execute(select(table.c.key).where(table.c.key.in_(possible)).order_by(table.c.key))
        .scalars()
        .all()
    )
    if len(found) > 1:
        raise BadData(f"{what} {number} may be {' or '.join(found)}", "write it with its bench's letter")
    return key_of(found[0]) if found else RecordKey(letter(conn), number)


def reading_number(conn: Connection, text: str) -> RecordKey:
    """The number of a reading or charge as a person types it. Raises BadData."""
    return find_key(conn, READING, text, "reading")


def trace_number(conn: Connection, text: str) -> RecordKey:
    """The number of a trace as a person types it. Raises BadData."""
    return find_key(conn, TRACE, text, "trace")


def handover_number(conn: Connection, text: str) -> RecordKey:
    """The number of a hand-over as a person types it. Raises BadData."""
    return find_key(conn, HANDOVER, text, "hand-over")
