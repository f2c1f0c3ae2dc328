"""What is readable of a damaged file, put row by row into tables without constraints, and told apart by what it is.

A page belongs to the table whose tree leads to it. A page that no tree leads to any more, because one above it is
lost, is known by what its rows look like: only where they fit one table alone are they taken.
"""

import mmap
import re
from collections import Counter
from collections.abc import Collection, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, Table

from straycell.errors import StoreFault
from straycell.store.salvage.pages import MAGIC, TABLE_LEAF, Pages, Row
from straycell.store.schema import tables
from straycell.store.schema.checks import CODE_SHAPE
from straycell.store.schema.create import APPLICATION_ID, BROKEN_ID, VERSION

_VERSION_AT, _APPLICATION_AT = 60, 68  # sqlite.org/fileformat2.html 1.3
_BOOK: Mapping[str, Table] = tables.CELL.metadata.tables
# Verdicts follow from the rest and are made again.
TABLES: dict[str, Table] = {name: table for name, table in _BOOK.items() if table is not tables.VERDICT}
_KINDS: dict[str, tuple[type, ...]] = {
    "INTEGER": (int,),
    "BOOLEAN": (int,),
    "FLOAT": (float, int),
    "VARCHAR": (str,),
    "BLOB": (bytes,),
}
_CODE = re.compile(CODE_SHAPE)


@dataclass(slots=True)
class Gathered:
    """How much of the file could be read."""

    pages: int = 0
    promised: int = 0
    unreadable: Counter[str] = field(default_factory=Counter)
    """Rows that lie there and cannot be read, by table."""
    loose: int = 0
    """Pages with rows of which nothing says to what they belong."""
    rows: Counter[str] = field(default_factory=Counter)


def gather(file: Path, fresh: Mapping[str, int], staging: Connection) -> Gathered:
    """Put the rows of `file` into the tables of `staging`; `fresh`: the first page of each table in a new store.

    Raises StoreFault for a file that a newer straycell or another program wrote.
    """
    with file.open("rb") as opened:
        if file.stat().st_size == 0:
            raise StoreFault("is empty", "nothing can be salvaged from it; take an older copy", file=file)
        with mmap.mmap(opened.fileno(), 0, access=mmap.ACCESS_READ) as raw:
            return _gather(Pages(raw), file, fresh, staging)  # type: ignore[arg-type]


def _gather(pages: Pages, file: Path, fresh: Mapping[str, int], staging: Connection) -> Gathered:
    _require_ours(pages.raw, file)
    for table in TABLES.values():
        table.create(staging)
    found = Gathered(pages.count, pages.promised)
    roots, owner = _schema(pages)
    _follow(pages, {**fresh, **roots}, owner)
    # Pages with an owner first: what else looks like a row may be an older state of the same row.
    loose = [number for number in range(1, pages.count + 1) if number not in owner]
    for number, name in [*owner.items(), *((number, "") for number in loose)]:
        rows = list(pages.rows(number))
        whole = [row for row in rows if row is not None]
        of = name if _fits(name, whole) else _guess(pages.kind(number), whole)
        if of in TABLES:
            found.unreadable[of] += len(rows) - len(whole) if name else 0
            found.rows[of] += _keep(staging, TABLES[of], whole)
        elif not name and any(len(row.values) > 1 for row in whole) and pages.kind(number) == TABLE_LEAF:
            found.loose += 1
    return found


def _require_ours(raw: bytes, file: Path) -> None:
    if raw[: len(MAGIC)] != MAGIC:
        return  # an overwritten header tells nothing; its rows will
    version, application = (int.from_bytes(raw[at : at + 4], "big") for at in (_VERSION_AT, _APPLICATION_AT))
    if application in (APPLICATION_ID, BROKEN_ID) and VERSION < version < 1000:
        raise StoreFault(
            f"is of version {version}, this straycell knows {VERSION}",
            "salvage it with the newer straycell it was written with",
            file=file,
        )


def _schema(pages: Pages) -> tuple[dict[str, int], dict[int, str]]:
    """The first page of each table as far as the file itself still tells, and the pages that tell it."""
    waiting, roots, seen = [1], dict[str, int](), dict[int, str]()
    while waiting:
        number = waiting.pop()
        if number in seen or not 1 <= number <= pages.count:
            continue
        seen[number] = "the schema"
        waiting += pages.children(number)
        for row in pages.rows(number) if pages.kind(number) == TABLE_LEAF else ():
            if row and len(row.values) == 5 and row.values[0] == "table" and row.values[1] in _BOOK:
                roots[str(row.values[1])] = row.values[3]
    return roots, seen


def _follow(pages: Pages, roots: Mapping[str, Any], owner: dict[int, str]) -> None:
    """Name the table of each page that its tree leads to."""
    for name, root in roots.items():
        waiting = [root]
        while waiting:
            number = waiting.pop()
            if isinstance(number, int) and 1 < number <= pages.count and number not in owner:
                owner[number] = name
                waiting += pages.children(number)


def _fits(name: str, rows: Collection[Row]) -> bool:
    """A broken value in a row of a table is that table's all the same; another number of columns is not."""
    table = _BOOK.get(name)
    return table is not None and all(len(row.values) == len(table.columns) for row in rows)


def _guess(kind: int, rows: Collection[Row]) -> str:
    """The one table that all these rows can be of, else nothing."""
    if not rows:
        return ""
    with_rowid = kind == TABLE_LEAF
    names = [
        name
        for name, table in _BOOK.items()
        if (table is not tables.EVENT_CELL) == with_rowid and all(_alike(table, row) for row in rows)
    ]
    return names[0] if len(names) == 1 else ""


def _alike(table: Table, row: Row) -> bool:
    if len(row.values) != len(table.columns):
        return False
    for column, value in zip(table.columns, row.values, strict=True):
        # The number of a row is beside it and not in it (fileformat2.html 2.3).
        if column.name == "id" and value is not None:
            return False
        if value is not None and not isinstance(value, _KINDS[str(column.type)]):
            return False
        if value is None and column.name in _ALWAYS:
            return False
        if column.name == "code" and not (isinstance(value, str) and _CODE.fullmatch(value)):
            return column.table in (tables.TEARDOWN,)
    return True


_ALWAYS = frozenset({"key", "code", "event_id", "write_id", "name", "at_us", "born", "quantity", "digest"})
"""Columns that no row leaves empty."""


def _keep(staging: Connection, table: Table, rows: Collection[Row]) -> int:
    names = [column.name for column in table.columns]
    numbered = table is not tables.EVENT_CELL
    columns = ", ".join(f'"{name}"' for name in names)
    marks = ", ".join("?" * len(names))
    values = []
    for row in rows:
        listed = [row.rowid if name == "id" else value for name, value in zip(names, row.values, strict=True)]
        values.append((*([row.rowid] if numbered and "id" not in names else []), *listed))
    if not values:
        return 0
    if numbered and "id" not in names:
        # The order in which rows came is that of their numbers.
        columns, marks = f"rowid, {columns}", f"?, {marks}"
    statement = f'INSERT OR IGNORE INTO "{table.name}" ({columns}) VALUES ({marks})'
    return int(staging.exec_driver_sql(statement, values).rowcount)
