"""Queries that every page and every write asks: built and compiled once a process, then sent to SQLite as text."""

from __future__ import annotations

import json
from collections import namedtuple
from collections.abc import Callable, Collection, Iterator, Mapping
from functools import cached_property
from typing import Any

from sqlalchemy import ColumnElement, Connection, Select, bindparam, func, select

from straycell.store.sqlite.engine import dialect

_KEYS = "keys"


class Prepared:
    """A query without parameters but for the keys that narrow it, and for values given by name.

    `make` builds it when it is first asked; `of` is the column that the keys are of. To build a statement and to look
    up how it compiles took SQLAlchemy ten times as long as SQLite took to answer it for one cell.
    """

    def __init__(self, make: Callable[[], Select[Any]], of: ColumnElement[Any] | None = None) -> None:
        self._make, self._of = make, of

    def rows(self, conn: Connection, keys: Collection[str] | None = None, **values: object) -> Iterator[Any]:
        """The rows, as named tuples, of these keys (None: of all); read from the file as they are asked for."""
        asked = self._all if keys is None else self._some
        return asked.rows(conn, values if keys is None else {**values, _KEYS: json.dumps(list(keys))})

    @cached_property
    def _all(self) -> _Compiled:
        return _Compiled(self._make())

    @cached_property
    def _some(self) -> _Compiled:
        assert self._of is not None, "this query is not narrowed by keys"
        # As `session.among`, but with the text still to come.
        listed = func.json_each(bindparam(_KEYS, "[]")).table_valued("value")
        return _Compiled(self._make().where(self._of.in_(select(listed.c.value))))


class _Compiled:
    """One statement as SQLite takes it."""

    def __init__(self, query: Select[Any]) -> None:
        made = query.compile(dialect=dialect(), compile_kwargs={"render_postcompile": True})
        self.text, self.given = made.string, dict(made.params)
        self.places = tuple(made.positiontup or ())
        columns = list(query.selected_columns)
        self.row: Any = namedtuple("Row", [getattr(each, "name", "_") for each in columns], rename=True)  # type: ignore[misc]
        # Of the types used here only the truth values are stored as something else.
        found = ((at, column.type.result_processor(dialect(), None)) for at, column in enumerate(columns))
        self.read = [(at, process) for at, process in found if process is not None]

    def rows(self, conn: Connection, values: Mapping[str, object]) -> Iterator[Any]:
        if not conn.in_transaction():
            conn.begin()  # as SQLAlchemy does with its own statements
        given = {**self.given, **values}
        found = conn.connection.cursor().execute(self.text, [given[place] for place in self.places])
        return map(self._read if self.read else self.row._make, found)

    def _read(self, row: tuple[Any, ...]) -> Any:
        listed = list(row)
        for at, process in self.read:
            listed[at] = process(listed[at])
        return self.row._make(listed)
